"""Bad case files: each mistake said once, with its line, its field, and what would work."""

from __future__ import annotations

import pytest

from soilflow.bounds import CASE_BYTES
from soilflow.errors import CaseError
from soilflow.files import parse_case, read_case

GOOD = """\
title = "small house"
fan = "high-suction"

[slab]
size = "20 ft x 15 ft"
thickness = "4 in"
permeability = "1e-16 m2"

[walls]
thickness = "8 in"
footing_depth = "18 in"

[[ground.layers]]
permeability = "1e-12 m2"

[[bands]]
width = "18 in"
looser_by = 10

[[gaps]]
name = "middle"
aperture = "1 mm"
from_walls = "30 in"

[[joints]]
joint = "card"

[[layouts]]
name = "one"

[[layouts.points]]
name = "A"
x = "10 ft"
y = "7 ft"
pit = "2 buckets"

[pipe]
size = "4 in"
branch = "10 ft"
run = "40 ft"
discharge_height = "20 ft"

[conditions.today]
outdoor_pressure = "1 Pa"

[[test_holes]]
name = "T1"
x = "3 ft"
y = "3 ft"

[variant.tight]
none = ["gaps"]
"""


def mistakes_in(text):
    with pytest.raises(CaseError) as caught:
        parse_case(text, file="house.toml")
    assert all(m.file == "house.toml" for m in caught.value.mistakes)
    return caught.value.mistakes


def edited(old, new):
    assert GOOD.count(old) == 1, f"{old!r} must be there once"
    return GOOD.replace(old, new)


def line_of(text, needle):
    assert text.count(needle) == 1, f"{needle!r} must be there once"
    return text[: text.index(needle)].count("\n") + 1


def test_the_good_case_is_good():
    assert parse_case(GOOD).title == "small house"


