"""Whether what lies in and under the floor lies where it can be."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence

from shapely import union_all
from shapely.geometry import Polygon

from soilflow.errors import InputError
from soilflow.site.conductors import LineConductor
from soilflow.site.leaks import Crack
from soilflow.site.openings import BareSoil, Opening, bare_plan
from soilflow.site.rooms import Room

__all__ = ["check_conductors", "check_floor"]

# Rounding in sums of wall lengths. [m]
_SLACK = 1e-6


def check_floor(
    floor: Polygon,
    rooms: Sequence[Room],
    bare: Sequence[BareSoil],
    cracks: Sequence[Crack],
    openings: Sequence[Opening],
) -> None:
    """See that everything in the floor lies on it, and no two claim one place.

    Parameters
    ----------
    floor : shapely.Polygon
        Inner wall faces. [m]
    rooms : sequence of Room
        Rooms beside the house.
    bare : sequence of BareSoil
        Floor without a slab.
    cracks : sequence of Crack
        Cracks.
    openings : sequence of Opening
        Openings.

    Raises
    ------
    InputError
        The first that cannot be where it is.
    """
    around = floor.buffer(_SLACK)
    groups = {
        "rooms": ("the room", "corners", [(r.name, r.polygon) for r in rooms]),
        "bare_soil": ("the bare soil", "corners", [(b.name, b.polygon) for b in bare]),
        "cracks": ("the crack", "points", [(c.name, c.line) for c in cracks]),
        "openings": ("the opening", "x", [(o.name, o.plan) for o in openings]),
    }
    for group, (what, field, shapes) in groups.items():
        for i, (name, shape) in enumerate(shapes):
            if not around.covers(shape):
                raise InputError(
                    f'{what} "{name}" does not lie wholly on the floor',
                    field=f"{group}[{i}].{field}",
                )
    for i, j in itertools.combinations(range(len(rooms)), 2):
        if rooms[i].polygon.intersection(rooms[j].polygon).area > _SLACK:
            raise InputError(
                f'the rooms "{rooms[i].name}" and "{rooms[j].name}" overlap',
                field=f"rooms[{j}].corners",
            )
    soil = bare_plan(bare, rooms)
    slab = floor.difference(union_all([soil, *(room.plan for room in rooms)]))
    if slab.area <= _SLACK:
        raise InputError(
            "the house is left without a slab of its own to be held under suction",
            field="rooms" if rooms else "bare_soil",
        )
    for i, opening in enumerate(openings):
        if opening.plan.intersection(soil).area > _SLACK**2:
            raise InputError(
                f'the opening "{opening.name}" lies where there is no slab; drop it',
                field=f"openings[{i}].x",
            )
        for other in openings[:i]:
            if opening.plan.intersection(other.plan).area > _SLACK**2:
                raise InputError(
                    f'the openings "{other.name}" and "{opening.name}" overlap; make them one',
                    field=f"openings[{i}].x",
                )


def check_conductors(
    groups: Mapping[str, Sequence[LineConductor]], references: Collection[str], bottom: float
) -> None:
    """See that drains lie in the soil, have names of their own and end at places there are.

    Parameters
    ----------
    groups : mapping of str to sequence of LineConductor
        By field of the site.
    references : collection of str
        What a drain can be open to.
    bottom : float
        Depth of the tight bottom. [m]

    Raises
    ------
    InputError
        The first that cannot be as it is.
    """
    seen: set[str] = set()
    for group, lines in groups.items():
        for i, line in enumerate(lines):
            where = f"{group}[{i}]"
            if not line.name.strip() or line.name in seen:
                raise InputError(
                    f'"{line.name}" is used twice or is no name; give each drain its own',
                    field=f"{where}.name",
                )
            seen.add(line.name)
            if line.open_to and line.open_to not in references:
                have = ", ".join(f'"{name}"' for name in references)
                raise InputError(
                    f'"{line.open_to}" is no place of this site; it has {have}',
                    field=f"{where}.open_to",
                )
            if line.axis_depth >= bottom:
                raise InputError(
                    f"its axis at {line.axis_depth:g} m is below the tight bottom at {bottom:g} m",
                    field=where,
                )
