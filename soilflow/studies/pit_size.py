"""What is the next bucket worth? Pits of one to six buckets, and a bare core hole before them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from soilflow.case import Case
from soilflow.errors import InputError, SoilflowError
from soilflow.flow.grid import Resolution
from soilflow.flow.side_by_side import Progress, each_of, processors
from soilflow.grids import grid_of, map_of
from soilflow.layout.layout import Layout
from soilflow.layout.pits import CylinderPit, HemisphericalPit, cylinder_of_volume
from soilflow.run import solve_soil
from soilflow.site.patches import Patch
from soilflow.site.site import Site
from soilflow.studies.deciding import measured, on_site_of
from soilflow.studies.gap_scenes import CORE, NO_GAP, WALLS, gap_scenes
from soilflow.studies.pit_series import Digging, PitSeries, PitSizes
from soilflow.studies.placements import at_vacuum, centre_place, one_pit, wall_place
from soilflow.units import M_PER_INCH

__all__ = [
    "PIT",
    "PLACES",
    "SHAPES",
    "STATES",
    "bare_hole",
    "pit_of",
    "pit_size_cost",
    "pit_sizes",
]

# Fine at the pit, rough elsewhere: two-bucket bowls on it draw within 1 % of the normal grid's.
PIT = Resolution(
    name="pit",
    cells_per_radius=4.0,
    line_size=0.08,
    growth=1.6,
    largest_inside=0.6,
    largest_outside=3.0,
    largest_down=2.0,
)
SHAPES = ("bowl", "pan", "shaft")
STATES = {
    "scraped": "wall scraped clean",
    "smeared": "wall smeared in digging",
    "seam": "loose seam below",
    "gap": "gap under the slab",
}
PLACES = {"open": "in the open", "wall": "at the wall"}

# Five US gallons of hole. [m3]
_BUCKET = 0.0189270589
# A 4 in core through the slab, and the inch of soil that comes out with it. [m]
_CORE, _CORE_DEPTH = 4.0 * M_PER_INCH, 1.0 * M_PER_INCH
# A pan as flat as a hand can scrape, a shaft as narrow as an arm can dig (chosen by the project).
_PAN_DEPTH, _SHAFT_WIDTH = 4.0 * M_PER_INCH, 14.0 * M_PER_INCH
# Per cell of one pit, on one processor; an estimate only. [s]
_SECONDS = 1.7e-5


def bare_hole() -> CylinderPit:
    """What there is before anybody digs: a core hole and an inch of soil gone.

    Returns
    -------
    pit : CylinderPit
        4 in wide, 1 in deep.
    """
    return CylinderPit(diameter=_CORE, depth=_CORE_DEPTH)


def pit_of(
    shape: str, buckets: int, *, smear: float = 0.0, smear_ratio: float = 1.0
) -> HemisphericalPit | CylinderPit:
    """A pit of some buckets.

    Parameters
    ----------
    shape : str
        ``bowl``, ``pan`` (4 in deep, as wide as it takes) or ``shaft`` (14 in wide, as deep).
    buckets : int
        Air volume dug out; 0 is the bare core hole, which drilling leaves clean.
    smear : float
        Thickness of soil packed onto its wall. [m]
    smear_ratio : float
        Permeability of that soil relative to what it was. [-]

    Returns
    -------
    pit : HemisphericalPit or CylinderPit
        The pit.

    Raises
    ------
    InputError
        No such shape.
    """
    if shape not in SHAPES:
        raise InputError(f'no shape "{shape}"; there are {", ".join(SHAPES)}', field="shape")
    if buckets == 0:
        return bare_hole()
    volume = buckets * _BUCKET
    if shape == "bowl":
        return HemisphericalPit(volume=volume, smear=smear, smear_ratio=smear_ratio)
    if shape == "pan":
        pit = cylinder_of_volume(volume, depth=_PAN_DEPTH)
    else:
        pit = cylinder_of_volume(volume, diameter=_SHAFT_WIDTH)
    return replace(pit, smear=smear, smear_ratio=smear_ratio)


class _Task(NamedTuple):
    """One pit to be solved; the bare hole once for all shapes, smeared or not."""

    place: str
    state: str
    shape: str
    buckets: int


def _site(case: Case, place: str, state: str, digging: Digging) -> Site:
    bare = replace(case.site, gaps=())
    if state == "gap":
        scene = CORE if place == "open" else WALLS
        return gap_scenes(case.site, digging.aperture, (scene,))[0].site
    if state != "seam":
        return gap_scenes(bare, digging.aperture, (NO_GAP,))[0].site
    layer = bare.ground.layers[0]
    seam = Patch(
        name="loose seam",
        corners=bare.slab.corners,
        permeability=layer.permeability * digging.seam_looser_by,
        vertical=layer.across * digging.seam_looser_by,
        top=digging.seam_depth,
        bottom=digging.seam_depth + digging.seam_thickness,
        source="guess",
    )
    return replace(bare, patches=(*bare.patches, seam))


def _layout(
    case: Case,
    task: _Task,
    digging: Digging,
    places: dict[str, tuple[float, float]],
    vacuum: float | None,
) -> Layout:
    smear = {"smear": digging.smear, "smear_ratio": digging.smear_ratio}
    pit = pit_of(task.shape, task.buckets, **(smear if task.state == "smeared" else {}))
    layout = one_pit(case, "one pit", places[task.place], pit)
    return layout if vacuum is None else at_vacuum(layout, vacuum)


def _tasks(
    shapes: Sequence[str], states: Sequence[str], places: Sequence[str], most: int
) -> list[_Task]:
    for given, known, what in (
        (shapes, SHAPES, "shape"),
        (states, tuple(STATES), "state"),
        (places, tuple(PLACES), "place"),
    ):
        for name in given:
            if name not in known:
                raise InputError(f'no {what} "{name}"; there are {", ".join(known)}', field=what)
    if most < 1:
        raise InputError(f"{most}: at least one bucket must be dug", field="most")
    tasks = [
        _Task(*names)
        for names in itertools.product(places, states, shapes, range(most + 1))
        if names[3] > 0 or names[2] == shapes[0]
    ]
    # the bare hole is not smeared: it stands once for both states of the wall
    return [t for t in tasks if t.buckets or t.state != "smeared" or "scraped" not in states]


def pit_size_cost(
    case: Case, shapes: Sequence[str], states: Sequence[str], places: Sequence[str], most: int
) -> tuple[int, float]:
    """What the study will cost, without solving anything.

    Parameters
    ----------
    case : Case
        The house.
    shapes, states, places : sequence of str
        What is dug, how the soil is, and where.
    most : int
        Buckets of the largest pit.

    Returns
    -------
    solves : int
        Pits to be solved.
    seconds : float
        About how long on this machine's processors. [s]
    """
    tasks = _tasks(shapes, states, places, most)
    middle = one_pit(case, "one pit", centre_place(case), pit_of("bowl", 2))
    cells = grid_of(case.with_resolution(PIT), [middle]).cells
    return len(tasks), _SECONDS * cells * len(tasks) / min(processors(), 2)


def pit_sizes(
    case: Case,
    *,
    shapes: Sequence[str] = SHAPES,
    states: Sequence[str] = tuple(STATES),
    places: Sequence[str] = tuple(PLACES),
    most: int = 6,
    digging: Digging | None = None,
    vacuum: float | None = None,
    resolution: Resolution = PIT,
    progress: Progress | None = None,
) -> PitSizes:
    """Solve pits of growing size, each on a grid made for it.

    Parameters
    ----------
    case : Case
        The house; its fan and pipes are those of its first layout.
    shapes, states, places : sequence of str
        What is dug, how the soil is, and where.
    most : int
        Buckets of the largest pit.
    digging : Digging or None
        How pits are dug; None takes the usual guesses.
    vacuum : float or None
        Vacuum held in the pit in place of the fan. [Pa]
    resolution : Resolution
        How fine the grids are.
    progress : callable or None
        Called with the pits done and of all pits, first with none done.

    Returns
    -------
    found : PitSizes
        A pit that may not be dug where it would be is not a number.

    Raises
    ------
    InputError
        No such shape, state or place.
    """
    tasks = _tasks(shapes, states, places, most)
    digging = digging or Digging()
    case = case.with_resolution(resolution)
    where = {"open": centre_place(case), "wall": wall_place(case)}

    def work(number: int) -> tuple[tuple[float, float, float], str, str]:
        return _solved(case, tasks[number], digging, where, vacuum)

    answers = dict(zip(tasks, each_of(work, len(tasks), progress=progress), strict=True))
    series = [
        _series(answers, place, state, shape, shapes[0], most)
        for place, state, shape in itertools.product(places, states, shapes)
    ]
    return PitSizes(
        case=case,
        series=tuple(series),
        digging=digging,
        places={place: where[place] for place in places},
        failures=tuple(dict.fromkeys(failure for _, _, failure in answers.values() if failure)),
    )


def _solved(
    case: Case,
    task: _Task,
    digging: Digging,
    places: dict[str, tuple[float, float]],
    vacuum: float | None,
) -> tuple[tuple[float, float, float], str, str]:
    """Conductance, margin and flow of one pit; why it may not be dug; why it failed."""
    nothing = (math.nan, math.nan, math.nan)
    here = on_site_of(case, _site(case, task.place, task.state, digging))
    layout = _layout(here, task, digging, places, vacuum)
    try:
        here.with_layout(layout)
    except InputError as error:
        return nothing, error.message, ""
    try:
        solution = solve_soil(map_of(here, layout), here.air.viscosity)
        margin, flow, _ = measured(here, layout, solution)
    except SoilflowError as error:
        return nothing, "", " ".join(str(error).split())
    port = solution.soil.ports.index("pit")
    return (float(solution.response.port_matrix[port, port]), margin, flow), "", ""


def _series(
    answers: dict[_Task, tuple[tuple[float, float, float], str, str]],
    place: str,
    state: str,
    shape: str,
    first: str,
    most: int,
) -> PitSeries:
    start = _Task(place, state, first, 0)
    if start not in answers:
        start = start._replace(state="scraped")
    row = [answers[start], *(answers[_Task(place, state, shape, n)] for n in range(1, most + 1))]
    numbers = np.array([found for found, _, _ in row]).T
    return PitSeries(
        shape=shape,
        place=place,
        state=state,
        conductance=numbers[0],
        margins=numbers[1],
        flows=numbers[2],
        refused=next((words for _, words, _ in row if words), ""),
    )