# what stands in the good text, what to write instead, then of the mistake:
# a text on its line, its field, and what it must say
ONE_MISTAKE = {
    "no unit": (
        '"4 in"\nperm',
        "4\nperm",
        "thickness = 4\n",
        "slab.thickness",
        ["4 ft", "no unit"],
    ),
    "unit of something else": (
        'thickness = "8 in"',
        'thickness = "8 cfm"',
        "8 cfm",
        "walls.thickness",
        ['"cfm" is a unit of flow', "a length is needed"],
    ),
    "misspelled unit": ('"10 ft"\ny', '"10 fet"\ny', "10 fet", "layouts[0].points[0].x", ["fet"]),
    "out of bounds": (
        'aperture = "1 mm"',
        'aperture = "-1 mm"',
        "-1 mm",
        "gaps[0].aperture",
        ["at least 0 m"],
    ),
    "nan": ("looser_by = 10", "looser_by = nan", "= nan", "bands[0].looser_by", ["finite"]),
    "infinity": ('x = "3 ft"', "x = inf", "= inf", "test_holes[0].x", ["finite"]),
    "infinity in text": ('"40 ft"', '"1e999 ft"', "1e999", "pipe.run", ["not a finite number"]),
    "unknown key": (
        "footing_depth",
        "footing_dept",
        "footing_dept ",
        "walls.footing_dept",
        ['unknown key; did you mean "footing_depth"?'],
    ),
    "unknown table": ("[pipe]", "[piping]", "[piping]", "piping", ['did you mean "pipe"?']),
    "unknown key like nothing": (
        'joint = "card"',
        'joint = "card"\nzzz = 1',
        "zzz",
        "joints[0].zzz",
        ["unknown key; known are aperture, joint"],
    ),
    "key below a table": (
        'name = "T1"',
        'name = "T1"\nsoil_temperature = "50 F"',
        "soil_temperature",
        "test_holes[0].soil_temperature",
        ["above the first [table]"],
    ),
    "missing field": ('thickness = "8 in"\n', "", "[walls]", "walls.thickness", ['"4 in"']),
    "missing place": (
        'y = "7 ft"\n',
        "",
        "[[layouts.points]]",
        "layouts[0].points[0].y",
        ["missing"],
    ),
    "missing pit": (
        'pit = "2 buckets"\n',
        "",
        "[[layouts.points]]",
        "layouts[0].points[0].pit",
        ["missing", '"2 buckets"'],
    ),
    "no outline": ('size = "20 ft x 15 ft"\n', "", "[slab]", "slab.corners", ["missing", "turns"]),
    "two outlines": (
        'size = "20 ft x 15 ft"',
        'size = "20 ft x 15 ft"\nturns = ["20 ft east"]',
        "turns",
        "slab.turns",
        ['"size" already says this'],
    ),
    "half a size": ('"20 ft x 15 ft"', '"20 ft"', '"20 ft"', "slab.size", ['"26 ft x 33 ft"']),
    "walls that do not close": (
        'size = "20 ft x 15 ft"',
        'turns = ["20 ft east", "15 ft north", "19 ft west"]',
        "turns",
        "slab.turns",
        ["do not close", "0.3048 m east", "4.572 m north"],
    ),
    "a turn to nowhere": (
        'size = "20 ft x 15 ft"',
        'turns = [\n"20 ft east",\n"15 ft up"]',
        "15 ft up",
        "slab.turns[1]",
        ['"28 ft east"'],
    ),
    "walls that cross": (
        'size = "20 ft x 15 ft"',
        'corners = [["0 m","0 m"], ["6 m","5 m"], ["6 m","0 m"], ["0 m","5 m"]]',
        "corners",
        "slab.corners",
        ["cross", "in order"],
    ),
    "half a corner": (
        'size = "20 ft x 15 ft"',
        'corners = [["0 m","0 m"], ["6 m"], ["6 m","5 m"], ["0 m","5 m"]]',
        "corners",
        "slab.corners[1][1]",
        ["a corner is two lengths"],
    ),
    "unknown word": (
        '"card"',
        '"crad"',
        "crad",
        "joints[0].joint",
        ['not a known word; did you mean "card"'],
    ),
    "word without an end": (
        'aperture = "1 mm"',
        'gap = "fingers fit"',
        "fingers fit",
        "gaps[0].gap",
        ["measure it and give the height"],
    ),
    "soil without air": (
        'permeability = "1e-12 m2"',
        'soil = "saturated"',
        "saturated",
        "ground.layers[0].soil",
        ["no air path", "moist_zones"],
    ),
    "word and number": (
        'joint = "card"',
        'joint = "card"\naperture = "0.3 mm"',
        '"0.3 mm"',
        "joints[0].aperture",
        ['"joint" already says this'],
    ),
    "range backwards": (
        "looser_by = 10",
        'looser_by = "30 to 3"',
        "30 to 3",
        "bands[0].looser_by",
        ["runs backwards"],
    ),
    "range where a choice is needed": (
        'x = "10 ft"',
        'x = "9 to 10 ft"',
        "9 to 10 ft",
        "layouts[0].points[0].x",
        ["one number is needed"],
    ),
    "gap narrower than the house": (
        '"30 in"',
        '"8 ft"',
        '"8 ft"',
        "gaps[0].from_walls",
        ["no part of the floor", "smaller"],
    ),
    "unknown shape": (
        'pit = "2 buckets"',
        'pit = {shape = "cube", length = "1 ft"}',
        "cube",
        "layouts[0].points[0].pit.shape",
        ['"cube" is not a shape', '"hemisphere"'],
    ),
    "key of another shape": (
        'pit = "2 buckets"',
        'pit = {shape = "hemisphere", volume = "2 buckets", deepness = "1 ft"}',
        "deepness",
        "layouts[0].points[0].pit.deepness",
        ["unknown key"],
    ),
    "radius and volume": (
        'pit = "2 buckets"',
        'pit = {shape = "hemisphere", volume = "2 buckets", radius = "1 ft"}',
        "hemisphere",
        "layouts[0].points[0].pit.radius",
        ['"volume" already says this'],
    ),
    "pit as a number": (
        'pit = "2 buckets"',
        "pit = 2",
        "pit = 2",
        "layouts[0].points[0].pit",
        ["2: a volume or a table"],
    ),
    "unknown fan": (
        '"high-suction"',
        '"high-suctoin"',
        "high-suctoin",
        "fan",
        ['did you mean "high-suction"'],
    ),
    "unknown pipe size": (
        'size = "4 in"',
        'size = "5 in"',
        "5 in",
        "pipe.size",
        ['"4 in"', "bore"],
    ),
    "unknown fitting": (
        'branch = "10 ft"',
        'branch = "10 ft"\nbranch_fittings = ["sharp 91 bend"]',
        "sharp 91 bend",
        "pipe.branch_fittings",
        ['did you mean "sharp 90 bend"'],
    ),
    "text for a switch": (
        'joint = "card"',
        'joint = "card"\nsealed = "no"',
        "sealed",
        "joints[0].sealed",
        ["true or false"],
    ),
    "number for a name": ('name = "T1"', "name = 1", "name = 1", "test_holes[0].name", ["text"]),
    "text for a list": (
        "looser_by = 10",
        'looser_by = 10\nwalls = "north"',
        "walls =",
        "bands[0].walls",
        ['["north"]'],
    ),
    "one bracket too few": ("[[joints]]", "[joints]", "[joints]", "joints", ["[[joints]]"]),
    "one bracket too many": ("[walls]", "[[walls]]", "[[walls]]", "walls", ["[walls]"]),
    "unknown resolution": (
        'fan = "high',
        'resolution = "corse"\nfan = "high',
        "corse",
        "resolution",
        ['"coarse", "normal", "fine"'],
    ),
    "two outdoor pressures": (
        'outdoor_pressure = "1 Pa"',
        'outdoor_pressure = "1 Pa"\nbelow_neutral_level = "3 m"',
        'outdoor_pressure = "1 Pa"',
        "conditions.today.outdoor_pressure",
        ["either outdoor_pressure, or below_neutral_level"],
    ),
    "no such wall": (
        "looser_by = 10",
        'looser_by = 10\nwalls = ["north", "nroth"]',
        "nroth",
        "bands[0].walls",
        ["not a wall of this house"],
    ),
    "pit outside": (
        'x = "10 ft"',
        'x = "30 ft"',
        "[[layouts.points]]",
        "layouts[0].points[0]",
        ["not under the slab"],
    ),
    "pit too large": (
        'pit = "2 buckets"',
        'pit = {shape = "box", length = "21 ft", width = "2 ft", depth = "1 ft"}',
        "21 ft",
        "layouts[0].points[0].pit",
        ["does not fit under the floor"],
    ),
    "test hole outside": (
        'x = "3 ft"',
        'x = "-3 ft"',
        "[[test_holes]]",
        "test_holes[0]",
        ["not in the slab"],
    ),
    "name used twice": (
        "[pipe]",
        '[[layouts.points]]\nname = "A" #\nx = "3 ft" #\ny = "3 ft" #\npit = "1 gal"\n[pipe]',
        'name = "A" #',
        "layouts[0].points[1].name",
        ['"A" is used twice'],
    ),
    "mistake in a variant": (
        'none = ["gaps"]',
        'joints = [{joint = "clsed"}]',
        "clsed",
        "variant.tight.joints[0].joint",
        ['did you mean "closed"'],
    ),
    "nothing to leave out": (
        'none = ["gaps"]',
        'none = ["slab"]',
        '"slab"',
        "variant.tight.none[0]",
        ["cannot be left out", '"gaps"'],
    ),
    "floor of a variant without its pit": (
        'none = ["gaps"]',
        'slab = {size = "8 ft x 8 ft", thickness = "4 in", permeability = "1e-16 m2"}\n'
        'none = ["gaps"]',
        "8 ft x 8 ft",
        "variant.tight.slab",
        ["not under the slab"],
    ),
    "range of nothing": (
        "[variant.tight]",
        '[[uncertain]]\npath = "site.slab.thicknes"\nlow = "3 in"\nhigh = "5 in"\n[variant.tight]',
        'thicknes"',
        "uncertain[0].path",
        ["no quantity there"],
    ),
    "two ranges for one field": (
        "[variant.tight]",
        '[[uncertain]]\npath = "site.joints[0].aperture"\nlow = "1 mm" #\nhigh = "2 mm"\n'
        "[variant.tight]",
        "path",
        "uncertain[0].path",
        ["already has a range"],
    ),
    "log-uniform from zero": (
        "[variant.tight]",
        '[[uncertain]]\npath = "site.gaps[0].aperture"\nlow = "0 mm"\nhigh = "2 mm"\n'
        "[variant.tight]",
        '"0 mm"',
        "uncertain[0].low",
        ["above 0"],
    ),
    "escape code in a name": (
        'name = "middle"',
        'name = "\\u001b[2Jmiddle"',
        "u001b",
        "gaps[0].name",
        ["'\\x1b'", "cannot be shown"],
    ),
    "line break in a name": (
        'name = "A"',
        'name = "A\\nB"',
        "A\\nB",
        "layouts[0].points[0].name",
        ["\\n"],
    ),
    "reversed text in a name": (
        'name = "one"',
        'name = "\u202eone"',
        "\u202e",
        "layouts[0].name",
        ["'\\u202e'"],
    ),
    "long name": (
        'name = "A"',
        f'name = "{"A" * 300}"',
        "AAA",
        "layouts[0].points[0].name",
        ["300"],
    ),
    "number too long for TOML": (
        "looser_by = 10",
        f"looser_by = 1{'0' * 30}",
        "00000",
        None,
        ["TOML"],
    ),
}


