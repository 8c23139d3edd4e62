"""Markers for dataclass fields, and the way in and out for quantities.

Inside soilflow every quantity is a plain float in SI; text is read and written here. A field
says what it is by its annotation, ``width: Length``, and the marker behind the alias carries
dimension, unit and bounds for the parser, for pydantic and for ``check_fields``.
"""

from __future__ import annotations

import functools
import math
import numbers
import types
import typing
from dataclasses import dataclass, fields
from typing import Annotated, Any

from soilflow.bounds import LARGEST, SMALLEST
from soilflow.errors import InputError
from soilflow.quantity_text import (
    feet_inches,
    format_si,
    format_trade,
    parse_text,
    quoted,
    unit_missing,
)
from soilflow.unit_tables import (
    GRAVITY,
    M2_PER_DARCY,
    M3_PER_BUCKET,
    M3_PER_GALLON,
    M3S_PER_CFM,
    M_PER_FOOT,
    M_PER_INCH,
    MS_PER_FPM,
    PA_PER_INCH_WC,
    PA_PER_MM_WC,
    unit_table,
)

__all__ = [
    "GRAVITY",
    "M2_PER_DARCY",
    "M3S_PER_CFM",
    "M3_PER_BUCKET",
    "M3_PER_GALLON",
    "MS_PER_FPM",
    "M_PER_FOOT",
    "M_PER_INCH",
    "PA_PER_INCH_WC",
    "PA_PER_MM_WC",
    "Angle",
    "Area",
    "Coordinate",
    "Density",
    "Depth",
    "Dimension",
    "Flow",
    "Fraction",
    "Length",
    "LossCoefficient",
    "Permeability",
    "Power",
    "Pressure",
    "Ratio",
    "Temperature",
    "Time",
    "Vacuum",
    "Velocity",
    "Volume",
    "check_fields",
    "feet_inches",
    "format_si",
    "format_trade",
    "parse_quantity",
]


