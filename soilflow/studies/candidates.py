"""Where a suction pit might go: places in the floor and along its walls that may be dug."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from shapely import STRtree, union_all
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.layout.bodies import Body, HeldBody
from soilflow.layout.digging import digging_bounds, digging_complaint, drain_faults, meets_drain
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.outlines import outline_of, runs_into
from soilflow.layout.pits import OnConductor, Pit
from soilflow.layout.undermining import Footings
from soilflow.site.conductors import LineConductor
from soilflow.site.site import Site
from soilflow.units import M_PER_FOOT, M_PER_INCH

__all__ = [
    "ALONG_THE_WALL",
    "GIVEN",
    "IN_THE_FLOOR",
    "Candidate",
    "Candidates",
    "Dropped",
    "candidates_of",
]

Place = tuple[float, float]

ALONG_THE_WALL = "along the wall"
IN_THE_FLOOR = "in the floor"
GIVEN = "given"

# As far as a core drill on its stand gets to a wall (chosen by the project). [m]
_WALL_OFFSET = 1.0 * M_PER_FOOT
# Steps in which a wall pit moves out until it may be dug, and how far at most (chosen by the
# project). [m]
_STEP, _FARTHEST = 2.0 * M_PER_INCH, 4.0 * M_PER_FOOT
# Two candidates nearer than this are one (chosen by the project). [m]
_SAME = 1.0 * M_PER_INCH
# More places than this are a slip of the pen (chosen by the project).
_MOST = 4000


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One place where a pit might be dug.

    Parameters
    ----------
    name : str
        What it is called; that of its suction point.
    x, y : float
        Centre of the pit in plan. [m]
    point : SuctionPoint
        The point with its pit, on a fan.
    place : str
        ``along the wall``, ``in the floor`` or ``given``.
    """

    name: str
    x: float
    y: float
    point: SuctionPoint
    place: str


class Dropped(NamedTuple):
    """A place that was looked at and left out.

    Parameters
    ----------
    x, y : float
        The place. [m]
    reason : str
        What speaks against it.
    """

    x: float
    y: float
    reason: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Candidates:
    """Places where a pit may be dug, and those where it may not.

    Parameters
    ----------
    kept : tuple of Candidate
        In order: given ones, along the walls, in the floor.
    dropped : tuple of Dropped
        The others, each with the reason.
    clash : array of bool, shape (n, n)
        Pairs of those kept that cannot both be dug: they run into each other, or into one drain.
    """

    kept: tuple[Candidate, ...]
    dropped: tuple[Dropped, ...]
    clash: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.kept)

    def chosen(self, indices: Sequence[int]) -> Candidates:
        """A part of them.

        Parameters
        ----------
        indices : sequence of int
            Numbers of those wanted.

        Returns
        -------
        part : Candidates
            With all that were dropped.
        """
        at = np.asarray(indices, dtype=np.int64)
        kept = tuple(self.kept[i] for i in at)
        return Candidates(kept=kept, dropped=self.dropped, clash=self.clash[np.ix_(at, at)])

    def __repr__(self) -> str:
        return f"Candidates({len(self.kept)} kept, {len(self.dropped)} dropped)"


def candidates_of(
    case: Case,
    *,
    pit: Pit,
    site: Site | None = None,
    spacing: float | None = 4.0 * M_PER_FOOT,
    wall_spacing: float | None = 4.0 * M_PER_FOOT,
    given: Sequence[Place] = (),
) -> Candidates:
    """Places where a pit may be dug.

    Parameters
    ----------
    case : Case
        The case.
    pit : Pit
        What would be dug at each of them.
    site : Site or None
        The site to dig in; None for that of the case.
    spacing : float or None
        Distance between rows over the floor, the outermost half of it from the walls; None for
        no places there. [m]
    wall_spacing : float or None
        Largest distance between places along a wall; None for no places there. [m]
    given : sequence of (float, float)
        Places wanted. [m]

    Returns
    -------
    candidates : Candidates
        Without places off the slab, over bare soil, in holes, on footings, where nothing may be
        dug, where a pit would undermine a footing, or in a drain that is open to elsewhere.

    Raises
    ------
    InputError
        A spacing of nothing, or more places than a search could look at.
    """
    ground = _Ground.of(case.site if site is None else site, pit)
    for name, value in (("spacing", spacing), ("wall_spacing", wall_spacing)):
        if value is not None and not 2.0 * _SAME <= value < math.inf:
            raise InputError(f"{value:g} m: at least {2.0 * _SAME:g} m is needed", field=name)
    kept: list[tuple[Candidate, Body]] = []
    dropped: list[Dropped] = []
    taken = {name for layout in case.layouts for name in (p.name for p in layout.points)}
    taken |= set(ground.site.room_names) | set(ground.site.outdoor_names)
    for letter, place, ways in (
        ("given", GIVEN, [[at] for at in given]),
        ("wall", ALONG_THE_WALL, _along_walls(ground.site, wall_spacing)),
        ("floor", IN_THE_FLOOR, [[at] for at in _over_floor(ground.site, spacing)]),
    ):
        number = 0
        for tries in ways:
            near = [(c.x, c.y) for c, _ in kept]
            found = _first_that_fits(ground, tries, near)
            if isinstance(found, Dropped):
                dropped.append(found)
                continue
            at, body = found
            number += 1
            name = _free_name(f"{letter} {number}", taken)
            kept.append((_candidate(name, at, pit, place), body))
    return Candidates(
        kept=tuple(c for c, _ in kept),
        dropped=tuple(dropped),
        clash=_clashes(ground, [body for _, body in kept]),
    )


