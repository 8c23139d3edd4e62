"""Conversion factors with their sources, and every spelling of a unit we read.

The tables are keyed by dimension, because the dimension of a field decides what a unit word
means: ``D`` is a darcy where permeability is asked for, and nothing anywhere else.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple, Protocol

from soilflow.errors import InputError

__all__ = [
    "GRAVITY",
    "INDEX",
    "M2_PER_DARCY",
    "M3S_PER_CFM",
    "M3_PER_BUCKET",
    "M3_PER_GALLON",
    "MS_PER_FPM",
    "M_PER_FOOT",
    "M_PER_INCH",
    "PA_PER_INCH_WC",
    "PA_PER_MM_WC",
    "TABLES",
    "Named",
    "Table",
    "Unit",
    "canonical",
    "unit_table",
]

# NIST SP 811 (2008), Appendix B, from memory, unless a definition is named.
M_PER_INCH = 0.0254  # international inch, exact
M_PER_FOOT = 0.3048  # international foot, exact
GRAVITY = 9.80665  # standard gravity, exact (CGPM 1901) [m/s2]
PA_PER_MM_WC = 9.80665  # conventional: water of 1000 kg/m3 under standard gravity
# Conventional inch of water; 4 C water gives 249.082 and 60 F water 248.84, 0.1 % apart.
PA_PER_INCH_WC = 249.08891
M3_PER_GALLON = 231.0 * M_PER_INCH**3  # US gallon, exact by definition
M3_PER_BUCKET = 5.0 * M3_PER_GALLON  # the trade's bucket, common practice, no source
M3S_PER_CFM = M_PER_FOOT**3 / 60.0
MS_PER_FPM = M_PER_FOOT / 60.0
# 1 cP, 1 cm/s and 1 atm per cm: the definition, 9.869233e-13 m2
M2_PER_DARCY = 1e-3 * 1e-2 * 1e-2 / 101325.0


class Named(Protocol):
    """Anything that carries the name of a dimension."""

    @property
    def name(self) -> str:
        """Key of the unit tables."""


class Unit(NamedTuple):
    """One unit: how to print it, what it is in SI, how else it is written.

    SI value = factor * number + offset

    Parameters
    ----------
    label : str
        As soilflow prints it.
    factor : float
        One of the unit. [SI]
    spellings : str
        Further spellings, in the form ``canonical`` makes, with spaces between.
    offset : float
        Its zero. [SI]
    """

    label: str
    factor: float
    spellings: str = ""
    offset: float = 0.0


class Table(NamedTuple):
    """The units of one dimension, with examples for messages.

    Parameters
    ----------
    examples : tuple of str
        Ways to write such a quantity.
    units : tuple of Unit
        The units, the trade's own first.
    """

    examples: tuple[str, ...]
    units: tuple[Unit, ...]


def _water(inch_words: str) -> str:
    columns = "wc wg h2o water ofwater watercolumn ofwatercolumn watergauge ofwatergauge ofh2o"
    return " ".join(i + c for i in inch_words.split() for c in columns.split())


_CUBIC_FOOT = M_PER_FOOT**3
TABLES: dict[str, Table] = {
    "length": Table(
        ("12 ft", "4 ft 6 in", "3.66 m"),
        (
            Unit("ft", M_PER_FOOT, "' foot feet"),
            Unit("in", M_PER_INCH, '" inch inches'),
            Unit("m", 1.0, "meter meters metre metres"),
            Unit("cm", 1e-2, "centimeter centimeters centimetre centimetres"),
            Unit("mm", 1e-3, "millimeter millimeters millimetre millimetres"),
            Unit("um", 1e-6, "μm micron microns"),
            Unit("yd", 3 * M_PER_FOOT, "yard yards"),
        ),
    ),
    "area": Table(
        ("1200 sq ft", "111 m2"),
        (
            Unit("sq ft", M_PER_FOOT**2, "ft2 sf sqfeet squareft squarefoot squarefeet"),
            Unit("sq in", M_PER_INCH**2, "in2 squarein squareinch squareinches"),
            Unit("m2", 1.0, "sqm squaremeter squaremeters squaremetre squaremetres"),
            Unit("cm2", 1e-4, "sqcm"),
        ),
    ),
    "volume": Table(
        ("2 buckets", "10 gal", "20 L"),
        (
            Unit("gal", M3_PER_GALLON, "gallon gallons usgal usgallon usgallons"),
            Unit("buckets", M3_PER_BUCKET, "bucket"),
            Unit("cu ft", _CUBIC_FOOT, "ft3 cf cubicft cubicfoot cubicfeet"),
            Unit("cu yd", 27 * _CUBIC_FOOT, "yd3 cubicyd cubicyard cubicyards"),
            Unit("m3", 1.0, "cum cubicmeter cubicmeters cubicmetre cubicmetres"),
            Unit("L", 1e-3, "liter liters litre litres"),
        ),
    ),
    "permeability": Table(
        ("1e-12 m2", "10 darcy"),
        (
            Unit("m2", 1.0),
            Unit("darcy", M2_PER_DARCY, "d darcies darcys"),
            Unit("millidarcy", 1e-3 * M2_PER_DARCY, "md millidarcies millidarcys"),
            Unit("cm2", 1e-4),
            Unit("um2", 1e-12, "μm2"),
        ),
    ),
    "pressure": Table(
        ("1.5 in. w.c.", "370 Pa"),
        (
            Unit("in. w.c.", PA_PER_INCH_WC, 'iwc iwg "wc ' + _water('in inch inches "')),
            Unit("mm w.c.", PA_PER_MM_WC, _water("mm")),
            Unit("Pa", 1.0, "pascal pascals"),
            Unit("kPa", 1e3),
            Unit("hPa", 1e2, "mbar millibar"),
            Unit("bar", 1e5),
            Unit("atm", 101325.0),  # standard atmosphere, exact
            Unit("in. Hg", 3386.389, '"hg inchofmercury inchesofmercury'),
            Unit("psi", 6894.757),
        ),
    ),
    "flow": Table(
        ("60 cfm", "100 m3/h"),
        (
            Unit("cfm", M3S_PER_CFM, "ft3/min cuft/min cubicft/min cubicfeet/min ft3/minute"),
            Unit("m3/s", 1.0),
            Unit("m3/h", 1 / 3600.0, "m3/hr m3/hour cmh"),
            Unit("L/s", 1e-3, "lps liters/second litres/second"),
            Unit("L/min", 1e-3 / 60.0, "lpm"),
        ),
    ),
    "temperature": Table(
        ("50 F", "10 C", "283 K"),
        (
            Unit("F", 1 / 1.8, "degf degreesf fahrenheit degreesfahrenheit", 459.67 / 1.8),
            Unit("C", 1.0, "degc degreesc celsius degreescelsius", 273.15),
            Unit("K", 1.0, "kelvin"),
        ),
    ),
    "ratio": Table(
        ("0.5", "50 %"),
        (
            Unit("", 1.0, "x times"),
            Unit("%", 1e-2, "percent"),
            Unit("in/ft", 1 / 12.0, 'inch/foot "/ft "/\''),  # the fall of a pipe
        ),
    ),
    "velocity": Table(
        ("1600 fpm", "8 m/s"),
        (
            Unit("fpm", MS_PER_FPM, "ft/min feet/minute"),
            Unit("m/s", 1.0, "meters/second metres/second"),
            Unit("ft/s", M_PER_FOOT, "fps"),
            Unit("mph", 0.44704, "mi/h miles/hour"),  # 1609.344 m per mile, exact
            Unit("km/h", 1 / 3.6, "kph"),
        ),
    ),
    "power": Table(
        ("60 W", "0.1 kW"),
        (Unit("W", 1.0, "watt watts"), Unit("kW", 1e3), Unit("hp", 745.6999)),
    ),
    "density": Table(
        ("1.2 kg/m3", "0.075 lb/cu ft"),
        (Unit("kg/m3", 1.0), Unit("lb/cu ft", 0.45359237 / _CUBIC_FOOT, "lb/ft3 lbs/ft3 lbs/cuft")),
    ),
    "angle": Table(
        ("30 deg",),
        (
            Unit("deg", math.pi / 180.0, "degree degrees"),
            Unit("rad", 1.0, "radian radians"),
        ),
    ),
    "time": Table(
        ("30 s", "10 min", "2 h"),
        (
            Unit("s", 1.0, "sec secs second seconds"),
            Unit("min", 60.0, "mins minute minutes"),
            Unit("h", 3600.0, "hr hrs hour hours"),
            Unit("days", 86400.0, "day d"),
        ),
    ),
}


def canonical(unit: str) -> str:
    """Reduce a unit to what tells it apart: lower case, no dots, spaces or hyphens.

    Parameters
    ----------
    unit : str
        The unit as it was written.

    Returns
    -------
    str
        Its key in ``INDEX``.
    """
    return re.sub(r"[\s.^°-]+", "", re.sub(r"\bper\b", "/", unit.lower()))


INDEX: dict[str, dict[str, Unit]] = {
    name: {s: u for u in table.units for s in (canonical(u.label), *u.spellings.split())}
    for name, table in TABLES.items()
}


def unit_table(dimension: Named | str) -> Table:
    """Find the units of a dimension, or say which dimensions there are.

    Parameters
    ----------
    dimension : Dimension or str
        Name of the dimension, or what carries it.

    Returns
    -------
    Table
        Its units.

    Raises
    ------
    InputError
        There is no such dimension.
    """
    name = dimension if isinstance(dimension, str) else dimension.name
    if name not in TABLES:
        raise InputError(f"{name}: not a dimension; there are {', '.join(sorted(TABLES))}")
    return TABLES[name]