@dataclass(frozen=True)
class Dimension:
    """What a field holds: the marker behind the annotated aliases.

    Parameters
    ----------
    name : str
        Dimension, a key of the unit tables.
    unit : str
        SI unit of the stored float; ``-`` for a ratio.
    gt : float or None
        The value must be above this. [SI]
    ge : float or None
        The value must be at least this. [SI]
    lt : float or None
        The value must be below this. [SI]
    le : float or None
        The value must be at most this. [SI]
    most : float
        The magnitude must be at most this, as no house has more. [SI]
    least : float
        What is above zero must be at least this, as nobody measures less. [SI]
    """

    name: str
    unit: str
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    most: float = math.inf
    least: float = 0.0

    def _allows(self, value: float) -> bool:
        return not (
            (self.gt is not None and value <= self.gt)
            or (self.ge is not None and value < self.ge)
            or (self.lt is not None and value >= self.lt)
            or (self.le is not None and value > self.le)
        )

    def _examples(self) -> list[str]:
        return [e for e in unit_table(self.name).examples if self._allows(parse_text(e, self.name))]

    def _within(self, value: float, shown: str, field: str = "") -> float:
        if abs(value) > self.most:
            raise InputError(
                f"{shown}: more than {format_si(self.most, self.name)}, which is beyond any house; "
                f"such as {quoted(self._examples())} would work",
                field=field,
            )
        if 0.0 < value < self.least:
            raise InputError(
                f"{shown}: less than {format_si(self.least, self.name)}, which nobody measures; "
                f"such as {quoted(self._examples())} would work",
                field=field,
            )
        if self._allows(value):
            return value
        words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
        bounds = [(w, getattr(self, b)) for b, w in words.items() if getattr(self, b) is not None]
        needed = " and ".join(f"{w} {format_si(bound, self.name)}" for w, bound in bounds)
        raise InputError(
            f"{shown}: must be {needed}, such as {quoted(self._examples())}", field=field
        )

    def check(self, value: Any, field: str = "") -> float:
        """Return an SI number as a float, or say why it cannot be one.

        Parameters
        ----------
        value : Any
            The number, in the unit of the dimension. [SI]
        field : str
            Name of the field, for the message.

        Returns
        -------
        float
            The same number. [SI]

        Raises
        ------
        InputError
            Not a number, not finite, or out of bounds.
        """
        unit = "" if self.unit == "-" else f" in {self.unit}"
        if isinstance(value, bool) or not isinstance(value, numbers.Real):
            raise InputError(f"{value!r}: a number{unit} is needed here", field=field)
        number = float(value)
        if not math.isfinite(number):
            raise InputError(f"{number}: a finite number{unit} is needed here", field=field)
        return self._within(number, format_si(number, self.name), field)

    def read(self, value: Any) -> float:
        """Read what a case file holds: text with a unit, or a bare number if it needs none.

        Parameters
        ----------
        value : Any
            Text such as ``12 ft``, or a number for a ratio.

        Returns
        -------
        float
            The quantity. [SI]

        Raises
        ------
        InputError
            A bare number where a unit is needed, or anything ``parse_quantity`` refuses.
        """
        if isinstance(value, str):
            return parse_quantity(value, self)
        number = isinstance(value, numbers.Real) and not isinstance(value, bool)
        if self.unit == "-" or (number and not math.isfinite(value)):
            return self.check(value)
        if number:
            raise unit_missing(f"{value:g}", self.name)
        raise InputError(f"{value!r}: a text with a unit is needed, {quoted(self._examples())}")

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Let pydantic read the field with ``read``, so that all mistakes come at once."""
        from pydantic_core import PydanticCustomError, core_schema

        def validate(value: Any) -> float:
            try:
                return self.read(value)
            except InputError as error:
                context = {"message": error.message}
                raise PydanticCustomError("quantity", "{message}", context) from error

        return core_schema.no_info_plain_validator_function(validate)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        """Describe the field to an editor: text with a unit, or a number for a ratio."""
        if self.unit != "-":
            about = f"{self.name} with its unit, kept in {self.unit}"
            return {"type": "string", "description": about, "examples": self._examples()}
        bounds = {
            "exclusiveMinimum": self.gt,
            "minimum": self.ge,
            "exclusiveMaximum": self.lt,
            "maximum": self.le,
        }
        return {
            "type": ["number", "string"],
            "description": "number, or a number in text, such as 50 %",
            "examples": self._examples(),
            **{key: bound for key, bound in bounds.items() if bound is not None},
        }


def parse_quantity(text: str, dimension: Dimension | str) -> float:
    """Read a quantity with its unit, in trade or SI spelling.

    The dimension decides what a unit word means: ``in`` is a length, never a pressure.

    Parameters
    ----------
    text : str
        Number and unit, such as ``4 ft 6 in``, ``1.5" wc``, ``2 buckets``, ``1e-12 m2``.
    dimension : Dimension or str
        What the field needs. A Dimension's bounds are checked, a bare name has none.

    Returns
    -------
    float
        The quantity in the SI unit of the dimension. [SI]

    Raises
    ------
    InputError
        No number, no unit, a unit of something else, or out of bounds.

    Examples
    --------
    >>> round(parse_quantity("4 ft 6 in", "length"), 6)
    1.3716
    >>> round(parse_quantity('1.5" wc', "pressure"), 4)
    373.6334
    """
    text = text.strip()
    if isinstance(dimension, str):
        return parse_text(text, dimension)
    return dimension._within(parse_text(text, dimension.name), text)


def _above_zero(name: str, unit: str) -> Dimension:
    return Dimension(name, unit, gt=0.0, most=LARGEST[name], least=SMALLEST[name])


Length = Annotated[float, _above_zero("length", "m")]
Depth = Annotated[
    float, Dimension("length", "m", ge=0.0, most=LARGEST["length"], least=SMALLEST["length"])
]
Coordinate = Annotated[float, Dimension("length", "m", most=LARGEST["length"])]
Area = Annotated[float, _above_zero("area", "m2")]
Volume = Annotated[float, _above_zero("volume", "m3")]
Permeability = Annotated[float, _above_zero("permeability", "m2")]
Pressure = Annotated[float, Dimension("pressure", "Pa", most=LARGEST["pressure"])]
Vacuum = Annotated[float, Dimension("pressure", "Pa", ge=0.0, most=LARGEST["pressure"])]
Flow = Annotated[float, Dimension("flow", "m3/s", ge=0.0, most=LARGEST["flow"])]
Temperature = Annotated[float, _above_zero("temperature", "K")]
Ratio = Annotated[float, _above_zero("ratio", "-")]
LossCoefficient = Annotated[float, Dimension("ratio", "-", ge=0.0, most=LARGEST["ratio"])]
Fraction = Annotated[float, Dimension("ratio", "-", ge=0.0, le=1.0, most=LARGEST["ratio"])]
Velocity = Annotated[float, Dimension("velocity", "m/s", ge=0.0, most=LARGEST["velocity"])]
Power = Annotated[float, Dimension("power", "W", ge=0.0, most=LARGEST["power"])]
Density = Annotated[float, _above_zero("density", "kg/m3")]
Angle = Annotated[float, Dimension("angle", "rad", ge=0.0, most=LARGEST["angle"])]
Time = Annotated[float, Dimension("time", "s", ge=0.0, most=LARGEST["time"])]


@functools.cache
def _hints(noun_class: type) -> tuple[tuple[str, Any], ...]:
    hints = typing.get_type_hints(noun_class, include_extras=True)
    return tuple((f.name, hints[f.name]) for f in fields(noun_class))


def _checked(value: Any, hint: Any, field: str) -> Any:
    """Apply the markers inside a type hint to a value."""
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin is Annotated:
        markers = [m for m in inner[1:] if isinstance(m, Dimension)]
        return markers[0].check(value, field) if markers else value
    if origin in (typing.Union, types.UnionType):
        plain = tuple(arm for arm in inner if isinstance(arm, type))
        other = [arm for arm in inner if arm not in plain]
        return _checked(value, other[0], field) if other and not isinstance(value, plain) else value
    if origin is tuple:
        if not isinstance(value, (tuple, list)):
            raise InputError(f"{value!r}: a tuple of values is needed here", field=field)
        each = inner[:1] * len(value) if inner[1:] == (...,) else inner
        if len(each) != len(value):
            raise InputError(f"{value!r}: {len(each)} values are needed here", field=field)
        pairs = enumerate(zip(value, each, strict=True))
        return tuple(_checked(v, h, f"{field}[{i}]") for i, (v, h) in pairs)
    return value


def check_fields(noun: Any) -> None:
    """Check a dataclass's fields against their markers; for ``__post_init__``.

    Whole numbers become floats, so that equal nouns are equal and hash alike.

    Parameters
    ----------
    noun : dataclass instance
        Its annotated fields hold SI numbers, also inside ``| None`` and tuples.

    Raises
    ------
    InputError
        The first value that cannot be used, with the attribute's name as field.
    """
    for name, hint in _hints(noun.__class__):
        value = getattr(noun, name)
        checked = _checked(value, hint, name)
        if checked is not value:
            object.__setattr__(noun, name, checked)