@pytest.mark.parametrize(
    ("old", "new", "needle", "field", "says"), ONE_MISTAKE.values(), ids=ONE_MISTAKE
)
def test_one_mistake_gives_one_message(old, new, needle, field, says):
    text = edited(old, new)
    (mistake,) = mistakes_in(text)
    first = text.index(needle)
    assert mistake.line == text[:first].count("\n") + 1
    assert mistake.field == (field or "bands[0].looser_by")
    for part in says:
        assert part in mistake.message
    assert mistake.message.isprintable()
    assert str(mistake) == f"house.toml:{mistake.line}: {mistake.field}: {mistake.message}"


def test_all_mistakes_at_once_in_the_order_of_the_file():
    text = (
        GOOD.replace('"20 ft x 15 ft"', '"20 ft x 15"')
        .replace('thickness = "4 in"', "thickness = 4")
        .replace("footing_depth", "footingdepth")
        .replace("looser_by = 10", 'looser_by = "ten"')
        .replace('joint = "card"', 'joint = "crad"')
        .replace('pit = "2 buckets"', 'pit = "2 bukets"')
        .replace('run = "40 ft"', "run = 40")
        .replace('"1 Pa"', '"1 pascals absolute"')
        .replace('x = "3 ft"', "x = nan")
    )
    assert [(m.line, m.field) for m in mistakes_in(text)] == [
        (line_of(text, '"20 ft x 15"'), "slab.size"),
        (line_of(text, "thickness = 4"), "slab.thickness"),
        (line_of(text, "footingdepth"), "walls.footingdepth"),
        (line_of(text, '"ten"'), "bands[0].looser_by"),
        (line_of(text, "crad"), "joints[0].joint"),
        (line_of(text, "bukets"), "layouts[0].points[0].pit"),
        (line_of(text, "run = 40"), "pipe.run"),
        (line_of(text, "absolute"), "conditions.today.outdoor_pressure"),
        (line_of(text, "x = nan"), "test_holes[0].x"),
    ]


