"""What is there: slab, walls, soil, gaps, joints, and what each does to the flow."""

from soilflow.site.conductors import Channel, DrainTile, Trench
from soilflow.site.footings import FootingOpening, InteriorFooting
from soilflow.site.ground import Ground, SettledGap, SoilLayer
from soilflow.site.leaks import Crack, FloorWallJoint
from soilflow.site.moisture import MoistZone, Pores
from soilflow.site.no_dig import NoDig
from soilflow.site.openings import BareSoil, Opening
from soilflow.site.patches import Fill, Patch
from soilflow.site.rooms import Room
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.soil_fields import RandomSoil, SoilField
from soilflow.site.wall_bodies import WallBody
from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand
from soilflow.site.yards import Yard, YardSoil

__all__ = [
    "BareSoil",
    "Channel",
    "Crack",
    "DrainTile",
    "ExteriorBackfill",
    "Fill",
    "FloorWallJoint",
    "FootingOpening",
    "FoundationWalls",
    "Ground",
    "InteriorFooting",
    "MoistZone",
    "NoDig",
    "Opening",
    "Patch",
    "PerimeterBand",
    "Pores",
    "RandomSoil",
    "Room",
    "SettledGap",
    "Site",
    "Slab",
    "SoilField",
    "SoilLayer",
    "Trench",
    "WallBody",
    "Yard",
    "YardSoil",
]
