"""The shipped tables: complete, sourced, in SI, and found by tolerant words."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, fields

import pytest
from fluids.piping import nearest_pipe

from soilflow import data
from soilflow.errors import InputError

WORD_TABLES = ("soil_words", "band_words", "joint_words", "gap_words", "slab_words", "wall_words")
CLASS_TABLES = (data.soil_classes, data.fan_classes, data.fittings, data.pipes)


@pytest.mark.parametrize("name", WORD_TABLES)
def test_every_range_is_ordered_and_marked(name):
    table = data.word_ranges(name)
    assert table
    for word, entry in table.items():
        assert entry.word == word
        assert 0.0 <= entry.low <= entry.high
        assert entry.mark.strip()
        assert entry.unit in {"m2", "m", "-"}


@pytest.mark.parametrize("read", CLASS_TABLES)
def test_every_class_has_a_source_and_finite_numbers(read):
    table = read()
    assert table
    for entry in table.values():
        assert entry.source.strip()
        numbers = [getattr(entry, f.name) for f in fields(entry)]
        numbers = [n for n in numbers if not isinstance(n, str)]
        assert numbers
        assert all(math.isfinite(n) and n >= 0.0 for n in numbers)


@pytest.mark.parametrize(
    ("name", "word", "low", "high", "mark"),
    [
        ("soil_words", "clean gravel", 1e-9, 1e-7, "from memory"),
        ("soil_words", "packed silty clay, damp", 5e-14, 1e-12, "guess"),
        ("soil_words", "clay, moist and compact", 1e-15, 1e-13, "from memory"),
        ("soil_words", "saturated", 0.0, 0.0, "by definition"),
        ("joint_words", "closed", 2e-5, 1e-4, "guess"),
        ("joint_words", "nickel", 1e-3, 2.5e-3, "guess"),
        ("gap_words", "sounds hollow", 5e-4, 2e-3, "guess"),
        ("gap_words", "fingers fit", 1e-2, math.inf, "guess"),
        ("slab_words", "old, crazed, patched", 1e-14, 1e-12, "guess"),
    ],
)
def test_some_ranges_as_a_person_would_write_them(name, word, low, high, mark):
    entry = data.word_ranges(name)[word]
    assert entry.low == pytest.approx(low, rel=1e-12, abs=0)
    assert entry.high == pytest.approx(high, rel=1e-12, abs=0)
    assert entry.mark == mark


def test_words_run_from_tight_to_loose():
    words = data.word_ranges("soil_words")
    order = ("saturated", "clay, moist and compact", "packed silt", "medium sand", "clean gravel")
    middles = [math.sqrt(words[w].low * words[w].high) for w in order]
    assert middles == sorted(middles)


def test_number_of_entries():
    assert [len(data.word_ranges(n)) for n in WORD_TABLES] == [12, 2, 3, 4, 2, 4]
    assert [len(read()) for read in CLASS_TABLES] == [12, 3, 8, 4]


def test_soil_class_in_si():
    """Carsel and Parrish 1988, sand: alpha 0.145 per cm, 712.8 cm a day."""
    sand = data.soil_classes()["sand"]
    assert sand.alpha == pytest.approx(14.5, rel=1e-12)
    assert sand.conductivity == pytest.approx(8.25e-5, rel=1e-12, abs=0)
    assert (sand.residual_water, sand.saturated_water, sand.n) == (0.045, 0.43, 2.68)


def test_fan_classes_in_si():
    """Conventional inch of water 249.08891 Pa, cfm 4.719474e-4 m3/s."""
    general, strong, strongest = data.fan_classes().values()
    assert general.shutoff_pressure == pytest.approx(1.7 * 249.08891, rel=1e-6)
    assert general.free_air_flow == pytest.approx(190 * 4.719474e-4, rel=1e-6)
    assert strong.shutoff_pressure == pytest.approx(4.0 * 249.08891, rel=1e-6)
    assert strong.free_air_flow == pytest.approx(60 * 4.719474e-4, rel=1e-6)
    assert strongest.shutoff_pressure == pytest.approx(20 * 249.08891, rel=1e-6)
    assert strongest.free_air_flow == pytest.approx(45 * 4.719474e-4, rel=1e-6)


@pytest.mark.parametrize("size", ["2 in", "3 in", "4 in", "6 in"])
def test_bores_against_another_library(size):
    """Schedule 40 inner diameters, as the pipe tables of fluids print them, to 0.1 mm."""
    bore = nearest_pipe(NPS=float(size.split()[0]), schedule="40")[1]
    assert data.pipes()[size].bore == pytest.approx(bore, abs=1e-4)


@pytest.mark.parametrize(
    ("size", "cfm", "speed"), [("2 in", 20, 4.3600), ("3 in", 50, 4.9476), ("4 in", 100, 5.7463)]
)
def test_bores_give_the_velocities_of_worked_pipes(size, cfm, speed):
    """Q / A by hand for 2.067, 3.068 and 4.026 in, printed to five figures."""
    area = math.pi * data.pipes()[size].bore ** 2 / 4
    assert cfm * 0.3048**3 / 60 / area == pytest.approx(speed, abs=5e-5)


def test_sharp_bend_loses_what_the_worked_example_says():
    """Public table's worked example: 1.3 at 10 m/s is 6.6 m of air."""
    xi = data.fittings()["sharp 90 bend"].loss_coefficient
    assert xi * 10.0**2 / (2 * 9.80665) == pytest.approx(6.6, abs=0.05)


@pytest.mark.parametrize(
    "text",
    [
        "packed silty clay, damp",
        "Packed Silty Clay, Damp",
        "  packed   silty clay damp ",
        "packed silty clay ,damp",
        "packed-silty-clay, damp",
    ],
)
def test_lookup_is_tolerant(text):
    found = data.lookup_word(data.word_ranges("soil_words"), text)
    assert found.word == "packed silty clay, damp"


def test_lookup_offers_near_words():
    with pytest.raises(InputError, match=r'packed clay: not a known word; did you mean "packed'):
        data.lookup_word(data.word_ranges("soil_words"), "packed clay")


def test_lookup_without_a_near_word_lists_them_all():
    with pytest.raises(InputError, match='write "closed" or "card" or "nickel"'):
        data.lookup_word(data.word_ranges("joint_words"), "xyzzy")


def test_tables_cannot_be_changed():
    table = data.fittings()
    with pytest.raises(TypeError):
        table["new"] = None
    with pytest.raises(FrozenInstanceError):
        table["discharge"].loss_coefficient = 2.0


def test_no_two_words_of_a_table_look_the_same():
    for name in WORD_TABLES:
        table = data.word_ranges(name)
        for word in table:
            assert data.lookup_word(table, word).word == word