def test_mistakes_across_nouns_come_together_too():
    text = (
        GOOD.replace("looser_by = 10", 'looser_by = 10\nwalls = ["nroth"]')
        .replace('joint = "card"', 'joint = "card"\nwalls = ["soth"]')
        .replace('x = "10 ft"', 'x = "99 ft"')
        .replace('y = "3 ft"', 'y = "77 ft"')
    )
    assert {m.field for m in mistakes_in(text)} == {
        "bands[0].walls",
        "joints[0].walls",
        "layouts[0].points[0]",
        "test_holes[0]",
        # the variant keeps band and joint; their mistakes are not said twice
    }


def test_an_empty_file_says_what_a_case_needs():
    fields = {m.field: m.message for m in mistakes_in("")}
    assert fields.keys() == {"title", "slab", "walls", "ground", "layouts", "conditions"}
    assert all(message.startswith("missing; write ") for message in fields.values())


def test_a_flood_of_unknown_keys_is_cut_short():
    mistakes = mistakes_in(GOOD + "".join(f"[zz{i}]\n" for i in range(500)))
    assert len(mistakes) < 30
    assert "479 after it" in mistakes[-1].message


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("title = 'a'\nthickness = 4 in\n", 2, "quotation marks"),
        ("title = 'a'\n\nslab]\n", 3, "not TOML"),
        ("[slab]\n[walls]\n[slab]\n", 3, "not TOML"),
        ("title = 'a'\ntitle = 'b'\n", 2, "not TOML"),
        ("a = 1\nb = [1,\n", 3, "not TOML"),
        ('a = "\x00"\n', 1, "not TOML"),
        ("a = " + "9" * 5000, 0, "digits"),
        ("a = 1\nb = " + "[" * 5000, 2, "nested more than 16 deep"),
        ("a = 1\n" + "[[x]]\n" * 2000, 302, "more than 300 [[x]] tables"),
        ("a = [" + "1," * 20_000 + "]", 1, "more than 10000 items"),
        ("#" * (CASE_BYTES + 1), 0, "longer than 2 MB"),
    ],
    ids=lambda value: None if isinstance(value, str) else str(value),
)
def test_a_text_that_cannot_be_read_gives_one_reason(text, line, says):
    (mistake,) = mistakes_in(text)
    assert (mistake.line, mistake.field) == (line, "")
    assert says in mistake.message
    assert mistake.message.isprintable()


