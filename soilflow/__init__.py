"""Soil-gas flow under slabs: where the suction pits go, and how far to trust it.

The names below are what most scripts need; each is loaded on first use, so that importing
soilflow costs next to nothing. Everything else is imported from the module it lives in.
"""

from __future__ import annotations

import importlib
import importlib.metadata
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from soilflow.case import Case, TestHole
    from soilflow.conditions import Condition
    from soilflow.errors import InputError, SoilflowError, SoilflowWarning
    from soilflow.files.case_toml import read_case
    from soilflow.files.write_toml import write_case
    from soilflow.layout.fan import Fan, fan_of_class
    from soilflow.layout.fan_sets import FanSet
    from soilflow.layout.layout import Layout, SuctionPoint
    from soilflow.layout.pipes import Pipe, PipeTree
    from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit, OnConductor
    from soilflow.results.result import Result
    from soilflow.run import run_layout
    from soilflow.site.ground import Ground, SettledGap, SoilLayer
    from soilflow.site.leaks import FloorWallJoint
    from soilflow.site.moisture import MoistZone
    from soilflow.site.site import Site
    from soilflow.site.slab import Slab
    from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand

__all__ = [
    "BoxPit",
    "Case",
    "Condition",
    "CylinderPit",
    "ExteriorBackfill",
    "Fan",
    "FanSet",
    "FloorWallJoint",
    "FoundationWalls",
    "Ground",
    "HemisphericalPit",
    "InputError",
    "Layout",
    "MoistZone",
    "OnConductor",
    "PerimeterBand",
    "Pipe",
    "PipeTree",
    "Result",
    "SettledGap",
    "Site",
    "Slab",
    "SoilLayer",
    "SoilflowError",
    "SoilflowWarning",
    "SuctionPoint",
    "TestHole",
    "__version__",
    "fan_of_class",
    "read_case",
    "run_layout",
    "write_case",
]

_HOMES = {
    "soilflow.case": ("Case", "TestHole"),
    "soilflow.conditions": ("Condition",),
    "soilflow.errors": ("InputError", "SoilflowError", "SoilflowWarning"),
    "soilflow.files.case_toml": ("read_case",),
    "soilflow.files.write_toml": ("write_case",),
    "soilflow.layout.fan": ("Fan", "fan_of_class"),
    "soilflow.layout.fan_sets": ("FanSet",),
    "soilflow.layout.layout": ("Layout", "SuctionPoint"),
    "soilflow.layout.pipes": ("Pipe", "PipeTree"),
    "soilflow.layout.pits": ("BoxPit", "CylinderPit", "HemisphericalPit", "OnConductor"),
    "soilflow.results.result": ("Result",),
    "soilflow.run": ("run_layout",),
    "soilflow.site.ground": ("Ground", "SettledGap", "SoilLayer"),
    "soilflow.site.leaks": ("FloorWallJoint",),
    "soilflow.site.moisture": ("MoistZone",),
    "soilflow.site.site": ("Site",),
    "soilflow.site.slab": ("Slab",),
    "soilflow.site.walls": ("ExteriorBackfill", "FoundationWalls", "PerimeterBand"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

try:
    __version__ = importlib.metadata.version("soilflow")
except importlib.metadata.PackageNotFoundError:
    __version__ = "not installed"  # run from a source tree


if not TYPE_CHECKING:  # a type checker should still see misspelt names

    def __getattr__(name: str) -> Any:
        if name not in _HOME_OF:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        found = getattr(importlib.import_module(_HOME_OF[name]), name)
        globals()[name] = found  # the next use finds it without coming here
        return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
