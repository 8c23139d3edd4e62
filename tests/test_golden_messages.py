"""Twenty bad files and what is said about each: read aloud, they should make sense.

These are our own words, kept so that a change of wording is seen and read again.
"""

import pytest
from tiny_house import TEXT

from soilflow.errors import CaseError, SoilflowError
from soilflow.files import parse_case, read_case
from soilflow.files.result_hdf5 import write_result
from soilflow.output.printout import print_result
from soilflow.run import run_layout

# what is wrong, what is written in the good case, what stands there instead, what is said
GOLDEN = [
    pytest.param(
        'thickness = "4 in"',
        'thicknes = "4 in"',
        [
            'house.toml:7: slab.thicknes: unknown key; did you mean "thickness"?',
        ],
        id="unknown key",
    ),
    pytest.param(
        'thickness = "4 in"',
        'thickness = "4 lb"',
        [
            'house.toml:7: slab.thickness: 4 lb: "lb" is not a known unit, a length is needed; write "12 ft" or "4 ft 6 in" or "3.66 m"',
        ],
        id="unit of another kind",
    ),
    pytest.param(
        'thickness = "4 in"',
        "thickness = 4",
        [
            'house.toml:7: slab.thickness: 4: no unit; write "4 ft" or "4 in" or "1.22 m"',
        ],
        id="bare number",
    ),
    pytest.param(
        'size = "12 ft x 10 ft"',
        'corners = [["0 ft","0 ft"],["12 ft","0 ft"],["0 ft","10 ft"],["12 ft","10 ft"]]',
        [
            "house.toml:6: slab.corners: the edges cross or touch near (1.83, 1.52) m; list the corners in order around it",
        ],
        id="footprint that crosses itself",
    ),
    pytest.param(
        'permeability = "1e-11 m2"\n\n[[joints]]',
        'permeability = "0 m2"\n\n[[joints]]',
        [
            'house.toml:17: ground.layers[0].permeability: 0 m2: must be above 0 m2, such as "1e-12 m2" or "10 darcy"',
        ],
        id="zero permeability",
    ),
    pytest.param(
        'permeability = "1e-11 m2"\n\n[[joints]]',
        'permeability = "-1e-12 m2"\n\n[[joints]]',
        [
            'house.toml:17: ground.layers[0].permeability: -1e-12 m2: must be above 0 m2, such as "1e-12 m2" or "10 darcy"',
        ],
        id="negative permeability",
    ),
    pytest.param(
        'outdoor_pressure = "1 Pa"',
        'outdoor_pressure = "nan Pa"',
        [
            'house.toml:52: conditions.today.outdoor_pressure: nan Pa: no number in front; write "1.5 in. w.c." or "370 Pa"',
        ],
        id="NaN as text",
    ),
    pytest.param(
        'outdoor_pressure = "1 Pa"',
        "outdoor_pressure = nan",
        [
            "house.toml:52: conditions.today.outdoor_pressure: nan: a finite number in Pa is needed here",
        ],
        id="NaN as a number",
    ),
    pytest.param(
        "[slab]",
        '[fan]\nname = "mine"\nflows = ["0 cfm", "30 cfm", "60 cfm"]\nstatic_pressures = ["3 in. w.c.", "4 in. w.c.", "0 in. w.c."]\n[slab]',
        [
            "house.toml:7: fan.static_pressures[1]: static pressure rises between (0 m3/s, 747.267 Pa) and (0.0141584 m3/s, 996.356 Pa); on a rising stretch a fan may have two operating points: give the falling branch only",
        ],
        id="fan curve that rises",
    ),
    pytest.param(
        'footing_depth = "0 in"',
        'footing_depth = "-6 in"',
        [
            'house.toml:12: walls.footing_depth: -6 in: must be at least 0 m, such as "12 ft" or "4 ft 6 in" or "3.66 m"',
        ],
        id="footing above the slab",
    ),
    pytest.param(
        'footing_depth = "0 in"',
        'footing_depth = "8 ft"',
        [
            "house.toml:15: ground.bottom: the footing at 2.4384 m reaches the tight bottom at 1.8288 m; the bottom must lie deeper",
            "house.toml:64: variant.tight_soil.ground.bottom: the footing at 2.4384 m reaches the tight bottom at 1.8288 m; the bottom must lie deeper",
            "house.toml:66: variant.gravel.ground.bottom: the footing at 2.4384 m reaches the tight bottom at 1.8288 m; the bottom must lie deeper",
        ],
        id="footing below the bottom, in the case and two variants",
    ),
    pytest.param(
        "[[joints]]",
        '[[gaps]]\nname = "g"\ncorners = [["20 ft","0 ft"],["24 ft","0 ft"],["24 ft","4 ft"],["20 ft","4 ft"]]\naperture = "1 mm"\n[[joints]]',
        [
            'house.toml:21: gaps[0].corners: the gap "g" does not lie under the floor',
        ],
        id="gap that is not under the floor",
    ),
    pytest.param(
        "[[joints]]",
        '[[gaps]]\nname = "g"\ncorners = [["8 ft","0 ft"],["13 ft","0 ft"],["13 ft","4 ft"],["8 ft","4 ft"]]\naperture = "1 mm"\n[[joints]]',
        [
            'house.toml:21: gaps[0].corners: the gap "g" reaches 0.305 m past the inner face of the walls; under a wall the slab does not settle: end it at the face',
        ],
        id="gap under a wall",
    ),
    pytest.param(
        "[[joints]]",
        '[[moist_zones]]\nname = "wet"\nsize = "4 ft x 4 ft"\nat = ["200 ft", "0 ft"]\nmultiplier = 0.1\nbottom = "3 ft"\n[[joints]]',
        [
            'house.toml:21: moist_zones[0].size: the moist zone "wet" lies more than 30 m from the house',
        ],
        id="moist zone far outside",
    ),
    pytest.param(
        "[[joints]]",
        '[[gaps]]\nname = "g"\naperture = "1 mm"\n[[gaps]]\nname = "g"\naperture = "2 mm"\n[[joints]]',
        [
            'house.toml:23: gaps[1].name: "g" is used twice; give each its own name',
        ],
        id="two features with one name",
    ),
    pytest.param(
        'permeability = "1e-11 m2"\n\n[[joints]]',
        'soil = "packed silty caly, damp"\n\n[[joints]]',
        [
            'house.toml:17: ground.layers[0].soil: packed silty caly, damp: not a known word; did you mean "packed silty clay, damp" or "packed silt" or "sandy silt, crumbly"',
        ],
        id="misspelt word",
    ),
    pytest.param(
        'permeability = "1e-11 m2"\n\n[[joints]]',
        'permeability = "1e-11 to 1e-12 m2"\n\n[[joints]]',
        [
            "house.toml:17: ground.layers[0].permeability: 1e-11 to 1e-12 m2: runs backwards; write the lower end first",
        ],
        id="range that runs backwards",
    ),
    pytest.param(
        'x = "3 ft"',
        'x = "30 ft"',
        [
            'house.toml:30: layouts[0].points[0]: point "A" at (9.144, 0.914) m is not under the slab; x runs east and y north from the south-west corner',
        ],
        id="pit outside the slab",
    ),
    pytest.param(
        'name = "A"',
        'nam = "A"',
        [
            'house.toml:31: layouts[0].points[0].nam: unknown key; did you mean "name"?',
        ],
        id="misspelt key in a list",
    ),
    pytest.param(
        'outdoor_pressure = "1 Pa"',
        'outdoor_pressure = "1 Pa"\nbelow_neutral_level = "8 ft"',
        [
            "house.toml:52: conditions.today.outdoor_pressure: give either outdoor_pressure, or below_neutral_level with the two temperatures",
        ],
        id="pressure said in two ways",
    ),
    pytest.param(
        "[walls]",
        "[walls",
        [
            "house.toml:10: not TOML at column 7: Expected ']' at the end of a table declaration; texts need quotation marks, thickness = \"4 in\"",
        ],
        id="not TOML",
    ),
    pytest.param(
        'thickness = "4 in"',
        'thickness = "4,5 in"',
        [
            'house.toml:7: slab.thickness: 4,5 in: one number is needed here, with a point for decimals; write "12 ft" or "4 ft 6 in" or "3.66 m"',
        ],
        id="comma for a decimal point",
    ),
    pytest.param(
        'size = "4 in"\nbranch',
        'size = "5 in"\nbranch',
        [
            'house.toml:23: pipe.size: "5 in": not a listed size; there are "2 in", "3 in", "4 in", "6 in"; or write bore',
        ],
        id="size no pipe has",
    ),
    pytest.param(
        'aperture = "0.3 mm"',
        'aperture = "0.3 mm"\nwalls = ["nroth"]',
        [
            'house.toml:21: joints[0].walls: "nroth" is not a wall of this house; it has south, east, north, west',
        ],
        id="wall the house does not have",
    ),
    pytest.param(
        'joints = [{aperture = "0.05 mm"}]',
        'none = ["slab"]',
        [
            'house.toml:62: variant.tight_joint.none[0]: "slab": cannot be left out; there are "fill", "bands", "backfill", "yard_soil", "patches", "moist_zones", "soil_fields", "random_soil", "footings", "gaps", "joints", "cracks", "openings", "bare_soil", "wall_bodies", "drain_tiles", "trenches", "channels", "rooms", "yards", "no_dig"',
        ],
        id="table that cannot be left out",
    ),
]


