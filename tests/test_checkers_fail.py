"""Checkers that have no bad example beside them are fed one here, and must complain.

DEVELOPERS.md lists every checker and where it is seen failing.
"""

import dataclasses
import re
import tomllib
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import test_cases
import test_data
import test_digging
import test_fipy_engine
import test_golden_messages
import test_readme
import test_result_hdf5
import test_text_patterns
import test_write_toml
from random_sites import TURNS, common_grid, control_house
from scipy.sparse.linalg import spsolve
from small_soils import Answer
from test_invariants import (
    check_balance,
    check_bounds,
    check_reciprocity,
    check_scaled,
    check_superposition,
    check_unity,
    with_fields,
)
from test_invariants_limits import check_same_soil
from test_invariants_monotone import check_never_less_power, check_never_less_suction
from test_invariants_turned import check_turned
from tiny_house import TEXT, house, solved

from soilflow.errors import BalanceError, ConvergenceError, SoilflowWarning
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.flow import response as response_module
from soilflow.flow import solve as solve_module
from soilflow.flow.response import respond
from soilflow.flow.soil_network import SoilNetwork

ROOT = Path(__file__).parents[1]


# --- invariants over random sites: the network is broken, and some check of them must see it


def answered(good: Answer, network: SoilNetwork, matrix=None) -> Answer:
    """What a program with such a network would have said; its fields by elimination."""
    matrix = network.matrix() if matrix is None else matrix
    fields = np.array([spsolve(matrix.tocsc(), source) for source in network.sources()])
    made = with_fields(replace(good, network=network), fields)
    return replace(made, response=replace(made.response, port_matrix=made.response.face_matrix))


def changed(good, **arrays):
    return answered(good, replace(good.network, **arrays))


def at(array, index, factor):
    found = array.copy()
    found[index] = factor * found[index]
    return found


def busiest(good):
    """The edge that carries most under suction in pit A."""
    network = good.network
    field = good.response.unit_fields[network.ports.index("A")]
    drop = field[network.edges[:, 0]] - field[network.edges[:, 1]]
    return int(np.abs(drop * network.conductance).argmax())


def of_port(good, name):
    return good.network.port == good.network.ports.index(name)


def edge_times(factor):
    return lambda good: changed(
        good, conductance=at(good.network.conductance, busiest(good), factor)
    )


def leak_times(factor):
    return lambda good: changed(
        good, port_conductance=at(good.network.port_conductance, of_port(good, "house"), factor)
    )


def one_way(good):
    """What flows along an edge one way meets more resistance than the other way."""
    network, matrix = good.network, good.network.matrix().tolil()
    i, j = network.edges[busiest(good)]
    matrix[i, j] *= 1.1
    return answered(good, network, matrix.tocsc())


def drained(good):
    """One node loses air to nowhere."""
    matrix = good.network.matrix().tolil()
    node = good.network.edges[busiest(good)][0]
    matrix[node, node] *= 1.1
    return answered(good, good.network, matrix.tocsc())


def crossed(good):
    """The leaks of two ports are mixed up."""
    network = good.network
    other = {
        network.ports.index("house"): network.ports.index("A"),
        network.ports.index("A"): network.ports.index("house"),
    }
    return changed(good, port=np.array([other.get(p, p) for p in network.port.tolist()]))


BREAKS = {
    "an edge lost": edge_times(0.0),
    "an edge of the wrong sign": edge_times(-1.0),
    "an edge counted twice": edge_times(2.0),
    "an edge that differs by direction": one_way,
    "the room's leaks lost": leak_times(0.0),
    "the room's leaks of the wrong sign": leak_times(-1.0),
    "the room's leaks halved": leak_times(0.5),
    "a leak to nowhere": drained,
    "two ports mixed up": crossed,
}
SEEN_BY = {
    "bounds": ["the room's leaks of the wrong sign"],
    "unity": ["an edge that differs by direction", "a leak to nowhere"],
    "reciprocity": ["an edge that differs by direction"],
    "balance": ["an edge that differs by direction", "a leak to nowhere"],
    "power": ["an edge lost", "the room's leaks lost", "the room's leaks halved"],
    "suction": ["an edge lost", "an edge of the wrong sign", "two ports mixed up"],
    "turned": list(BREAKS),
    "the same soil": list(BREAKS),
    "scaled": list(BREAKS),
}


