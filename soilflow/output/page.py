"""Lines for a narrow window, and numbers the way the trade says them.

Plain text without colour: nothing is lost on paper, in a log or to a reader who sees no red.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable

from soilflow.site.slab import Slab
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC, feet_inches

__all__ = [
    "Page",
    "bare",
    "both",
    "cfm",
    "figures",
    "pa",
    "percent",
    "place_on_floor",
    "spoken",
    "wc",
]


class Page:
    """Lines of text no wider than a page, unless a single word is.

    Parameters
    ----------
    width : int
        Characters in a line.
    """

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []

    def text(self) -> str:
        """Everything said so far.

        Returns
        -------
        text : str
            Lines, the last one ended.
        """
        return "\n".join(self.lines).strip("\n") + "\n"

    def say(self, words: str, *, first: str = "", rest: str | None = None) -> None:
        """Add a paragraph.

        Parameters
        ----------
        words : str
            The paragraph.
        first : str
            In front of its first line.
        rest : str or None
            In front of the lines after it; None takes the same.
        """
        self.lines += textwrap.wrap(
            words,
            self.width,
            initial_indent=first,
            subsequent_indent=first if rest is None else rest,
            break_long_words=False,
            break_on_hyphens=False,
        )

    def heading(self, words: str) -> None:
        """Begin a block, after an empty line.

        Parameters
        ----------
        words : str
            Its heading.
        """
        self.lines.append("")
        self.say(words)

    def item(self, words: str) -> None:
        """Add an item of a list.

        Parameters
        ----------
        words : str
            The item.
        """
        self.say(words, first="- ", rest="  ")

    def rows(self, rows: Iterable[tuple[str, ...]], *, indent: str = "  ", texts: int = 1) -> None:
        """Add a table; a name too long for its column gets a line of its own.

        Parameters
        ----------
        rows : iterable of tuple of str
            Rows of equal length, a name first.
        indent : str
            In front of each line.
        texts : int
            How many columns from the left are words; the others line up on the right.
        """
        table = list(rows)
        if not table:
            return
        sizes = [max(len(cell) for cell in column) for column in zip(*table, strict=True)]
        room = self.width - len(indent) - sum(sizes[1:]) - 2 * len(sizes[1:])
        fitting = [len(row[0]) for row in table if len(row[0]) <= room]
        sizes[0] = max(fitting, default=0)
        for name, *cells in table:
            if len(name) > sizes[0]:
                self.say(name, first=indent, rest=indent + "  ")
                name = ""
            padded = [
                cell.ljust(size) if column < texts else cell.rjust(size)
                for column, (cell, size) in enumerate(zip((name, *cells), sizes, strict=True))
            ]
            self.lines.append((indent + "  ".join(padded)).rstrip())


def figures(value: float, digits: int = 3) -> str:
    """Write a number to some significant digits, never with an exponent.

    Parameters
    ----------
    value : float
        The number, in any unit. [SI]
    digits : int
        Significant digits.

    Returns
    -------
    words : str
        The number; 0 for less than 0.0001.

    Examples
    --------
    >>> figures(951.37), figures(0.30512), figures(-2.6e-7)
    ('951', '0.305', '0')
    """
    rounded = float(f"{value:.{digits}g}")
    if abs(rounded) < 1e-4:
        return "0"
    return f"{rounded:.{max(0, digits - 1 - math.floor(math.log10(abs(rounded))))}f}"


def pa(pressure: float) -> str:
    """Write a pressure under the floor to two figures, no finer than 0.01 Pa.

    Parameters
    ----------
    pressure : float
        The pressure; NaN where no air reaches. [Pa]

    Returns
    -------
    words : str
        With its unit.

    Examples
    --------
    >>> pa(-64.72), pa(0.0149), pa(-0.0021)
    ('-65 Pa', '0.01 Pa', '0.00 Pa')
    """
    if not math.isfinite(pressure):
        return "no air"
    shown = f"{pressure:.2f}" if abs(pressure) < 0.1 else figures(pressure, 2)
    return f"{'0.00' if shown == '-0.00' else shown} Pa"


def wc(pressure: float, digits: int = 3) -> str:
    """Write a pressure in inches of water column, no finer than a field gauge shows it.

    Parameters
    ----------
    pressure : float
        The pressure; NaN where no air reaches. [Pa]
    digits : int
        Significant digits, down to 0.001 in. w.c.

    Returns
    -------
    words : str
        With its unit, empty where no air reaches.
    """
    if not math.isfinite(pressure):
        return ""
    inches = pressure / PA_PER_INCH_WC
    shown = f"{inches:.3f}" if abs(inches) < 0.1 else figures(inches, digits)
    return f"{'0.000' if shown == '-0.000' else shown} in. w.c."


def both(pressure: float) -> str:
    """Write a pressure under the floor in both units.

    Parameters
    ----------
    pressure : float
        The pressure. [Pa]

    Returns
    -------
    words : str
        To two figures.

    Examples
    --------
    >>> both(0.3112)
    '0.31 Pa (0.001 in. w.c.)'
    """
    return f"{pa(pressure)} ({wc(pressure, 2)})"


def cfm(flow: float) -> str:
    """Write a flow in cubic feet per minute.

    Parameters
    ----------
    flow : float
        The flow. [m3/s]

    Returns
    -------
    words : str
        With its unit; a trace is called one.
    """
    feet = flow / M3S_PER_CFM
    if 0.0 < feet < 0.01:
        return "under 0.01 cfm"
    return f"{figures(feet, 3 if abs(feet) >= 1.0 else 2)} cfm"


def bare(quantity: str) -> str:
    """Leave the unit off, where it stands over the column.

    Parameters
    ----------
    quantity : str
        As `pa`, `wc` or `cfm` writes it.

    Returns
    -------
    number : str
        Without " Pa", " in. w.c." or " cfm".
    """
    return quantity.removesuffix(" Pa").removesuffix(" in. w.c.").removesuffix(" cfm")


def percent(share: float) -> str:
    """Write a share in per cent, rounded down so that only a whole floor reads 100 %.

    Parameters
    ----------
    share : float
        The share; NaN where no air reaches. [-]

    Returns
    -------
    words : str
        Whole per cents.
    """
    return "no air" if math.isnan(share) else f"{math.floor(100.0 * share + 1e-9)} %"


def spoken(name: str) -> str:
    """Write the name of a condition as words.

    Parameters
    ----------
    name : str
        Such as ``design_winter``.

    Returns
    -------
    words : str
        Such as ``design winter``.
    """
    return name.replace("_", " ")


def place_on_floor(slab: Slab, x: float, y: float) -> str:
    """A place as a tape measure finds it.

    Parameters
    ----------
    slab : Slab
        The floor.
    x, y : float
        The place. [m]

    Returns
    -------
    words : str
        Distances from the west and the south wall, to the inch; where the floor is no
        rectangle, from its westmost and southmost wall.
    """
    west, south, east, north = slab.polygon.bounds
    most = "" if math.isclose(slab.area, (east - west) * (north - south)) else "most"
    return (
        f"{feet_inches(x - west, denominator=1)} from the west{most} wall, "
        f"{feet_inches(y - south, denominator=1)} from the south{most} wall"
    )
