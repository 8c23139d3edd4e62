"""``soilflow search``: the best layouts out of all there are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.meter import meter
from soilflow.cli.options import (
    AsJson,
    CaseFile,
    Debug,
    Quiet,
    ResolutionName,
    VariantName,
    Verbose,
)
from soilflow.cli.reporting import (
    WrongCommand,
    aside,
    check_folder_of,
    pick_grid,
    pick_variant,
    reporting,
    show,
    wrote,
)

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.layout.pits import HemisphericalPit
    from soilflow.studies.search import Search
    from soilflow.studies.search_soils import SoilSearch

__all__ = ["search"]

# Fitted to candidate solves at 300 to 420 thousand cells on two cores. Estimates only. [s]
_SECONDS_PER_CELL = 3.0e-6


@app.command()
def search(
    case: CaseFile,
    pits: Annotated[int, typer.Option(min=1, max=8, help="Most pits of a layout.")] = 4,
    pit: Annotated[
        str, typer.Option(metavar="VOLUME", help="What is dug at each place.")
    ] = "2 buckets",
    fan: Annotated[
        list[str] | None,
        typer.Option(metavar="WORD", help="Class of fan to try; give it again for more."),
    ] = None,
    spacing: Annotated[
        str, typer.Option(metavar="LENGTH", help="Between places, on the floor and along walls.")
    ] = "5 ft",
    riser: Annotated[
        str | None,
        typer.Option(metavar="X,Y", help="Where the branches meet; the longest wall's middle."),
    ] = None,
    members: Annotated[
        int, typer.Option(min=0, help="Soils drawn from the case's ranges to try the best in.")
    ] = 0,
    seed: Annotated[int, typer.Option(min=0, help="What the soils are drawn with.")] = 0,
    variant: VariantName = None,
    resolution: Annotated[
        ResolutionName | None,
        typer.Option(help="Grid on which the best are solved in full."),
    ] = None,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
    ] = Path("."),
    figures: Annotated[bool, typer.Option("--figures/--no-figures", help="Draw pictures.")] = True,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Find where the pits go, how many, and on which fan.

    \b
    Examples:
      soilflow search house.toml --pits 1 --spacing "15 ft"
      soilflow search house.toml --pits 2 --pit "3 buckets" --spacing "15 ft"

    Every layout of up to so many pits is looked at, through the fan curve and the pipes; the
    best are solved in full. Writes a case with the best layouts in it, which run takes, and
    the map of good places.
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out / "search")
        from soilflow.files.case_toml import read_case

        read = pick_variant(read_case(case), variant)
        if resolution is not None:
            read = pick_grid(read, resolution)
        if members:
            from soilflow.studies.unknown_soil import ranges_of

            ranges_of(read)  # a case without ranges is refused before the search
        found = _search(read, pits, pit, fan or [], spacing, riser, quiet=quiet)
        soils = _in_soils(found, members, seed, quiet=quiet) if members else None
        from soilflow.output.search_printout import print_search, search_to_dict

        stem = f"{case.stem}_search" + (f"_{variant}".replace(" ", "_") if variant else "")
        paths = [out / f"{stem}.toml"]
        try:
            _write(found, paths[0])
            if figures:
                from soilflow.output.search_figure import save_search_figure

                paths.append(save_search_figure(found, out / f"{stem}.png"))
        finally:  # a full disk must not cost the answer
            show(
                lambda: print_search(found, soils=soils, verbose=verbose),
                lambda: search_to_dict(found, soils),
                json=json,
                quiet=quiet,
            )
        wrote(paths, json=json, quiet=quiet)


def _search(
    case: Case,
    pits: int,
    pit: str,
    fans: list[str],
    spacing: str,
    riser: str | None,
    *,
    quiet: bool,
) -> Search:
    from soilflow.errors import InputError
    from soilflow.studies.candidates import candidates_of
    from soilflow.studies.influence import common_grid
    from soilflow.studies.search import fans_on_offer, search_layouts

    dug = _pit(pit)
    try:
        tried = fans_on_offer(case, fans)
    except InputError as error:
        raise WrongCommand(f"--fan: {error.message}") from None
    step = _length("--spacing", spacing)
    own = dict.fromkeys((p.x, p.y) for layout in case.layouts for p in layout.points)
    places = candidates_of(case, pit=dug, spacing=step, wall_spacing=step, given=tuple(own))
    where = None
    if riser is not None:
        parts = riser.split(",")
        if len(parts) != 2:
            raise WrongCommand(f'--riser "{riser}": two lengths are needed, such as "18 ft, 0 ft"')
        where = (_length("--riser", parts[0]), _length("--riser", parts[1]))
    if not quiet:
        cells = common_grid(case, places).cells
        cost = 5.0 + len(places) * cells * _SECONDS_PER_CELL
        aside(
            f"{len(places)} places for a pit on {cells} cells, about {cost:.0f} s, then ranking ..."
        )
    with meter("places", shown=not quiet) as progress:
        return search_layouts(
            case, places, fans=tried, most_pits=pits, riser=where, progress=progress
        )


def _in_soils(found: Search, members: int, seed: int, *, quiet: bool) -> SoilSearch:
    from soilflow.studies.influence import common_grid
    from soilflow.studies.search_soils import chosen_step, places_needed, search_over_soils

    if not quiet:
        places = places_needed(chosen_step(found))
        cells = common_grid(found.case, found.candidates.chosen(places.tolist())).cells
        cost = members * (5.0 + len(places) * cells * _SECONDS_PER_CELL)
        aside(f"{members} soils with {len(places)} places each, about {cost / 3600.0:.2g} h ...")
    with meter("soils", shown=not quiet) as progress:
        return search_over_soils(found, members, seed=seed, progress=progress)


def _pit(text: str) -> HemisphericalPit:
    from soilflow.errors import InputError
    from soilflow.layout.pits import HemisphericalPit
    from soilflow.units import parse_quantity

    try:
        return HemisphericalPit(volume=parse_quantity(text, "volume"))
    except InputError as error:
        raise WrongCommand(f"--pit: {error.message}") from None


def _length(option: str, text: str) -> float:
    from soilflow.errors import InputError
    from soilflow.units import parse_quantity

    try:
        return parse_quantity(text.strip(), "length")
    except InputError as error:
        raise WrongCommand(f"{option}: {error.message}") from None


def _write(found: Search, path: Path) -> None:
    """A case whose layouts are the best of each step, the smallest that holds first."""
    from dataclasses import replace

    from soilflow.files.atomic import replacing
    from soilflow.files.write_toml import write_case

    order = sorted(found.steps, key=lambda step: (not step.passes, step.pits, -step.margin))
    layouts, names = [], set()
    for step in order:
        layout = step.top[0].layout
        name = f"{layout.name} on {step.fan.name}"
        if name not in names:
            names.add(name)
            layouts.append(replace(layout, name=name))
    text = write_case(replace(found.case, layouts=tuple(layouts)))
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8")