@pytest.fixture(scope="module")
def control():
    """The answer of a house, the same by break, and checks by name against what is right."""
    house = control_house()
    good = house.answer()
    turn = TURNS[0]
    turned = house.turned(turn).answer()
    checks = {
        "bounds": check_bounds,
        "unity": check_unity,
        "reciprocity": check_reciprocity,
        "balance": check_balance,
        "power": lambda broken: check_never_less_power(good, broken),
        "suction": lambda broken: check_never_less_suction(good, broken),
        "turned": lambda broken: check_turned(broken, turned, turn),
        "the same soil": lambda broken: check_same_soil(good, broken),
        "scaled": lambda broken: check_scaled(good, broken, 1.0),
    }
    return good, {kind: broken(good) for kind, broken in BREAKS.items()}, checks


def complains(check, answer):
    try:
        check(answer)
    except AssertionError:
        return True
    return False


@pytest.mark.parametrize("name", SEEN_BY)
def test_each_invariant_sees_a_broken_network(name, control):
    good, broken, checks = control
    assert not complains(checks[name], good)
    for kind in SEEN_BY[name]:
        assert complains(checks[name], broken[kind]), kind


def test_elimination_of_another_network_is_not_superposition(control):
    """Fields of a network that lost an edge, held against the network that has it."""
    good, broken, _ = control
    values = np.linspace(-500.0, 5.0, len(good.response.ports))
    check_superposition(good, values)
    for kind in ("an edge lost", "the room's leaks halved", "two ports mixed up"):
        with pytest.raises(AssertionError):
            check_superposition(replace(broken[kind], network=good.network), values)


def test_the_monotone_checks_see_a_step_the_wrong_way():
    """Tighter soil passed off as looser, a sealed joint as open, a pit filled in as one dug."""
    house = control_house()
    site = house.site
    layers = tuple(
        dataclasses.replace(one, permeability=0.99 * one.permeability, vertical=one.across)
        for one in site.ground.layers
    )
    tighter = house.changed(ground=dataclasses.replace(site.ground, layers=layers))
    leaky = house.changed(joints=(dataclasses.replace(site.joints[0], aperture=2e-3),))
    fewer = house._replace(points=house.points[:1])
    grid = common_grid(house)
    here = house.answer(grid)
    check_never_less_power(tighter.answer(grid), here)
    with pytest.raises(AssertionError, match="less air"):
        check_never_less_power(here, tighter.answer(grid))
    check_never_less_suction(leaky.answer(grid), here)
    with pytest.raises(AssertionError, match="rose by"):
        check_never_less_suction(here, leaky.answer(grid))
    check_never_less_suction(fewer.answer(grid), here)
    with pytest.raises(AssertionError, match="lost its way"):  # the air in the pit filled in
        check_never_less_suction(here, fewer.answer(grid))


# --- what the library checks of its own answers


def test_a_solve_cut_short_raises(control, monkeypatch):
    monkeypatch.setattr(solve_module, "_MOST_ITERATIONS", 1)
    with pytest.raises(ConvergenceError, match="in 1 iterations, wanted") as caught:
        respond(control[0].network)
    assert caught.value.reached > 10.0 * caught.value.wanted
    assert caught.value.iterations == 1


def content_with(wrong, right):
    """A solver that reports success and hands back its answer times a number."""

    def solve(*given, **options):
        answer, report = right(*given, **options)
        return wrong * answer, report

    return solve


def test_fields_that_lose_air_raise_whatever_the_solver_reports(control, monkeypatch):
    monkeypatch.setattr(response_module, "solve", content_with(0.0, response_module.solve))
    with pytest.raises(BalanceError, match="balance to") as caught:
        respond(control[0].network)
    assert caught.value.reached > caught.value.wanted


def test_fields_that_are_no_numbers_raise(control, monkeypatch):
    monkeypatch.setattr(response_module, "solve", content_with(np.nan, response_module.solve))
    with pytest.raises((BalanceError, ConvergenceError)) as caught:
        respond(control[0].network)
    assert not caught.value.reached <= caught.value.wanted


# --- what is read and shown


@pytest.mark.parametrize("code", ["raise ValueError", "assert 1 == 2", "x = 1", "import nowhere"])
def test_a_python_block_of_the_readme_that_fails_or_shows_nothing(code, monkeypatch, capsys):
    with pytest.raises((ValueError, AssertionError, ImportError)):
        test_readme.test_python_block_runs(code, monkeypatch, capsys)