def _candidate(name: str, at: Place, pit: Pit, place: str) -> Candidate:
    point = SuctionPoint(name=name, x=at[0], y=at[1], pit=pit, source="a place the search tries")
    return Candidate(name=name, x=at[0], y=at[1], point=point, place=place)


def _free_name(name: str, taken: set[str]) -> str:
    while name in taken:
        name += "'"
    taken.add(name)
    return name


class _Ground(NamedTuple):
    """A site, what would be dug in it, and what speaks against it."""

    site: Site
    pit: Pit
    bounds: Footings
    without: BaseGeometry

    @classmethod
    def of(cls, site: Site, pit: Pit) -> _Ground:
        bare = [soil.polygon for soil in site.bare_soil]
        bare += [room.plan for room in site.rooms if room.is_bare]
        return cls(site, pit, digging_bounds(site), union_all(bare))

    def body(self, at: Place) -> Body:
        """The pit at a place, or an error that says why there can be none."""
        floor = self.bounds.floor
        if not floor.contains(Point(at)):
            raise InputError("not under the slab")
        if self.without.intersects(Point(at)):
            raise InputError("no slab there: its soil lies open")
        body = self.pit.body(*at, floor)
        if isinstance(self.pit, OnConductor):
            faults = drain_faults(_alone(at, self.pit), (), self.site.conductors)
        else:
            self._dug(body)
            held = (HeldBody(port="pit", body=body),)
            faults = drain_faults(_alone(at, self.pit), held, self.site.conductors)
        if faults:
            raise InputError(faults[0].message)
        return body

    def _dug(self, body: Body) -> None:
        words = digging_complaint("pit", self.pit, body, self.bounds)
        if words:
            raise InputError(words)
        outline = outline_of(body)
        if self.without.intersects(outline):
            raise InputError("the pit reaches under soil that lies open")
        for hole in self.site.openings:
            if not hole.sealed and outline.intersects(hole.plan):
                raise InputError(f'the opening "{hole.name}" would lead straight into the pit')


def _alone(at: Place, pit: Pit) -> Layout:
    """A layout of one pit."""
    point = SuctionPoint(name="pit", x=at[0], y=at[1], pit=pit, vacuum=1.0)
    return Layout(name="one pit", points=(point,))


def _first_that_fits(
    ground: _Ground, tries: Sequence[Place], near: Sequence[Place]
) -> tuple[Place, Body] | Dropped:
    """The first of several places that may be dug, or what is wrong with the first of them."""
    reason = ""
    for at in tries:
        if any(math.dist(at, other) < _SAME for other in near):
            reason = reason or "there is a candidate in this place already"
            continue
        try:
            return at, ground.body(at)
        except InputError as err:
            reason = reason or err.message
    return Dropped(*tries[0], reason)


def _along_walls(site: Site, spacing: float | None) -> Iterator[list[Place]]:
    """For each place along the walls the places to try, from the wall inwards. [m]"""
    if spacing is None:
        return
    for a, b in itertools.pairwise(site.slab.outline.exterior.coords):
        length = math.dist(a, b)
        along = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        count = math.ceil(length / spacing - 1e-9)
        for i in range(count):
            way = length * (i + 0.5) / count
            x, y = a[0] + way * along[0], a[1] + way * along[1]
            steps = range(math.floor((_FARTHEST - _WALL_OFFSET) / _STEP + 1e-9) + 1)
            yield [
                (x - along[1] * off, y + along[0] * off)
                for off in (_WALL_OFFSET + _STEP * step for step in steps)
            ]


def _over_floor(site: Site, spacing: float | None) -> list[Place]:
    """Rows of places that share the floor evenly. [m]"""
    if spacing is None:
        return []
    west, south, east, north = site.slab.polygon.bounds
    x, y = (
        [low + (high - low) * (i + 0.5) / count for i in range(count)]
        for low, high in ((west, east), (south, north))
        for count in (max(round((high - low) / spacing), 1),)
    )
    if len(x) * len(y) > _MOST:
        raise InputError(
            f"{len(x) * len(y)} places, and at most {_MOST} can be looked at; a wider one works",
            field="spacing",
        )
    return [(a, b) for b in y for a in x]


def _clashes(ground: _Ground, bodies: Sequence[Body]) -> NDArray[np.bool_]:
    """Pairs of pits that share soil or a drain."""
    n, clash = len(bodies), np.zeros((len(bodies),) * 2, dtype=bool)
    if n == 0:
        return clash
    outlines = np.array([outline_of(body) for body in bodies], dtype=object)
    tree = STRtree(outlines)
    for i, j in tree.query(outlines, predicate="dwithin", distance=_SAME).T.tolist():
        clash[i, j] = i != j and runs_into(bodies[i], bodies[j])
    for group in _drain_groups(ground.site.conductors):
        inside = np.array([_in_drains(ground.pit, body, group) for body in bodies])
        clash |= inside[:, None] & inside[None, :]
    np.fill_diagonal(clash, False)
    return clash


def _in_drains(pit: Pit, body: Body, drains: Sequence[LineConductor]) -> bool:
    if isinstance(pit, OnConductor):
        return any(drain.name == pit.line for drain in drains)
    return any(meets_drain(pit, body, drain) for drain in drains)


def _drain_groups(drains: Sequence[LineConductor]) -> list[list[LineConductor]]:
    """Drains that run into one another have one pressure."""
    n = len(drains)
    meet = [[a.line.distance(b.line) <= 0.5 * (a.width + b.width) for b in drains] for a in drains]
    count, label = connected_components(np.array(meet).reshape(n, n), directed=False)
    return [[d for d, k in zip(drains, label, strict=True) if k == g] for g in range(count)]
