"""The sentences of a new case file, for whoever corrects it.

Lines that begin with ``#`` and no space are TOML that may be switched on by taking the mark away.
"""

from __future__ import annotations

__all__ = ["ADDED", "BEGINNING", "GAP", "LAYOUTS", "NO_GAP", "THERE", "WEATHER"]

BEGINNING = """\
# A house in a few words. The file runs as it is; correct it wherever you know better.
#
#   - A quantity is text with its unit: "18 in", "4 ft 6 in", "1/16 in", "1.5 in. w.c.", "60 cfm".
#   - A word about soil, concrete, joint or gap stands for a range, up to a hundred to one. A run
#     takes one value inside it and says so. Put a number there once you have measured one.
#   - x runs east, y runs north, both from the inner south-west corner. Depths go down from the
#     underside of the slab.
#   - "source" says where a number comes from: "guess" is an answer, a reading is a better one.
#   - Lines that begin with # and no space are switched off: take the # away to use them.

# What is printed at the head of every answer.
title = {title}

question = "Do the pits do more along the walls, or spread over the floor?"

# Temperature of the air in the soil under the house; a few degrees either way do not matter.
soil_temperature = "50 F"

# "coarse" answers in seconds and is rough, "normal" is for decisions, "fine" is slow.
resolution = "normal"

# The fan on all layouts, as a class: "general", "high-suction" or "very-high-suction". For the
# curve of one fan write a table [fan] with name, flows and static_pressures off its data sheet.
fan = {fan}

# ---------------------------------------------------------------------------------------------
# What is there
"""

THERE = """
[slab]
# Between the inner wall faces: east-west by north-south. Not a rectangle? Then walk around it:
# turns = ["28 ft east", "24 ft north", ...] in place of size.
size = {size}
# A guess until you drill.
thickness = "4 in"
# The concrete between its joints: "sound", or "old, crazed, patched".
permeability = {slab}

[walls]
# A guess; little hangs on it.
thickness = "8 in"
# From the underside of the slab down to the bottom of the footing. It steers how much air comes
# in from the yard, and how deep you may dig beside the wall: measure it in the first pit at a
# wall, and dig there as if it were "0 in" until then.
footing_depth = {footing_depth}
# How far the ground outside stands above the underside of the slab; a cellar has feet of it.
grade = {grade}
source = {footing_source}

[ground]
# Where the soil gets too tight to matter: hardpan, rock or water.
bottom = "33 ft"
source = "guess"

# The soil under the floor, as it feels in the hand. The most important line of the file.
[[ground.layers]]
soil = {soil}

# Soil along the footings was dug up to build them and seldom packed again. That it is looser is
# common practice; how much is a guess. Dig beside a wall and in the middle to find out.
[[bands]]
width = "18 in"
looser_by = "3 to 30"
source = "guess; that it is looser is common practice, no source"

# The joint between floor and wall, by what goes into it: "closed" (no light, no card), "card",
# "nickel"; or aperture = "1/16 in" in its place. sealed = true once it is caulked.
[[joints]]
joint = {joint}
{gaps}
# The soil outside the walls, when it is looser than under the floor.
#[backfill]
#width = "4 ft"
#looser_by = "3 to 30"
#source = "guess"

# A corner that stays wet: hardly any air gets through. 0 is full of water.
#[[moist_zones]]
#name = "wet corner"
#size = "4 ft x 4 ft"
#at = ["0 ft", "0 ft"]
#multiplier = 0.1
#bottom = "3 ft"
#source = "guess"
"""

GAP = """
# Air between slab and soil where the fill has settled: "sounds solid", "sounds hollow" or
# "card slides in"; or aperture = "1/8 in" in place of gap. Nothing else decides as much. It is
# taken to lie under the middle of the floor; along_walls = "18 in" in place of from_walls puts
# it along the walls.
[[gaps]]
name = "settled"
gap = {gap}
from_walls = {from_walls}
"""

NO_GAP = """
# No gap between slab and soil was stated. If a hammer sounds hollow in the middle of the floor,
# switch this on: nothing else decides as much.
#[[gaps]]
#name = "settled"
#gap = "sounds hollow"
#from_walls = "2 ft"
"""

ADDED = """
# ---------------------------------------------------------------------------------------------
# What is added

# Every pit gets a branch of this length with a riser; all branches meet in one run to the fan
# and the outlet. Lengths in feet of pipe, fittings as many times as they occur.
[pipe]
size = "4 in"
branch = "15 ft"
branch_fittings = ["sharp 90 bend"]
run = "40 ft"
run_fittings = ["long-sweep elbow", "long-sweep elbow"]
# From the slab up to the outlet: warm air in the pipe helps the fan a little.
discharge_height = "20 ft"
source = "guess, an ordinary house"
"""

LAYOUTS = """
# The pits: the air dug out of each ("2 buckets", "10 gal"), with its centre at x, y. Move them
# to where you can drill, and name them as you will mark them on the floor. The first layout is
# the one that is run when none is named.
[[layouts]]
name = {walls}
points = [
{at_walls}]

[[layouts]]
name = {spread}
points = [
{over_floor}]
"""

WEATHER = """
# ---------------------------------------------------------------------------------------------
# What it must stand: how much the outdoors exceeds the room at the floor. 1 Pa is 0.004 in. w.c.
# Measured none? In place of outdoor_pressure write below_neutral_level = "8 ft": how far the
# floor lies below the height where indoors and outdoors balance, about half the house.

[conditions.today]
outdoor_pressure = "1 Pa"
outdoor_temperature = "50 F"
room_temperature = "70 F"
source = "guess, a mild day"

# The day that counts: put your coldest night here, with fans and dryer running.
[conditions.design_winter]
outdoor_pressure = "4 Pa"
outdoor_temperature = "14 F"
room_temperature = "70 F"
source = "guess, a cold night in a house of two storeys"

# Small holes to read the vacuum under the slab: the corners, and the middle or what is near it
# and clear of the pits.

{holes}
# ---------------------------------------------------------------------------------------------
# The same house with something else under the slab: run it with --variant no_loose_band.

# One soil from wall to wall.
[variant.no_loose_band]
none = ["bands"]

# The joint has been opened, or was never closed.
[variant.open_joint]
joints = [{{joint = "nickel"}}]
"""
