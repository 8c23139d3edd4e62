"""Tables of words, classes and sizes, every entry with its source.

The TOML files keep the numbers in the units their sources print; the nouns here hold SI.
"""

from __future__ import annotations

import difflib
import functools
import importlib.resources
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeVar

from soilflow.errors import InputError
from soilflow.units import parse_quantity

__all__ = [
    "FanClass",
    "Fitting",
    "PipeSize",
    "SeasonWord",
    "SoilClass",
    "WordRange",
    "fan_classes",
    "fittings",
    "lookup_word",
    "pipes",
    "season_words",
    "soil_classes",
    "word_ranges",
]

Entry = TypeVar("Entry")


@dataclass(frozen=True, kw_only=True)
class SeasonWord:
    """What a season does to the ground.

    Parameters
    ----------
    word : str
        How it is asked for.
    looser_by : float
        Air permeability relative to what the case says; below 1 is tighter. [-]
    depth : float
        How far below grade, or for a corner below the slab underside. [m]
    side : float
        Side of the wet square in a corner; 0 for a yard. [m]
    source : str
        Where the numbers come from.
    """

    word: str
    looser_by: float
    depth: float
    side: float
    source: str


@dataclass(frozen=True, kw_only=True)
class WordRange:
    """What a word said on site stands for.

    Parameters
    ----------
    word : str
        The word.
    low : float
        Lower end. [SI]
    high : float
        Upper end; infinite when only the lower end is known. [SI]
    unit : str
        Unit of both ends.
    mark : str
        Where the range comes from.
    """

    word: str
    low: float
    high: float
    unit: str
    mark: str


@dataclass(frozen=True, kw_only=True)
class SoilClass:
    """Mean hydraulic properties of a texture class, at core scale.

    Parameters
    ----------
    word : str
        Name of the class.
    residual_water : float
        Water that suction does not remove, over total volume. [-]
    saturated_water : float
        Water at saturation, over total volume. [-]
    alpha : float
        van Genuchten's inverse air-entry height. [1/m]
    n : float
        van Genuchten's shape of the pore-size distribution. [-]
    conductivity : float
        Saturated hydraulic conductivity. [m/s]
    source : str
        Where the numbers come from.
    """

    word: str
    residual_water: float
    saturated_water: float
    alpha: float
    n: float
    conductivity: float
    source: str


@dataclass(frozen=True, kw_only=True)
class FanClass:
    """A kind of fan, with a straight curve.

    Parameters
    ----------
    word : str
        Name of the class.
    shutoff_pressure : float
        Static pressure at no flow. [Pa]
    free_air_flow : float
        Flow at no static pressure. [m3/s]
    source : str
        Where the numbers come from.
    """

    word: str
    shutoff_pressure: float
    free_air_flow: float
    source: str


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """A pipe fitting.

    Parameters
    ----------
    word : str
        Name of the fitting.
    loss_coefficient : float
        Pressure loss over velocity head. [-]
    source : str
        Where the number comes from.
    """

    word: str
    loss_coefficient: float
    source: str


@dataclass(frozen=True, kw_only=True)
class PipeSize:
    """A nominal pipe size.

    Parameters
    ----------
    word : str
        The nominal size.
    bore : float
        Inner diameter. [m]
    roughness : float
        Height of the wall roughness. [m]
    source : str
        Where the numbers come from.
    """

    word: str
    bore: float
    roughness: float
    source: str


_SI = {"permeability": "m2", "length": "m", "ratio": "-"}


def _entries(name: str) -> list[dict[str, Any]]:
    """Read a table; what stands above its entries holds for each that does not say otherwise."""
    text = (importlib.resources.files(__name__) / f"{name}.toml").read_text(encoding="utf-8")
    shared = tomllib.loads(text)
    return [{**shared, **entry} for entry in shared.pop("entry")]


def _by_word(nouns: list[Any]) -> Mapping[str, Any]:
    return MappingProxyType({noun.word: noun for noun in nouns})


