"""From the tables of a case file to a case: its parts, its variants and its ranges."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

from soilflow.air import Air
from soilflow.case import Case, TestHole, Uncertain
from soilflow.errors import InputError
from soilflow.files.draft import BAD, Draft, Notes, one_of, shown, take
from soilflow.files.field_paths import field_dimension
from soilflow.files.layout_tables import Shared, condition_drafts, fan_draft, layout_draft
from soilflow.files.make_nouns import make
from soilflow.files.site_tables import NEEDED, SITE_TABLES, Written, site_draft, slab_draft
from soilflow.files.toml_lines import KeyPath
from soilflow.flow.grid import COARSE, FINE, NORMAL, Resolution
from soilflow.house_leakage import HouseLeakage
from soilflow.site import FoundationWalls, Ground, Site, SoilLayer
from soilflow.site.ground import DEFAULT_BOTTOM
from soilflow.site.seasons import in_season

__all__ = ["RESOLUTIONS", "case_from_tables"]

RESOLUTIONS = {resolution.name: resolution for resolution in (COARSE, NORMAL, FINE)}

_TEXTS = ("title", "question", "answer")
_TOP = {
    *_TEXTS,
    *SITE_TABLES,
    "air",
    "conditions",
    "fan",
    "house_leakage",
    "layouts",
    "pipe",
    "resolution",
    "soil_temperature",
    "test_holes",
    "uncertain",
    "variant",
    "variant_name",
}
# What decides whether a pit fits.
_UNDER_PITS = ("slab", "walls", "footings", "no_dig", "drain_tiles", "trenches", "channels")
_HELP = {
    "title": 'title = "..."',
    "layouts": "one [[layouts]] with one [[layouts.points]] for each pit",
    "conditions": '[conditions.design_winter] with outdoor_pressure = "4 Pa", and one for today',
}


def case_from_tables(tables: dict[str, Any], notes: Notes) -> Case | None:
    """Make the case that the tables of a file describe.

    Parameters
    ----------
    tables : dict
        What was written.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Case or None
        The case; None when there are mistakes.
    """
    guessed = notes.unknown_keys(tables, (), _TOP)
    tables = {**tables, **dict.fromkeys(guessed, BAD)}
    base = {name: (tables[name], (name,)) for name in SITE_TABLES if name in tables}
    site, slab = _site(base, notes, "site")
    variants = _variants(tables.get("variant", {}), base, site, notes)
    draft = _case_draft(tables, notes)
    # pits and test holes are looked up on the floor even when the site around it is not right
    draft.fields["site"] = _bare_floor(slab) if site is BAD and slab is not BAD else site
    case = make(draft, notes)
    if case is BAD or notes.mistakes:
        return None
    case = replace(case, variants=MappingProxyType(variants))
    _check_floors(case, notes)
    ranges = _ranges(tables.get("uncertain", []), case, notes)
    return None if notes.mistakes else replace(case, uncertain=(*notes.uncertain, *ranges))


def _site(written: Written, notes: Notes, where: str) -> tuple[Any, Any]:
    """Make a site, and its slab by itself."""
    draft = slab_draft(written, notes)
    slab: Any = make(draft, notes, where=f"{where}.slab") if isinstance(draft, Draft) else BAD
    site = site_draft(written, None if slab is BAD else slab.outline, notes)
    site.fields["slab"] = slab
    return make(site, notes, where=where), slab


def _bare_floor(slab: Any) -> Site:
    """A floor on which any pit may be dug."""
    return Site(
        slab=slab,
        walls=FoundationWalls(thickness=0.0, footing_depth=0.99 * DEFAULT_BOTTOM),
        ground=Ground(layers=(SoilLayer(permeability=1e-12),)),
    )


def _case_draft(tables: dict[str, Any], notes: Notes) -> Draft:
    draft = Draft(noun=Case, at=())
    draft.fields = {name: tables[name] for name in _TEXTS if name in tables}
    for name, help_ in _HELP.items():
        if name not in tables:
            draft.fields[name] = BAD
            notes.wrong((name,), f"missing; write {help_}")
    pipe = notes.table(tables["pipe"], ("pipe",)) if "pipe" in tables else None
    fan = fan_draft(tables["fan"], ("fan",), notes) if "fan" in tables else None
    if "layouts" in tables:
        pairs = notes.tables(tables["layouts"], ("layouts",))
        shared = Shared(fan=fan, pipe=pipe)
        draft.fields["layouts"] = [layout_draft(t, at, shared, notes) for at, t in pairs] or BAD
        if tables["layouts"] == []:
            notes.wrong(("layouts",), f"no layout; write {_HELP['layouts']}")
    if "conditions" in tables:
        conditions = condition_drafts(tables["conditions"], ("conditions",), notes)
        draft.fields["conditions"] = conditions or BAD
        if tables["conditions"] == {}:
            notes.wrong(("conditions",), f"no condition; write {_HELP['conditions']}")
    if "test_holes" in tables:
        holes = notes.tables(tables["test_holes"], ("test_holes",))
        draft.fields["test_holes"] = [take(t, at, TestHole, notes) for at, t in holes]
    if "house_leakage" in tables:
        table = notes.table(tables["house_leakage"], ("house_leakage",))
        leakage = BAD if table is None else take(table, ("house_leakage",), HouseLeakage, notes)
        draft.fields["house_leakage"] = leakage
    if "variant_name" in tables:
        draft.put("variant", tables["variant_name"], "variant_name")
    _air(tables, draft, notes)
    _resolution(tables, draft, notes)
    return draft


def _air(tables: dict[str, Any], draft: Draft, notes: Notes) -> None:
    key = one_of(tables, draft, ("soil_temperature", "air"), notes)
    if key == "soil_temperature":
        air = Draft(noun=Air, at=(), fields={"temperature": tables[key]})
        air.origin["temperature"] = (key,)
        draft.fields["air"] = air
    elif key == "air":
        table = notes.table(tables[key], (key,))
        draft.fields["air"] = BAD if table is None else take(table, (key,), Air, notes)


def _resolution(tables: dict[str, Any], draft: Draft, notes: Notes) -> None:
    if "resolution" not in tables:
        return
    value = tables["resolution"]
    if isinstance(value, dict):
        draft.fields["resolution"] = take(value, ("resolution",), Resolution, notes)
    elif isinstance(value, str) and value in RESOLUTIONS:
        draft.fields["resolution"] = RESOLUTIONS[value]
    else:
        draft.fields["resolution"] = BAD
        if value is not BAD:
            offer = ", ".join(f'"{name}"' for name in RESOLUTIONS)
            notes.wrong(("resolution",), f"{shown(value)}: not a resolution; there are {offer}")


def _variants(value: Any, base: Written, site: Any, notes: Notes) -> dict[str, Site]:
    """Make the sites of the variants; a table given in one replaces the whole table."""
    made: dict[str, Site] = {}
    for name, item in (notes.table(value, ("variant",)) or {}).items():
        at = ("variant", name)
        if isinstance(item, str):
            if site is not BAD:
                _season(site, item, at, made, notes)
            continue
        table = notes.table(item, at)
        if table is None:
            continue
        notes.unknown_keys(table, at, (*SITE_TABLES, "none"))
        own: dict[str, tuple[Any, KeyPath]] = {
            key: (table[key], (*at, key)) for key in SITE_TABLES if key in table
        }
        removed = _removed(table.get("none", []), own, (*at, "none"), notes)
        kept = {key: pair for key, pair in base.items() if key not in removed}
        before = len(notes.uncertain)
        other, _ = _site({**kept, **own}, notes, f"variants.{name}")
        mine = tuple(f"variants.{name}.{key}" for key in own)
        new = [u for u in notes.uncertain[before:] if u.path.startswith(mine)]
        notes.uncertain[before:] = new
        if other is not BAD:
            made[name] = other
    return made


def _season(site: Site, words: str, at: KeyPath, made: dict[str, Site], notes: Notes) -> None:
    """A variant in a few words: the site in another season."""
    try:
        made[str(at[-1])] = in_season(site, words)
    except InputError as error:
        notes.wrong(at, error.message)


def _removed(value: Any, own: Written, at: KeyPath, notes: Notes) -> set[str]:
    """Tables that a variant does without."""
    removable = [name for name in SITE_TABLES if name not in NEEDED]
    if not isinstance(value, list):
        notes.wrong(at, f'{shown(value)}: a list of tables is needed, none = ["gaps"]')
        return set()
    removed = set()
    for i, name in enumerate(value):
        if not isinstance(name, str) or name not in removable:
            offer = ", ".join(f'"{n}"' for n in removable)
            notes.wrong((*at, i), f"{shown(name)}: cannot be left out; there are {offer}")
        elif name in own:
            notes.wrong((*at, i), f'"{name}" is also given in this variant; drop one of the two')
        else:
            removed.add(name)
    return removed


def _check_floors(case: Case, notes: Notes) -> None:
    """Check that pits and test holes also fit the floor, footings and drains of each variant."""
    for name, site in case.variants.items():
        changed = [part for part in _UNDER_PITS if getattr(site, part) != getattr(case.site, part)]
        if changed:
            try:
                replace(case, site=site, variant=name)
            except InputError as error:
                notes.wrong(("variant", name, changed[0]), f"{error.field}: {error.message}")


def _ranges(value: Any, case: Case, notes: Notes) -> list[Uncertain]:
    """Ranges given by the path of a field, the long form of a range in the field itself."""
    seen = {uncertain.path for uncertain in notes.uncertain}
    made = []
    for at, table in notes.tables(value, ("uncertain",)):
        draft = take(table, at, Uncertain, notes)
        path = table.get("path")
        if not isinstance(path, str):
            notes.wrong((*at, "path"), 'missing; write path = "site.slab.permeability"')
            continue
        if path in seen:
            notes.wrong((*at, "path"), f'"{path}" already has a range; drop one of the two')
        seen.add(path)
        try:
            dimension = field_dimension(case, path)
        except InputError as error:
            notes.wrong((*at, "path"), error.message)
            continue
        for end in ("low", "high"):
            try:
                draft.fields[end] = dimension.read(table.get(end))
            except InputError as error:
                draft.fields[end] = BAD
                notes.wrong((*at, end), error.message)
        made.append(_range(draft, notes))
    return [uncertain for uncertain in made if isinstance(uncertain, Uncertain)]


def _range(draft: Draft, notes: Notes) -> Any:
    draft.fields.setdefault("law", "log-uniform")
    draft.fields.setdefault("source", "not stated")
    low, high, law = (draft.fields[name] for name in ("low", "high", "law"))
    if law not in ("log-uniform", "uniform"):
        notes.wrong((*draft.at, "law"), f'{shown(law)}: write "log-uniform" or "uniform"')
    elif BAD not in (low, high):
        if low >= high:
            notes.wrong((*draft.at, "high"), "not above low; write the lower end as low")
        elif low <= 0.0 and law == "log-uniform":
            notes.wrong((*draft.at, "low"), 'a log-uniform range starts above 0; law = "uniform"')
    return make(draft, notes)
