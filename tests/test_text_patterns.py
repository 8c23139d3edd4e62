"""Patterns for editors: they match what the reader takes, and nothing it refuses."""

import re

import pytest
from test_units import CONVERTED_BY_HAND, PRINTED_VALUES

from soilflow.data import lookup_word, word_ranges
from soilflow.errors import InputError
from soilflow.files.text_patterns import quantity_pattern, range_pattern, word_pattern
from soilflow.files.written_form import read_spread
from soilflow.unit_tables import INDEX, TABLES
from soilflow.units import Dimension, parse_quantity

SPELLINGS = sorted({s for words in INDEX.values() for s in words if s})
OPEN = {name: Dimension(name, "SI") for name in TABLES}


def reads(text, dimension):
    try:
        parse_quantity(text, dimension)
    except InputError:
        return False
    return True


@pytest.mark.parametrize("name", sorted(TABLES))
def test_every_unit_matches_where_it_is_read_and_nowhere_else(name):
    """All spellings of all dimensions, with the marks and capitals that people add."""
    pattern = re.compile(quantity_pattern(OPEN[name]))
    assert len(SPELLINGS) > 100
    for spelling in SPELLINGS:
        for text in (
            f"12 {spelling}",
            f"1.5{spelling}.",
            f"1e-12 {spelling.upper()}",
            f"3-1/2 {spelling.title()}",
            f"-4 {spelling}",
            f"1,200 {spelling}",
            f"12 {spelling} 3",
            spelling,
        ):
            assert bool(pattern.search(text)) == reads(text, OPEN[name]), text


@pytest.mark.parametrize(("text", "name", "_"), [*PRINTED_VALUES, *CONVERTED_BY_HAND])
def test_what_people_type_matches(text, name, _):
    assert re.search(quantity_pattern(OPEN[name]), text)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("60 cfn", "flow"),
        ("1.5 in", "pressure"),
        ("60 m", "flow"),
        ("12", "length"),
        ("", "length"),
        ("ft", "length"),
        ("12 ft 6", "length"),
        ("12 ft x 6 ft", "length"),
        ("1 to 2 ft", "length"),
        ("12\nft 3", "length"),
    ],
)
def test_what_the_reader_refuses_does_not_match(text, name):
    assert not reads(text, OPEN[name])
    assert not re.search(quantity_pattern(OPEN[name]), text)


def test_a_minus_sign_only_where_there_is_something_below_zero():
    depth = quantity_pattern(Dimension("length", "m", ge=0.0))
    assert re.search(depth, "4 ft")
    assert not re.search(depth, "-4 ft")
    frost = quantity_pattern(Dimension("temperature", "K", gt=0.0))
    assert re.search(frost, "-4 F")


@pytest.mark.parametrize(
    "text",
    ["1 to 4 mm", "1 mm to 4 mm", "1/16 in to 1/8 in", "1mm..4mm", "0.02 .. 0.1 mm", "4 mm",
     "1 to 4", "1 to mm", "1 - 4 mm", "one to two in", "1 mm to 4 Pa", "to 4 mm"],
)  # fmt: skip
def test_ranges_match_as_they_are_read(text):
    dimension = Dimension("length", "m", ge=0.0)
    try:
        read = read_spread(text, dimension) is not None
    except InputError:
        read = False
    assert bool(re.search(range_pattern(dimension), text)) == read


@pytest.mark.parametrize("table", ["soil_words", "joint_words", "gap_words", "slab_words"])
def test_words_match_as_they_are_looked_up(table):
    words = word_ranges(table)
    pattern = word_pattern(words)
    for word in words:
        for text in (word, word.upper(), word.replace(", ", " - "), f" {word}."[:-1]):
            assert lookup_word(words, text).word == word
            assert re.search(pattern, text)
        for text in (word[:-1], f"very {word}", ""):
            assert not re.search(pattern, text)
            with pytest.raises(InputError):
                lookup_word(words, text)