@pytest.mark.parametrize("line", ["soilflow run nowhere.toml", "soilflew --help"])
def test_a_command_line_of_the_readme_that_fails(line, tmp_path):
    with pytest.raises(AssertionError):
        test_readme.test_command_line_runs(line, tmp_path)


def test_a_link_or_a_fence_of_the_readme_that_nobody_looks_after(monkeypatch):
    with pytest.raises(AssertionError, match="nowhere"):
        test_readme.test_linked_files_exist("nowhere.md")
    test_readme.test_the_readme_has_the_blocks_it_should()
    monkeypatch.setattr(test_readme, "README", test_readme.README + "\n```ruby\nputs 1\n```\n")
    with pytest.raises(AssertionError):
        test_readme.test_the_readme_has_the_blocks_it_should()


@pytest.mark.parametrize(
    "said",
    [
        ['house.toml:7: slab.thicknes: unknown key; did you mean "thickness"'],
        [],
        ['house.toml:7: slab.thicknes: unknown key; did you mean "thickness"?', "more"],
    ],
)
def test_a_message_that_reads_otherwise(said):
    good, bad = 'thickness = "4 in"', 'thicknes = "4 in"'
    check = test_golden_messages.test_a_bad_file_gets_one_clear_line_per_mistake
    with pytest.raises(AssertionError):
        check(good, bad, said)


def test_a_bad_file_that_passes():
    good = 'thickness = "4 in"'
    check = test_golden_messages.test_a_bad_file_gets_one_clear_line_per_mistake
    with pytest.raises(pytest.fail.Exception):
        check(good, good, [])


@pytest.mark.parametrize(
    "wrong", [{"mark": " "}, {"low": 3e-12, "high": 2e-12}, {"low": -1.0}, {"unit": "darcy"}]
)
def test_a_word_table_with_a_range_of_no_source_order_or_unit(wrong, monkeypatch):
    table = dict(test_data.data.word_ranges("soil_words"))
    word = next(iter(table))
    table[word] = replace(table[word], **wrong)
    monkeypatch.setattr(test_data.data, "word_ranges", lambda name: table)
    with pytest.raises(AssertionError):
        test_data.test_every_range_is_ordered_and_marked("soil_words")


def test_a_fan_class_without_a_source():
    classes = dict(test_data.data.fan_classes())
    word = next(iter(classes))
    test_data.test_every_class_has_a_source_and_finite_numbers(lambda: classes)
    for wrong in ({"source": ""}, {"shutoff_pressure": np.inf}, {"free_air_flow": -1.0}):
        broken = {**classes, word: replaced(classes[word], wrong)}
        with pytest.raises(AssertionError):
            test_data.test_every_class_has_a_source_and_finite_numbers(lambda b=broken: b)


def replaced(noun, fields):
    """A copy with other fields, past the noun's own checks."""
    copy = object.__new__(type(noun))
    for field in dataclasses.fields(noun):
        object.__setattr__(copy, field.name, fields.get(field.name, getattr(noun, field.name)))
    return copy


WITHOUT = {
    "question": lambda text: text.replace("?", "."),
    "answer": lambda text: re.sub(r'(?ms)^answer = """.*?"""', 'answer = "Yes."', text),
    "source": lambda text: re.sub(
        r'(?m)^source = .*\n|, source = "[^"]*"|source = "[^"]*",? ?', "", text
    ),
}


@pytest.mark.parametrize("what", WITHOUT)
def test_a_shipped_case_without_question_answer_or_source(what, tmp_path):
    text = (test_cases.FOLDER / "l_shape.toml").read_text(encoding="utf-8")
    path = tmp_path / "l_shape.toml"
    path.write_text(text, encoding="utf-8")
    check = test_cases.test_every_case_states_its_question_its_answer_and_its_sources
    check(path)
    less = WITHOUT[what](text)
    assert tomllib.loads(less).keys() == tomllib.loads(text).keys()
    path.write_text(less, encoding="utf-8")
    with pytest.raises(AssertionError):
        check(path)


def test_a_shipped_case_whose_answer_nobody_looks_at(tmp_path):
    with pytest.raises(AssertionError):
        test_cases.test_every_case_runs_and_has_its_answer_looked_at_here(tmp_path / "lonely.toml")


