"""What sealing is worth: a ranked list of segments, each with what it would gain."""

from __future__ import annotations

from dataclasses import dataclass

from soilflow.results.leak_changes import FloorMeasures
from soilflow.units import M3S_PER_CFM, M_PER_FOOT

__all__ = ["SOIL_LIMITS", "Gain", "SealingList", "SealingValue", "gain"]

# Below this ratio r of the slot's own resistance to the soil's, sealing half of it in patches
# buys little: in series it stops r / (1 + 2 r), a sixth, of the flow. Chosen by the project. [-]
SOIL_LIMITS = 0.25


@dataclass(frozen=True, kw_only=True)
class Gain:
    """What a change is worth; positive is better.

    Parameters
    ----------
    margin_gained : float
        Rise of the worst margin. [Pa]
    coverage_gained : float
        Rise of the share of floor at the pass line; NaN where only the first order is known. [-]
    air_saved : float
        Room air that no longer goes down. [m3/s]
    """

    margin_gained: float
    coverage_gained: float
    air_saved: float


def gain(before: FloorMeasures, after: FloorMeasures) -> Gain:
    """The gain between two states of a floor.

    Parameters
    ----------
    before, after : FloorMeasures
        The two.

    Returns
    -------
    gain : Gain
        What has been gained.
    """
    return Gain(
        margin_gained=after.worst.margin - before.worst.margin,
        coverage_gained=after.coverage_area - before.coverage_area,
        air_saved=before.room_air - after.room_air,
    )


@dataclass(frozen=True, kw_only=True)
class SealingValue:
    """One segment of a joint or crack, or one opening, and what sealing it is worth.

    Parameters
    ----------
    name : str
        The joint, crack or opening.
    begins : float
        True length of its line before the segment, from the line's start. [m]
    length : float
        True length of the segment; 0 for an opening. [m]
    start, end : tuple of float
        Its ends in plan; both the middle of an opening. [m]
    whole : Gain
        Sealed all along, fan and pipes at their new operating point.
    whole_held : Gain
        The same with the pits at the pressures they had.
    half, half_held : Gain or None
        Sealed over half its length, the half that gains more; None for an opening, and where
        only the first order is known.
    patchy, patchy_held : Gain or None
        Sealed over half its length in patches so short that soil air finds its way between
        them: the slot's conductance is halved, the way to it in the soil is as it was.
    joint_to_soil : float
        Resistance of the slot itself over that of the soil that feeds it; NaN when unknown. [-]
    exact : bool
        Whether the gains are exact, or first order.
    """

    name: str
    begins: float
    length: float
    start: tuple[float, float]
    end: tuple[float, float]
    whole: Gain
    whole_held: Gain
    half: Gain | None
    half_held: Gain | None
    patchy: Gain | None
    patchy_held: Gain | None
    joint_to_soil: float
    exact: bool

    @property
    def soil_limits(self) -> bool:
        """Whether soil rather than slot is the resistance, so that patchy sealing buys little."""
        return self.joint_to_soil < SOIL_LIMITS

    @property
    def patchy_share(self) -> float:
        """Room air that patchy sealing saves, of what whole sealing does; NaN when unknown. [-]"""
        if self.patchy_held is None or self.whole_held.air_saved == 0.0:
            return float("nan")
        return self.patchy_held.air_saved / self.whole_held.air_saved

    def __str__(self) -> str:
        where = self.name
        if self.length > 0.0:
            last = self.begins + self.length
            where += (
                f", {self.begins:.2f} to {last:.2f} m along it "
                f"({self.begins / M_PER_FOOT:.1f} to {last / M_PER_FOOT:.1f} ft)"
            )
        words = [f"{where}: {_words(self.whole)}"]
        if self.half is not None:
            words.append(f"half of it {_words(self.half)}")
        if self.soil_limits and self.patchy is not None:
            words.append(
                f"half of it in patches saves {100 * self.patchy_share:.0f} % of that air: the "
                f"soil is the resistance, the slot {self.joint_to_soil:.2g} of it"
            )
        if not self.exact:
            words.append("first order only")
        return "; ".join(words)


def _words(found: Gain) -> str:
    saved = f"{found.air_saved / M3S_PER_CFM:.3g} cfm ({1e3 * found.air_saved:.3g} L/s)"
    return f"{found.margin_gained:+.3g} Pa at the worst spot, {saved} of room air saved"


@dataclass(frozen=True, kw_only=True)
class SealingList:
    """Everything that can be sealed, the most worth first.

    Parameters
    ----------
    condition, layout : str
        Names of the condition and of the layout.
    before : FloorMeasures
        The floor as it is.
    values : tuple of SealingValue
        By gain in worst margin through the fan, then by room air saved.
    resolution : str
        The grid they were found on.
    cells : int
        Cells solved.
    solves : int
        Fields solved beyond those of the ports.
    seconds : float
        What it all took. [s]
    """

    condition: str
    layout: str
    before: FloorMeasures
    values: tuple[SealingValue, ...]
    resolution: str
    cells: int
    solves: int
    seconds: float

    def __str__(self) -> str:
        worst = self.before.worst
        lines = [
            f"Sealing, {self.condition}, layout {self.layout}: worst margin {worst.margin:.3g} Pa "
            f"at ({worst.x:.2f}, {worst.y:.2f}) m, "
            f"{self.before.room_air / M3S_PER_CFM:.3g} cfm of room air drawn down"
        ]
        lines += [f"{rank:3d}. {value}" for rank, value in enumerate(self.values, start=1)]
        exact = sum(value.exact for value in self.values)
        lines.append(
            f"On the {self.resolution} grid, {self.cells} cells, {self.solves} further fields, "
            f"{exact} of {len(self.values)} exact, {self.seconds:.1f} s"
        )
        return "\n".join(lines)