def refusal(path):
    with pytest.raises(CaseError) as caught:
        read_case(path)
    (mistake,) = caught.value.mistakes
    assert mistake.file == str(path)
    return mistake


def test_files_that_are_no_case(tmp_path):
    assert "no such file" in refusal(tmp_path / "gone.toml").message
    assert "a directory" in refusal(tmp_path).message
    result = tmp_path / "result.h5"
    result.write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    assert "HDF5" in refusal(result).message
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (CASE_BYTES + 1))
    assert "longer than 2 MB" in refusal(large).message
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'title = "a"\nanswer = "caf\xe9"\n')
    found = refusal(latin)
    assert "not UTF-8" in found.message
    assert found.line == 2
    wide = tmp_path / "wide.toml"
    wide.write_text(GOOD, encoding="utf-16")
    assert "not UTF-8" in refusal(wide).message


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte order mark"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_files_from_any_editor(tmp_path, mark, newline):
    path = tmp_path / "house.toml"
    path.write_bytes(mark + GOOD.replace("\n", newline).encode())
    assert read_case(path) == parse_case(GOOD)
    path.write_bytes(mark + edited('"8 in"', "8").replace("\n", newline).encode())
    with pytest.raises(CaseError) as caught:
        read_case(str(path))
    (mistake,) = caught.value.mistakes
    assert mistake.line == line_of(GOOD, '"8 in"')


def test_a_name_cannot_reach_the_terminal_through_the_file_name(tmp_path):
    with pytest.raises(CaseError) as caught:
        read_case(tmp_path / "\x1b[2Jhouse.toml")
    assert "\x1b" not in str(caught.value)


def test_messages_stay_short_whatever_was_written():
    text = edited('joint = "card"', f'joint = "card"\n"{"k" * 150}" = 1\naperture = "{"z" * 150}"')
    assert all(len(mistake.message) < 700 for mistake in mistakes_in(text))


ODD = (
    *("1", "-1", "1.5", "true", "nan", '""', '"x"', "[]", "{}", "[1]", "[[1]]", "[{}]", "{x = 1}"),
    *("1979-05-27", "07:32:00", '["x", "y"]', '[["1 m", "1 m"]]', '"1e-300 m"', '"0 to 0 m"'),
)
TABLES = (
    *("title", "question", "answer", "soil_temperature", "air", "resolution", "fan", "slab"),
    *("walls", "ground", "bands", "backfill", "moist_zones", "gaps", "joints", "layouts", "pipe"),
    *("conditions", "test_holes", "uncertain", "variant", "variant_name", "variant.tight"),
)
EXTRA = """
[backfill]
width = "2 ft"
looser_by = 3
[[moist_zones]]
name = "wet"
size = "5 ft x 5 ft"
at = ["0 ft", "0 ft"]
multiplier = 0.1
bottom = "3 ft"
[[uncertain]]
path = "site.slab.thickness"
low = "3 in"
high = "5 in"
law = "uniform"
[layouts.fan]
name = "attic"
flows = ["0 cfm", "60 cfm"]
static_pressures = ["4 in. w.c.", "0 in. w.c."]
[air]
temperature = "50 F"
"""


def reads_or_refuses(text):
    """Whether a text is refused, and never with anything but located mistakes."""
    try:
        parse_case(text)
    except CaseError as error:
        mistakes = error.mistakes
    else:
        return False
    assert mistakes
    assert [m for m in mistakes if not m.message or "object at 0x" in m.message] == []
    return True


@pytest.mark.parametrize("odd", ODD)
def test_odd_values_anywhere_are_read_or_refused(odd):
    lines = (GOOD + EXTRA).split("\n")
    refused = 0
    for i, line in enumerate(lines):
        key, equals, _ = line.partition(" = ")
        if equals:
            refused += reads_or_refuses("\n".join([*lines[:i], f"{key} = {odd}", *lines[i + 1 :]]))
    assert refused > 10


@pytest.mark.parametrize("table", TABLES)
def test_odd_tables_are_read_or_refused(table):
    refused = sum(reads_or_refuses(f"{table} = {odd}\n{GOOD}") for odd in ODD)
    bare = sum(reads_or_refuses(f"{table} = {odd}\n") for odd in ODD)
    assert bare == len(ODD)
    assert refused > 10