# --- rules and engines that are held against a second way to the same number


def test_a_digging_rule_that_is_five_centimetres_off(monkeypatch):
    check = test_digging.test_the_margin_is_that_of_the_worst_point_dug
    name, where = next(iter(test_digging.PITS)), next(iter(test_digging.PADS))
    check(name, where, 0.2)
    right = test_digging.lowest_margin
    for off in (0.05, -0.05):
        monkeypatch.setattr(
            test_digging,
            "lowest_margin",
            lambda *given, off=off: (right(*given)[0] + off, right(*given)[1]),
        )
        with pytest.raises(AssertionError):
            check(name, where, 0.2)


def test_a_unit_the_editor_takes_and_the_reader_does_not(monkeypatch):
    check = test_text_patterns.test_every_unit_matches_where_it_is_read_and_nowhere_else
    name = sorted(test_text_patterns.TABLES)[0]
    for pattern in ("^.*$", "^never$"):
        monkeypatch.setattr(test_text_patterns, "quantity_pattern", lambda _, p=pattern: p)
        with pytest.raises(AssertionError):
            check(name)


def test_a_case_that_does_not_come_back_from_its_file(monkeypatch):
    check = test_write_toml.test_a_case_survives_the_way_to_toml_and_back.hypothesis.inner_test
    case = test_write_toml.small_case()
    check(case)
    right = test_write_toml.write_case
    monkeypatch.setattr(
        test_write_toml, "write_case", lambda case: right(replace(case, title=case.title + "!"))
    )
    with pytest.raises(AssertionError):
        check(case)


HELD = ("soil/permeability_horizontal", "conditions/today/floor_pressure")


@pytest.mark.parametrize("name", HELD)
def test_a_result_file_that_holds_other_numbers(name, tmp_path):
    check = test_result_hdf5.test_arrays_are_those_of_the_result
    path = tmp_path / "house.h5"
    write_result(solved(), house(), TEXT, path)
    stored = read_result(path)
    check(stored)
    other = stored.arrays[name].copy()
    other.flat[np.flatnonzero(np.isfinite(other))[0]] += 1e-9
    with pytest.raises(AssertionError):
        check(replace(stored, arrays={**stored.arrays, name: other}))


def test_an_engine_that_borrows_from_the_network():
    taken = test_fipy_engine.taken_from_the_network
    for line in ("from soilflow.flow import response", "import soilflow.flow.soil_network"):
        assert not taken(line) <= test_fipy_engine.ONLY_FORMULAS
    assert taken("import numpy\nfrom soilflow.flow.grid import Grid") == set()


# --- the way the suite itself is set up


def test_a_doubt_in_a_test_that_does_not_expect_one_is_a_failure():
    with pytest.raises(SoilflowWarning):
        warnings.warn(SoilflowWarning("doubtful"), stacklevel=1)


def test_the_folders_whose_examples_are_run_have_some():
    """A search for doctests in a folder that has moved would pass for ever."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    found = settings["pytest"]["ini_options"]
    assert "--doctest-modules" in found["addopts"]
    sources = [path for name in found["testpaths"] for path in (ROOT / name).rglob("*.py")]
    examples = [path for path in sources if ">>> " in path.read_text(encoding="utf-8")]
    assert len(examples) > 20


ROW = re.compile(r"^\| [^|]+ \| `(tests/[\w/]+\.py)`: (.+) \|$", re.MULTILINE)


def rows(text):
    """Files and tests that the table of checkers names."""
    table = text.split("| checker | seen failing in |", 1)[1].split("\n\n", 1)[0]
    return [
        (path, name) for path, names in ROW.findall(table) for name in re.findall(r"`(\w+)`", names)
    ]


def missing(text):
    found = []
    for path, name in rows(text):
        source = (ROOT / path).read_text(encoding="utf-8")
        if not re.search(rf"^def {name}\(", source, re.MULTILINE):
            found.append(f"{path} has no {name}")
    return found


def test_every_row_of_the_table_of_checkers_names_a_test_that_is_there():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(rows(text)) > 30
    assert missing(text) == []
    assert missing(text.replace("`test_the_checker_sees_a_circle`", "`test_gone`", 1)) == [
        "tests/test_layers.py has no test_gone"
    ]