@functools.cache
def word_ranges(name: str) -> Mapping[str, WordRange]:
    """Read one of the tables of site words.

    Parameters
    ----------
    name : str
        ``soil_words``, ``band_words``, ``joint_words``, ``gap_words``, ``slab_words`` or
        ``wall_words``.

    Returns
    -------
    mapping of str to WordRange
        The ranges by word, in the order of the file.

    Examples
    --------
    >>> word_ranges("joint_words")["card"].mark
    'guess'
    """
    return _by_word(
        [
            WordRange(
                word=e["word"],
                low=parse_quantity(e["low"], e["dimension"]),
                high=parse_quantity(e["high"], e["dimension"]) if "high" in e else math.inf,
                unit=_SI[e["dimension"]],
                mark=e["source"],
            )
            for e in _entries(name)
        ]
    )


@functools.cache
def season_words() -> Mapping[str, SeasonWord]:
    """Read what seasons do to the ground.

    Returns
    -------
    mapping of str to SeasonWord
        By word.

    Examples
    --------
    >>> list(season_words())
    ['frozen yard', 'dry yard', 'soaked yard', 'wet corner']
    """
    return _by_word(
        [
            SeasonWord(
                word=e["word"],
                looser_by=e["looser_by"],
                depth=parse_quantity(e["depth"], "length"),
                side=parse_quantity(e["side"], "length") if "side" in e else 0.0,
                source=e["source"],
            )
            for e in _entries("season_words")
        ]
    )


@functools.cache
def soil_classes() -> Mapping[str, SoilClass]:
    """Read the soil texture classes.

    Returns
    -------
    mapping of str to SoilClass
        The classes by name.

    Examples
    --------
    >>> soil_classes()["sandy loam"].n
    1.89
    """
    return _by_word(
        [
            SoilClass(
                word=e["word"],
                residual_water=e["residual_water"],
                saturated_water=e["saturated_water"],
                alpha=e["alpha_per_cm"] * 100.0,
                n=e["n"],
                conductivity=e["conductivity_cm_per_day"] / 100.0 / 86400.0,
                source=e["source"],
            )
            for e in _entries("soil_classes")
        ]
    )


@functools.cache
def fan_classes() -> Mapping[str, FanClass]:
    """Read the generic fan classes.

    Returns
    -------
    mapping of str to FanClass
        The classes by name.

    Examples
    --------
    >>> list(fan_classes())
    ['general', 'high-suction', 'very-high-suction']
    """
    return _by_word(
        [
            FanClass(
                word=e["word"],
                shutoff_pressure=parse_quantity(e["shutoff_pressure"], "pressure"),
                free_air_flow=parse_quantity(e["free_air_flow"], "flow"),
                source=e["source"],
            )
            for e in _entries("fan_classes")
        ]
    )


@functools.cache
def fittings() -> Mapping[str, Fitting]:
    """Read the pipe fittings.

    Returns
    -------
    mapping of str to Fitting
        The fittings by name.

    Examples
    --------
    >>> fittings()["sharp 90 bend"].loss_coefficient
    1.3
    """
    return _by_word([Fitting(**e) for e in _entries("fittings")])


@functools.cache
def pipes() -> Mapping[str, PipeSize]:
    """Read the pipe sizes.

    Returns
    -------
    mapping of str to PipeSize
        The sizes by nominal size.

    Examples
    --------
    >>> round(pipes()["4 in"].bore, 4)
    0.1023
    """
    return _by_word(
        [
            PipeSize(
                word=e["word"],
                bore=parse_quantity(e["bore"], "length"),
                roughness=parse_quantity(e["roughness"], "length"),
                source=e["source"],
            )
            for e in _entries("pipes")
        ]
    )


def _key(text: str) -> str:
    return " ".join(re.findall(r"[\w/'.]+", text.casefold()))


def lookup_word(table: Mapping[str, Entry], text: str) -> Entry:
    """Find an entry by its word, whatever the case, spacing, commas and hyphens.

    Parameters
    ----------
    table : mapping of str to entry
        One of the tables of this module.
    text : str
        What the user wrote.

    Returns
    -------
    entry
        The noun found.

    Raises
    ------
    InputError
        No such word; the message offers the nearest ones.

    Examples
    --------
    >>> lookup_word(word_ranges("soil_words"), "Packed  silty clay damp").word
    'packed silty clay, damp'
    """
    words = {_key(word): word for word in table}
    if _key(text) in words:
        return table[words[_key(text)]]
    near = difflib.get_close_matches(_key(text), words, n=3, cutoff=0.5)
    offer = " or ".join(f'"{words[key]}"' for key in near or words)
    raise InputError(f"{text}: not a known word; {'did you mean' if near else 'write'} {offer}")
