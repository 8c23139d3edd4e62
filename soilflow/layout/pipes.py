"""Pipes: a tree from the suction points through branches and manifold to the discharge."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from soilflow.data import fittings, lookup_word
from soilflow.errors import InputError
from soilflow.layout.losses import MOST_TURNED, damper_coefficient, friction_factor
from soilflow.units import (
    M_PER_FOOT,
    M_PER_INCH,
    Angle,
    Depth,
    Length,
    LossCoefficient,
    Temperature,
    check_fields,
)

__all__ = [
    "DISCHARGE",
    "Pipe",
    "PipeTree",
    "entry_loss",
    "fall_needed",
    "path_losses",
    "pipe_flows",
    "pipe_loss",
    "pipe_losses",
]

DISCHARGE = "discharge"  # name of the run that every other pipe empties into in the end
ROUGHEST = 0.05  # roughness over bore where Colebrook's formula ends (Moody 1944, from memory)


@dataclass(frozen=True, kw_only=True)
class Pipe:
    """A straight run of one bore with its fittings.

    Parameters
    ----------
    name : str
        The user's name for it. A pipe named like a suction point starts in its pit.
    length : float
        Length along the axis. [m]
    bore : float
        Inside diameter. [m]
    roughness : float
        Height of the wall's roughness; 1.5e-6 is drawn plastic (handbooks, from memory). [m]
    fittings : tuple of str
        Names of fittings from the table of loss coefficients, repeated as they occur.
    damper : float
        How far the blade of a damper in it is turned from open, up to 70 degrees. [rad]
    loss_coefficient : float
        Further loss in velocity heads of this pipe. [-]
    into : str
        Name of the pipe whose upstream end this one empties into.
    source : str
        Where the numbers come from.

    Raises
    ------
    InputError
        If a value is out of bounds or a fitting is not in the table.
    """

    name: str
    length: Length
    bore: Length
    roughness: Depth = 1.5e-6
    fittings: tuple[str, ...] = ()
    damper: Angle = 0.0
    loss_coefficient: LossCoefficient = 0.0
    into: str = DISCHARGE
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if self.roughness > ROUGHEST * self.bore:
            raise InputError(
                f"roughness {self.roughness:g} m is more than a twentieth of the bore "
                f"{self.bore:g} m, where the friction formula ends",
                field="roughness",
            )
        if self.damper > MOST_TURNED * (1.0 + 1e-9):
            raise InputError(
                f"{math.degrees(self.damper):.3g} deg: past {math.degrees(MOST_TURNED):.0f} deg a "
                "damper is as good as shut; write capped = true at its suction point",
                field="damper",
            )
        try:
            _fittings_coefficient(self.fittings)
        except InputError as error:
            raise InputError(error.message, field="fittings") from error

    @property
    def area(self) -> float:
        """Area of the bore. [m2]"""
        return math.pi / 4.0 * self.bore**2


@dataclass(frozen=True, kw_only=True)
class PipeTree:
    """Branches and manifold pipes that gather into one discharge run with the fan in it.

    Parameters
    ----------
    pipes : tuple of Pipe
        All pipes but the discharge run, in any order; none when the only suction
        point bears the discharge run's name.
    discharge : Pipe
        The run downstream of all others, named "discharge".
    discharge_height : float
        Vertical rise from the slab to the outlet. [m]
    entry_coefficient : float
        Loss from pit to pipe in velocity heads; 0.57 is a sharp-edged flush pipe end (Rennels
        and Hudy 2012, as the fluids package gives it). [-]
    exit_coefficient : float
        Loss at the outlet in velocity heads; 1 loses the whole jet. [-]
    air_temperature : float
        Temperature of the air in the riser; 293.15 is a riser inside a heated house. [K]
    source : str
        Where the numbers come from.

    Raises
    ------
    InputError
        If a name is used twice, a pipe empties into one that is not there, or a loop is made.

    Notes
    -----
    A printed static-pressure curve usually leaves the velocity head at the fan's outlet out
    already. With the fan on, an `exit_coefficient` of 1 then counts that head once too
    often, by 5 Pa at 50 cfm in a 4-in pipe, and so errs towards less vacuum.
    """

    pipes: tuple[Pipe, ...]
    discharge: Pipe
    discharge_height: Depth
    entry_coefficient: LossCoefficient = 0.57
    exit_coefficient: LossCoefficient = 1.0
    air_temperature: Temperature = 293.15
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _check_tree(self)

    def way_out(self, name: str) -> tuple[Pipe, ...]:
        """Pipes that air passes from the upstream end of one to the outlet.

        Parameters
        ----------
        name : str
            Name of the first pipe, which is also that of the suction point it serves.

        Returns
        -------
        tuple of Pipe
            The pipe itself first, the discharge run last.

        Raises
        ------
        InputError
            If there is no such pipe.
        """
        by_name = {pipe.name: pipe for pipe in (*self.pipes, self.discharge)}
        if name not in by_name:
            raise InputError(f"no pipe is named {name!r}; there are {_listed(by_name)}")
        way = [by_name[name]]
        while way[-1].name != DISCHARGE:
            way.append(by_name[way[-1].into])
        return tuple(way)


def pipe_loss(pipe: Pipe, flow: float, *, density: float, viscosity: float) -> float:
    """Loss along one pipe: friction, fittings, damper and its further loss coefficient.

    dp = (f L/D + sum K) rho v^2 / 2, with the sign of the flow.

    Parameters
    ----------
    pipe : Pipe
        The pipe.
    flow : float
        Volume of air through it at atmospheric pressure, towards the discharge. [m3/s]
    density : float
        Density of the air at atmospheric pressure. [kg/m3]
    viscosity : float
        Viscosity of the air. [Pa s]

    Returns
    -------
    float
        Loss of total pressure towards the discharge; odd in the flow. [Pa]

    Notes
    -----
    With a steady mass flow at one temperature, rho dp is the same at every pressure, so
    this loss is exactly the difference of u = p + p^2/(2 p_atm) between the ends, apart
    from the small change of velocity head along the way. The Reynolds number does not
    change with pressure.

    Examples
    --------
    >>> riser = Pipe(name="A", length=10.0, bore=0.10226)
    >>> round(pipe_loss(riser, 0.02359737, density=1.204, viscosity=1.81e-5), 2)
    12.67
    """
    speed = abs(flow) / pipe.area
    if (reynolds := density * speed * pipe.bore / viscosity) < 1e-30:  # 64/Re would overflow
        return 0.0
    friction = friction_factor(reynolds, pipe.roughness / pipe.bore) * pipe.length / pipe.bore
    local = _fittings_coefficient(pipe.fittings) + damper_coefficient(pipe.damper)
    coefficient = friction + local + pipe.loss_coefficient
    return math.copysign(coefficient * density * speed**2 / 2.0, flow)


def entry_loss(tree: PipeTree, point: str, flow: float, *, density: float) -> float:
    """Loss from a pit into the end of its pipe.

    Parameters
    ----------
    tree : PipeTree
        The pipes.
    point : str
        Name of the suction point.
    flow : float
        Volume of air from the pit at atmospheric pressure. [m3/s]
    density : float
        Density of the air at atmospheric pressure. [kg/m3]

    Returns
    -------
    float
        Loss of total pressure; odd in the flow. [Pa]
    """
    speed = flow / tree.way_out(point)[0].area
    return tree.entry_coefficient * density * speed * abs(speed) / 2.0


def pipe_flows(tree: PipeTree, flows_by_point: Mapping[str, float]) -> dict[str, float]:
    """Flow in every pipe of a tree.

    Parameters
    ----------
    tree : PipeTree
        The pipes.
    flows_by_point : mapping of str to float
        Volume of air from each suction point in use, at atmospheric pressure. [m3/s]

    Returns
    -------
    dict of str to float
        Volume of air through each pipe at atmospheric pressure, by pipe name. [m3/s]
    """
    flows = {pipe.name: 0.0 for pipe in (*tree.pipes, tree.discharge)}
    for point, flow in flows_by_point.items():
        for pipe in tree.way_out(point):
            flows[pipe.name] += flow
    return flows


def pipe_losses(
    tree: PipeTree, flows_by_point: Mapping[str, float], *, density: float, viscosity: float
) -> dict[str, float]:
    """Loss along every pipe of a tree; the discharge run's includes the outlet.

    Parameters
    ----------
    tree : PipeTree
        The pipes.
    flows_by_point : mapping of str to float
        Volume of air from each suction point in use, at atmospheric pressure. [m3/s]
    density : float
        Density of the air at atmospheric pressure. [kg/m3]
    viscosity : float
        Viscosity of the air. [Pa s]

    Returns
    -------
    dict of str to float
        Loss of total pressure between the ends of each pipe, by pipe name. [Pa]
    """
    flows = pipe_flows(tree, flows_by_point)
    losses = {
        pipe.name: pipe_loss(pipe, flows[pipe.name], density=density, viscosity=viscosity)
        for pipe in (*tree.pipes, tree.discharge)
    }
    speed = flows[DISCHARGE] / tree.discharge.area
    losses[DISCHARGE] += tree.exit_coefficient * density * speed * abs(speed) / 2.0
    return losses


def path_losses(
    tree: PipeTree, flows_by_point: Mapping[str, float], *, density: float, viscosity: float
) -> dict[str, float]:
    """Loss from each pit to the open air: entry, pipes on the way, outlet.

    Parameters
    ----------
    tree : PipeTree
        The pipes.
    flows_by_point : mapping of str to float
        Volume of air from each suction point in use, at atmospheric pressure. [m3/s]
    density : float
        Density of the air at atmospheric pressure. [kg/m3]
    viscosity : float
        Viscosity of the air. [Pa s]

    Returns
    -------
    dict of str to float
        Loss of total pressure from the pit to the outlet, by suction point. [Pa]

    Raises
    ------
    InputError
        If a suction point has no pipe of its name.

    Notes
    -----
    Pipes join at the upstream end of the one they empty into; a junction's own loss goes
    into the fittings of the pipe that meets it. Exact in u, as `pipe_loss` is.
    """
    losses = pipe_losses(tree, flows_by_point, density=density, viscosity=viscosity)
    return {
        point: entry_loss(tree, point, flow, density=density)
        + sum(losses[pipe.name] for pipe in tree.way_out(point))
        for point, flow in flows_by_point.items()
    }


def fall_needed(tree: PipeTree) -> dict[str, float]:
    """How far each pipe must fall towards the pits, so that condensate runs back.

    An eighth of an inch per foot (common practice, no source) of its length, as if it lay
    flat; of the discharge run, the length beyond its rise.

    Parameters
    ----------
    tree : PipeTree
        The pipes.

    Returns
    -------
    dict of str to float
        Fall from end to end, by pipe name. [m]
    """
    slope = M_PER_INCH / 8.0 / M_PER_FOOT
    fall = {pipe.name: slope * pipe.length for pipe in tree.pipes}
    flat = max(tree.discharge.length - tree.discharge_height, 0.0)
    return {**fall, DISCHARGE: slope * flat}


@lru_cache(maxsize=256)
def _fittings_coefficient(words: tuple[str, ...]) -> float:
    return sum(lookup_word(fittings(), word).loss_coefficient for word in words)


def _check_tree(tree: PipeTree) -> None:
    if tree.discharge.name != DISCHARGE:
        message = f"the discharge run is named {tree.discharge.name!r}, must be {DISCHARGE!r}"
        raise InputError(message, field="discharge.name")
    if tree.discharge.into != DISCHARGE:
        message = f"{tree.discharge.into!r}: the discharge run ends in the open air; leave it out"
        raise InputError(message, field="discharge.into")
    names: dict[str, str] = {DISCHARGE: ""}
    for i, pipe in enumerate(tree.pipes):
        if pipe.name in names:
            raise InputError(
                f"{pipe.name!r} is used for two pipes; give each its own name",
                field=f"pipes[{i}].name",
            )
        names[pipe.name] = pipe.into
    for i, pipe in enumerate(tree.pipes):
        if pipe.into not in names:
            raise InputError(
                f"{pipe.name!r} empties into {pipe.into!r}, which is not there; "
                f"there are {_listed(names)}",
                field=f"pipes[{i}].into",
            )
    for i, pipe in enumerate(tree.pipes):
        way = [pipe.name]
        while way[-1] != DISCHARGE:
            way.append(names[way[-1]])
            if way[-1] in way[:-1]:
                raise InputError(
                    "the pipes " + " -> ".join(way) + " run in a loop; "
                    f"each way must end in {DISCHARGE!r}",
                    field=f"pipes[{i}].into",
                )


def _listed(names: Iterable[str]) -> str:
    return ", ".join(map(repr, names))
