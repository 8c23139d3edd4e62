"""What is there: slab, walls, soil, gaps, joints, and what each does to the flow."""

from soilflow.site.ground import Ground, MoistZone, SettledGap, SoilLayer
from soilflow.site.leaks import FloorWallJoint
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand
from soilflow.site.yards import Yard

__all__ = [
    "ExteriorBackfill",
    "FloorWallJoint",
    "FoundationWalls",
    "Ground",
    "MoistZone",
    "PerimeterBand",
    "SettledGap",
    "Site",
    "Slab",
    "SoilLayer",
    "Yard",
]
