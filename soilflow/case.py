"""A case: a site, the layouts to try on it, and the conditions they must stand."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from shapely.geometry import Point

from soilflow.air import Air
from soilflow.conditions import Condition
from soilflow.errors import InputError
from soilflow.flow.grid import NORMAL, Resolution
from soilflow.house_leakage import HouseLeakage
from soilflow.layout.digging import digging_bounds, digging_faults, drain_faults
from soilflow.layout.fan_sets import CHOSEN
from soilflow.layout.layout import Layout
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.site.seasons import in_season
from soilflow.site.site import Site
from soilflow.units import Coordinate, check_fields

__all__ = ["Case", "TestHole", "Uncertain"]

# Soil air a little below the surface through the heating season (common practice, no source). [K]
SOIL_AIR = Air(temperature=283.15)


@dataclass(frozen=True, kw_only=True)
class TestHole:
    """A small hole through the slab where the pressure under it is read.

    Parameters
    ----------
    name : str
        The user's own name for it.
    x, y : float
        Place in plan. [m]
    source : str
        Where the place comes from.
    """

    __test__ = False  # the test collector takes every Test... for a test

    name: str
    x: Coordinate
    y: Coordinate
    source: str = CHOSEN

    def __post_init__(self) -> None:
        """Check the fields."""
        check_fields(self)


@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """An input known as a range; the noun holds its geometric mean.

    Parameters
    ----------
    path : str
        Path of the field, such as ``site.ground.layers[0].permeability``.
    low, high : float
        Ends of the range, in the SI unit of the field. [SI]
    law : str
        How it is spread: ``log-uniform`` or ``uniform``.
    source : str
        The words it came from and their mark.
    """

    path: str
    low: float
    high: float
    law: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Case:
    """One question about one house.

    Parameters
    ----------
    title : str
        Name of the house or the question.
    site : Site
        What is there.
    layouts : tuple of Layout
        What might be added.
    conditions : tuple of Condition
        What it must stand.
    question : str
        The question the case asks.
    answer : str
        The expected answer in words.
    test_holes : tuple of TestHole
        Where the pressure is wanted.
    air : Air
        Air in the soil.
    resolution : Resolution
        How fine the grid is.
    uncertain : tuple of Uncertain
        Inputs known as ranges.
    variants : mapping of str to Site
        Other sites of the same house: a frozen yard, a dried corner.
    variant : str
        Name of the variant that ``site`` is, empty for the case as written.
    house_leakage : HouseLeakage or None
        How tight the house is above the floor, for the back-draft flag alone.
    """

    title: str
    site: Site
    layouts: tuple[Layout, ...]
    conditions: tuple[Condition, ...]
    question: str = ""
    answer: str = ""
    test_holes: tuple[TestHole, ...] = ()
    air: Air = SOIL_AIR
    resolution: Resolution = NORMAL
    uncertain: tuple[Uncertain, ...] = ()
    variants: Mapping[str, Site] = field(default_factory=lambda: MappingProxyType({}))
    variant: str = ""
    house_leakage: HouseLeakage | None = None

    def __post_init__(self) -> None:
        """Check names and places across the parts of the case."""
        if not self.layouts:
            raise InputError("no layout; give at least one", field="layouts")
        if not self.conditions:
            raise InputError("no condition; give at least one", field="conditions")
        for group in ("layouts", "conditions", "test_holes"):
            names = [noun.name for noun in getattr(self, group)]
            for i, name in enumerate(names):
                if name in names[:i]:
                    raise InputError(
                        f'"{name}" is used twice; give each its own name',
                        field=f"{group}[{i}].name",
                    )
        self._check_references()
        floor = self.site.slab.polygon
        for i, hole in enumerate(self.test_holes):
            if not floor.covers(Point(hole.x, hole.y)):
                raise InputError(
                    f'test hole "{hole.name}" at ({hole.x:.3f}, {hole.y:.3f}) m is not in the slab',
                    field=f"test_holes[{i}]",
                )
        for i in range(len(self.layouts)):
            self._check_layout(i)

    def _check_layout(self, i: int) -> None:
        """Its pits have room, and may be dug where they are."""
        layout = self.layouts[i]
        try:
            held = layout.held_bodies(self.site.slab.polygon)
        except InputError as err:
            raise InputError(err.message, field=f"layouts[{i}].{err.field}") from None
        for faults in (
            drain_faults(layout, held, self.site.conductors),
            digging_faults(layout, held, digging_bounds(self.site)),
        ):
            if faults:
                first, *rest = faults
                too = ", ".join(f'"{layout.points[fault.point].name}"' for fault in rest)
                more = f". The same is wrong with {too}" if too else ""
                raise InputError(
                    first.message + more, field=f"layouts[{i}].points[{first.point}].pit"
                )

    def _check_references(self) -> None:
        """Pressures are stated for places there are, and no pit is named like one of them."""
        if self.variant:
            return  # a variant may have lost a place that the case as written has
        rooms = self.site.room_names
        places = [*(name for name in self.site.outdoor_names if name != OUTDOORS), *rooms]
        for i, condition in enumerate(self.conditions):
            for j, reference in enumerate(condition.references):
                if reference.name not in places:
                    have = ", ".join(f'"{name}"' for name in places) or "none"
                    raise InputError(
                        f'no yard "{reference.name}" on this site and no such room; it has {have}',
                        field=f"conditions[{i}].references[{j}].name",
                    )
            for name in rooms:
                if condition.pressure_of(name) is None:
                    raise InputError(_no_pressure(name, condition.name), field=f"conditions[{i}]")
        for i, layout in enumerate(self.layouts):
            for j, point in enumerate(layout.points):
                if point.name in places:
                    raise InputError(
                        f'"{point.name}" names a yard too, or a room; give the point another name',
                        field=f"layouts[{i}].points[{j}].name",
                    )

    def reference_pressures(self, condition: Condition) -> dict[str, float]:
        """Pressure of every place the soil can leak to.

        Parameters
        ----------
        condition : Condition
            One of the case's, or any other.

        Returns
        -------
        pressures : dict of str to float
            By reference, against the house; a yard the condition passes over is at the
            outdoors'. [Pa]

        Raises
        ------
        InputError
            The condition gives a room no pressure.
        """
        found = {HOUSE: 0.0}
        for name in self.site.outdoor_names:
            own = condition.pressure_of(name)
            found[name] = condition.outdoors if own is None else own
        for name in self.site.room_names:
            own = condition.pressure_of(name)
            if own is None:
                raise InputError(_no_pressure(name, condition.name), field="conditions")
            found[name] = own
        return found

    def layout(self, name: str | None = None) -> Layout:
        """A layout by name.

        Parameters
        ----------
        name : str or None
            Its name; None takes the first.

        Returns
        -------
        layout : Layout
            The layout.

        Raises
        ------
        InputError
            No layout of that name.
        """
        if name is None:
            return self.layouts[0]
        for layout in self.layouts:
            if layout.name == name:
                return layout
        have = ", ".join(f'"{layout.name}"' for layout in self.layouts)
        raise InputError(f'no layout "{name}" in this case; it has {have}', field="layout")

    def with_layout(self, layout: Layout) -> Case:
        """A copy with one layout only.

        Parameters
        ----------
        layout : Layout
            The layout.

        Returns
        -------
        case : Case
            The copy.
        """
        return replace(self, layouts=(layout,))

    def with_variant(self, name: str) -> Case:
        """A copy whose site is one of the variants, or the site in another season.

        Parameters
        ----------
        name : str
            Name of the variant; empty for the case as written. Where no variant has that name,
            words of `soilflow.site.seasons.in_season`, such as ``frozen yard``, which come on
            top of the site as it is.

        Returns
        -------
        case : Case
            The copy.

        Raises
        ------
        InputError
            No variant of that name, and no such season.
        """
        # a dried or soaked house is not dried or soaked twice when a stored run of it is repeated
        if name in ("", self.variant):
            return self
        same = [v for v in self.variants if _plain(v) == _plain(name)]
        if name not in self.variants and len(same) == 1:
            name = same[0]
        site, mine = self._other_site(name), f"variants.{name}."
        if name not in self.variants and self.variant:
            name = f"{self.variant} and {name}"  # no run of both may pass for a run of one
        own = [
            replace(u, path="site." + u.path.removeprefix(mine))
            for u in self.uncertain
            if u.path.startswith(mine)
        ]
        others = [u for u in self.uncertain if not u.path.startswith(mine)]
        kept = _ranges_on(others, self.site, site, {u.path for u in own})
        return replace(self, site=site, variant=name, uncertain=(*kept, *own))

    def _other_site(self, name: str) -> Site:
        """A variant as written, or the site in a season asked for in words."""
        if name in self.variants:
            return self.variants[name]
        try:
            return in_season(self.site, name)
        except InputError as error:
            have = ", ".join(f'"{v}"' for v in self.variants) or "none"
            raise InputError(
                f'no variant "{name}" in this case; it has {have}. As a season: {error.message}',
                field="variant",
            ) from None

    def with_resolution(self, resolution: Resolution) -> Case:
        """A copy on another grid.

        Parameters
        ----------
        resolution : Resolution
            How fine the grid is.

        Returns
        -------
        case : Case
            The copy.

        Raises
        ------
        InputError
            It is no Resolution.
        """
        if not isinstance(resolution, Resolution):
            raise InputError(
                f"{resolution!r}: a Resolution is needed, such as soilflow.flow.grid.COARSE",
                field="resolution",
            )
        return replace(self, resolution=resolution)


def _no_pressure(room: str, condition: str) -> str:
    return (
        f'"{condition}" gives the room "{room}" no pressure, and a guess would decide its verdict: '
        f'write references = {{"{room}" = "0 Pa"}} there, what its air exceeds the house by'
    )


def _plain(name: str) -> str:
    """A variant's name as it is said, whatever stands between its words."""
    return " ".join(re.split(r"[\s_-]+", name.casefold().strip()))


def _ranges_on(
    ranges: Sequence[Uncertain], was: Site, now: Site, own: Set[str]
) -> Iterator[Uncertain]:
    """Ranges that hold on a changed site as well.

    A range belongs to what it was written for: with a replaced table it goes, and one of
    several nouns that stayed takes it along to its new place in the list.
    """
    for one in ranges:
        match = re.fullmatch(r"site\.(\w+)(?:\[(\d+)\])?(.*)", one.path)
        part = match[1] if match else ""
        if not match or getattr(was, part, None) == getattr(now, part, None):
            yield one
        elif match[2] is not None and (noun := getattr(was, part)[int(match[2])]) in (
            new := getattr(now, part)
        ):
            path = f"site.{part}[{new.index(noun)}]{match[3]}"
            if path not in own:
                yield replace(one, path=path)
