"""How much soilflow takes in: bounds on what a case, a result file or a script may ask for.

A case or a result file may come from anybody. Each of these is asked before the memory or the
time is spent. All are chosen by the project: far above any house, far below what would trouble
a machine, and none of them measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = [
    "CASE_BYTES",
    "CELLS",
    "CORNERS",
    "DEPTH",
    "FILE_NAME_BYTES",
    "ITEMS",
    "LARGEST",
    "LINES",
    "PLACES",
    "RESULT_BYTES",
    "RESULT_DEPTH",
    "RESULT_ITEMS",
    "SMALLEST",
    "SOURCE",
    "TABLES",
    "TEXT_CHARACTERS",
    "VALUES",
]

SOURCE = "chosen by the project"

# The text of a case
CASE_BYTES = 2_000_000  # a thousand times a short case
TEXT_CHARACTERS = 200  # of a name, a word or a quantity; they must fit on a plan
DEPTH = 16  # of tables and lists in each other
ITEMS = 10_000  # of one list
TABLES = 300  # of one kind: layouts, pits of a layout, patches, test holes, variants
CORNERS = 200  # of one outline or line in plan
VALUES = 100_000  # of one field of soil, over x, y and z

# What is computed
CELLS = 8_000_000  # of a grid; about thirty times that of the first shipped case
LINES = 1_000  # a grid must have along one axis
PLACES = 100_000  # at which another place for a pit is looked for

# A result file
RESULT_BYTES = 4_000_000_000  # of all arrays, unpacked
RESULT_ITEMS = 100_000  # groups, arrays and links
RESULT_DEPTH = 4  # of groups in each other
FILE_NAME_BYTES = 120  # what layout, variant, grid and engine may add to a file's name

# Magnitude of a quantity by its dimension: beyond it no number makes sense for a house, and
# squares and products stay far from what a float can hold. [SI]
LARGEST: Mapping[str, float] = MappingProxyType(
    {
        "angle": 1e3,
        "area": 1e6,
        "density": 1e5,
        "flow": 1e3,
        "length": 500.0,
        "permeability": 1.0,
        "power": 1e6,
        "pressure": 1e6,
        "ratio": 1e12,
        "temperature": 1e3,
        "time": 1e10,
        "velocity": 1e3,
        "volume": 1e5,
    }
)

# What is above zero is at least this: less than anybody measures, and still far from where
# one over it has no float. [SI]
SMALLEST: Mapping[str, float] = MappingProxyType(
    {
        "area": 1e-12,
        "density": 1e-6,
        "length": 1e-20,
        "permeability": 1e-30,
        "pressure": 1.0,
        "ratio": 1e-30,
        "temperature": 1.0,
        "volume": 1e-12,
    }
)
