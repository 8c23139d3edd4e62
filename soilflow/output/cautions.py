"""What nobody should take from a computed result, and what comes before any work on a house.

A caution is never lifted: whatever a run finds, nothing here turns into a green light, and no
output says that a house, a person or a job is out of danger.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["CAUTIONS", "Caution", "first_cautions"]


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One standing caution.

    Parameters
    ----------
    short : str
        For the end of a printed answer.
    full : str
        For a sheet, with what to do.
    first : bool
        Whether it stands beside every result, however short the print.
    """

    short: str
    full: str
    first: bool = False


# The subjects are common practice, no source, where no other source is named.
CAUTIONS: Mapping[str, Caution] = MappingProxyType(
    {
        "radon": Caution(
            first=True,
            short="Suction is no radon reading. Test for radon, and again in the heating season.",
            full=(
                "Nothing here is a radon result, and neither is a gauge on the pipe. Only a radon "
                "test tells the level; repeat it in the heating season."
            ),
        ),
        "back-drafting": Caution(
            first=True,
            short=(
                "A fan can pull flue gas back into the house. This program cannot see that: test "
                "every vented appliance under worst-case conditions."
            ),
            full=(
                "Air drawn out of the house can reverse the draft of a boiler, a water heater, a "
                "stove or a fireplace. No number printed here tells whether a flue still draws. "
                "Make a spillage test of every vented appliance with doors, exhaust fans and the "
                "new fan set to the worst case, before leaving the house and after sealing."
            ),
        ),
        "carbon monoxide": Caution(
            first=True,
            short="Carbon monoxide alarms on every floor before the fan runs.",
            full=(
                "Working carbon monoxide alarms belong on every floor and near the bedrooms "
                "before the fan is switched on."
            ),
        ),
        "footings": Caution(
            first=True,
            short=(
                "Dig nothing below a line that falls outward at 45 degrees from the lower edge of "
                "a footing, pad or chimney base."
            ),
            full=(
                "Soil under a line that runs down and out at 45 degrees from the lower edge of a "
                "footing, a pad or a chimney base carries load: leave it where it is. A footing "
                "whose depth nobody knows counts as no deeper than the slab. A wide flat pan holds "
                "as much as a deep pit."
            ),
        ),
        "before drilling": Caution(
            first=True,
            short="Find pipes, wires and post-tension cables before any hole.",
            full=(
                "Find water, drain, gas and heating pipes, wires and post-tension cables before "
                "the first hole in the slab, test holes included. A cut cable can throw concrete."
            ),
        ),
        "codes": Caution(
            first=True,
            short="Local codes, the standard in force and licensed practice outrank this print.",
            full=(
                "Local codes, the standard adopted where the house stands and the practice of "
                "licensed people come before anything printed here."
            ),
        ),
        "silica": Caution(
            short="Concrete dust harms the lungs: water or a vacuum at the bit, and a respirator.",
            full=(
                "Cutting and coring concrete frees silica dust. Keep it down with water or a "
                "vacuum at the tool and wear a fitted respirator."
            ),
        ),
        "old slabs": Caution(
            short="An undercut old slab can crack: keep pits away from its cracks and loads.",
            full=(
                "A thin or cracked old slab may not span a wide pit. Keep pits away from posts, "
                "bearing walls and open cracks, and stop if the slab moves or sounds different."
            ),
        ),
        "asbestos and lead": Caution(
            short="Old floor tile and paint may hold asbestos or lead: have them tested first.",
            full=(
                "Floor tile, its glue, pipe wrap and paint in an old house may hold asbestos or "
                "lead. Have them tested before cutting or sanding."
            ),
        ),
        "electrical": Caution(
            short="Fan wiring is work for a licensed trade.",
            full="The fan's circuit and its switch are work for a licensed electrician.",
        ),
        "discharge": Caution(
            short="Keep the discharge clear of windows, doors and air intakes, as the code asks.",
            full=(
                "What the fan blows out is soil gas. Bring it out above the roof or where the code "
                "allows, clear of windows, doors, air intakes and places where people sit."
            ),
        ),
        "fire-rated walls": Caution(
            short="A pipe through a fire-rated wall or ceiling needs a listed collar.",
            full=(
                "Where the pipe passes a fire-rated wall or ceiling, a garage wall for one, the "
                "opening needs the listed fire stop or collar."
            ),
        ),
        "neighbours": Caution(
            short="A slab shared with neighbours shares pressure too: ask them, test there too.",
            full=(
                "Under a slab or fill that reaches below a neighbour, the fan moves the "
                "neighbour's air as well. Agree with them, and test their side too."
            ),
        ),
        "groundwater": Caution(
            short="A pit whose bottom lies below the water table floods.",
            full=(
                "A pit that reaches the water table fills and stops drawing. Look for the highest "
                "level of the year, not the level on the day of the work."
            ),
        ),
    }
)


def first_cautions() -> tuple[str, ...]:
    """The cautions that stand beside every result.

    Returns
    -------
    cautions : tuple of str
        Short ones, one or two sentences each.
    """
    return tuple(caution.short for caution in CAUTIONS.values() if caution.first)
