"""Which inputs lie farthest apart: what to look at when the pressures cannot be solved."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from soilflow.errors import BalanceError, ConvergenceError
from soilflow.flow.soil_map import NO_AIR_PATH
from soilflow.site.ground import SoilLayer
from soilflow.site.patches import Fill, Patch
from soilflow.site.site import Site
from soilflow.soil import cubic_law_transmissivity

__all__ = ["Passage", "farthest_apart", "naming_inputs", "passages"]

# A random field is taken this many of its standard deviations to either side (chosen by the
# project); hardly any cell lies beyond.
_DEVIATIONS = 3.0


class Passage(NamedTuple):
    """What one input lets through.

    Parameters
    ----------
    permeability : float
        Of the soil, or of soil that would pass as much as the gap or slot it stands for. [m2]
    what : str
        Field and value as a user would look for them.
    """

    permeability: float
    what: str


def passages(site: Site) -> tuple[Passage, ...]:
    """Every input that sets how easily air passes.

    Parameters
    ----------
    site : Site
        What is there.

    Returns
    -------
    passages : tuple of Passage
        Those that pass anything, so no soil below `NO_AIR_PATH`; a slot as soil of w^2 / 12; band,
        backfill, moist zone and field as their multiple of the loosest and of the tightest soil.
    """
    soils = [soil for soil in _soils(site) if soil.permeability >= NO_AIR_PATH]
    found = [*soils, Passage(site.slab.permeability, f"slab ({site.slab.permeability:.3g} m2)")]
    for group in ("gaps", "joints", "cracks"):
        for i, noun in enumerate(getattr(site, group)):
            width = noun.aperture
            if width > 0.0 and not getattr(noun, "sealed", False):
                like = float(cubic_law_transmissivity(width)) / width
                words = f"{_called(group, i, noun)} ({1e3 * width:.3g} mm, like {like:.3g} m2)"
                found.append(Passage(like, words))
    for what, factor in _multipliers(site):
        for end in {max(soils), min(soils)} if soils else ():
            if factor * end.permeability >= NO_AIR_PATH:
                words = f"{what}, {factor:.3g} times {end.what}"
                found.append(Passage(factor * end.permeability, words))
    return tuple(found)


def _called(group: str, i: int, noun: object) -> str:
    name = getattr(noun, "name", "")
    return f'{group}[{i}] "{name}"' if name else f"{group}[{i}]"


def _soils(site: Site) -> Iterator[Passage]:
    nouns: list[tuple[str, SoilLayer | Patch | Fill]]
    nouns = [(_called("ground.layers", i, n), n) for i, n in enumerate(site.ground.layers)]
    nouns += [(_called("patches", i, n), n) for i, n in enumerate(site.patches)]
    nouns += [("fill", site.fill)] if site.fill is not None else []
    for what, noun in nouns:
        for value in {noun.permeability, noun.vertical or noun.permeability}:
            yield Passage(value, f"{what} ({value:.3g} m2)")


def _multipliers(site: Site) -> Iterator[tuple[str, float]]:
    for i, band in enumerate(site.bands):
        yield f"bands[{i}]", band.looser_by
    if site.backfill is not None:
        yield "backfill", site.backfill.looser_by
    for i, zone in enumerate(site.moist_zones):
        yield _called("moist_zones", i, zone), zone.factor
    for i, field in enumerate(site.soil_fields):
        every = [v for row in field.multipliers for column in row for v in column if v > 0.0]
        for value in {max(every, default=0.0), min(every, default=0.0)}:
            yield _called("soil_fields", i, field), value
    if site.random_soil is not None:
        for side in (-_DEVIATIONS, _DEVIATIONS):
            yield "random_soil", math.exp(side * site.random_soil.sigma)


def farthest_apart(site: Site) -> str:
    """The loosest and the tightest input, and what is known to work.

    Parameters
    ----------
    site : Site
        What is there.

    Returns
    -------
    sentence : str
        To go behind what went wrong.
    """
    every = passages(site)
    loosest, tightest = max(every), min(every)
    apart = math.log10(loosest.permeability / tightest.permeability)
    return (
        f"the loosest there is {loosest.what}, the tightest {tightest.what}, {apart:.0f} decades "
        "apart: check their units and powers of ten; soil from 1e-17 to 1e-6 m2 solves together "
        "with a slab down to 1e-20 m2, gaps up to 10 mm and joints up to 3 mm"
    )


@contextmanager
def naming_inputs(site: Site) -> Iterator[None]:
    """Let a solve that fails say which inputs lie farthest apart.

    Parameters
    ----------
    site : Site
        What is there.

    Yields
    ------
    nothing : None
        Whatever is solved inside.

    Raises
    ------
    ConvergenceError, BalanceError
        As raised inside, with `farthest_apart` behind what they say.
    """
    try:
        yield
    except (ConvergenceError, BalanceError) as err:
        err.args = (f"{err}; {farthest_apart(site)}",)
        raise