@pytest.mark.parametrize(("good", "bad", "said"), GOLDEN)
def test_a_bad_file_gets_one_clear_line_per_mistake(good, bad, said):
    assert good in TEXT
    text = TEXT.replace(good, bad, 1)
    if bad.startswith("[fan]"):
        text = text.replace('fan = "high-suction"\n', "", 1)
    with pytest.raises(CaseError) as caught:
        parse_case(text, file="house.toml")
    assert [str(mistake) for mistake in caught.value.mistakes] == said


SHORT_CURVE = """
[fan]
name = "f"
flows = ["0 cfm", "0.2 cfm"]
static_pressures = ["2 in. w.c.", "1.9 in. w.c."]
[slab]
"""
# what only solving finds out: what to write in the good case, and the whole of what is said
WHILE_SOLVING = [
    pytest.param(
        {'fan = "high-suction"\n': "", "[slab]\n": SHORT_CURVE},
        'the fan "f" is asked for 1.12 cfm (0.0005277 m3/s) and its curve runs from 0 to 0.2 cfm (9.439e-05 m3/s); give more points of it, or take another fan',
        id="flow off the curve",
    ),
]


@pytest.mark.parametrize(("changes", "said"), WHILE_SOLVING)
def test_what_cannot_be_solved_gets_one_clear_line(changes, said):
    text = TEXT
    for good, bad in changes.items():
        assert good in text
        text = text.replace(good, bad, 1)
    with pytest.raises(SoilflowError) as caught:
        run_layout(parse_case(text, file="house.toml"))
    assert str(caught.value) == said


def test_a_result_given_as_a_case(tmp_path):
    path = tmp_path / "house.h5"
    case = parse_case(TEXT)
    write_result(run_layout(case, baseline=False), case, TEXT, path)
    with pytest.raises(CaseError) as caught:
        read_case(path)
    assert str(caught.value) == (
        f"{path}: an HDF5 file, such as a result; a case is a text file in TOML"
    )


def test_nothing_that_lets_air_in_is_an_answer_that_says_so():
    """Soil, slab and joint all tight: full suction in the pit, and nothing beyond it."""
    text = TEXT.replace('"1e-16 m2"', '"1e-18 m2"').replace('"1e-11 m2"', '"1e-18 m2"', 1)
    case = parse_case(text.replace('aperture = "0.3 mm"', 'aperture = "0 mm"', 1))
    said = " ".join(print_result(run_layout(case), case).split())
    assert "Under 98 % of it there is no air path: no suction gets there, whatever the fan." in said
    assert said.startswith("READ THIS FIRST: the suction points draw under 0.01 cfm")


def test_there_are_twenty():
    assert len(GOLDEN) >= 20
