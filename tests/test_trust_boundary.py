"""Case and result files come from anybody: nothing in them is run, obeyed, followed or trusted.

No code, no path out of the named folder, no memory before its size was asked, no character that
a terminal obeys, no markup in a picture, a table or XML.
"""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import h5py
import matplotlib.figure
import numpy as np
import pytest
import tomli_w
from hostile_cases import EVERYTHING, coarse, obeyed
from matplotlib.text import Text
from read_source import Module, read_modules
from typer.testing import CliRunner

from soilflow import bounds, cli
from soilflow.cli.reporting import show, wrote
from soilflow.errors import CaseError, ResultFileError
from soilflow.files.case_toml import parse_case, read_case
from soilflow.files.job import Job, read_job
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.files.result_views import write_xdmf
from soilflow.output.compare_printout import comparison_to_csv
from soilflow.run import run_layout
from soilflow.studies.compare import compare_layouts

# ---- no code

RUNS_CODE = {"eval", "exec", "compile", "__import__"}
LOADERS = {"pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "subprocess"}


def code_complaints(module: Module) -> list[str]:
    """Ways by which a file's content could become code."""
    found = []
    for node in ast.walk(module.tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        found += [f"imports {name}" for name in names if name.split(".")[0] in LOADERS]
        if isinstance(node, ast.keyword) and node.arg == "allow_pickle":
            off = isinstance(node.value, ast.Constant) and node.value.value is False
            found += [] if off else ["allows pickles"]
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        if called in RUNS_CODE or called in ("os.system", "os.popen", "builtins.eval"):
            found.append(f"calls {called}")
        if called in ("np.load", "numpy.load") and not any(
            k.arg == "allow_pickle" for k in node.keywords
        ):
            found.append("loads arrays without allow_pickle=False")
    return [f"{module.name}: {what}" for what in found]


def test_nothing_in_the_library_runs_what_it_reads():
    modules = read_modules()
    assert len(modules) > 100
    assert [c for module in modules for c in code_complaints(module)] == []


@pytest.mark.parametrize(
    "text",
    [
        "import pickle",
        "from pickle import loads",
        "import yaml.loader",
        "eval(text)",
        "def f():\n    exec('x')",
        "__import__(name)",
        "import os\nos.system(name)",
        "np.load(path)",
        "np.load(path, allow_pickle=True)",
        "np.load(path, allow_pickle=flag)",
    ],
)
def test_the_scan_sees_code_that_would(text):
    assert len(code_complaints(Module(name="soilflow.x", text=text))) == 1
    assert code_complaints(Module(name="soilflow.x", text="np.load(p, allow_pickle=False)")) == []
    assert code_complaints(Module(name="soilflow.x", text="re.compile(p)\nmodel.eval()")) == []


# ---- no path out of the named folder

NAMES = (
    *("../x", "/tmp/x", ".", "", "CON", "C:\\x", "x" * 200, "\U0001f3e0" * 200, "a:b*?"),
    *("-rf", "VTKHDF/CellData", "soil"),
)
MARKUP = (
    *("$x$", "$\\frac{", "a$b", "$\\undefined$", "_x^2", "\\$", "%s {0} {x!r}", "[red]x"),
    *(
        "<b>&amp;\"'",
        "]]>",
        "<!--",
        "-->",
        "<!DOCTYPE x>",
        "&xxe;",
        "=cmd()",
        "+1",
        "-1",
        "@SUM(A1)",
    ),
)


def hostile_text(name: str, *, layouts: tuple[str, ...] = ("one",)) -> str:
    """A house whose every name is a hostile one."""
    tree = coarse(EVERYTHING)
    tree["title"] = name
    tree["layouts"] = [{**tree["layouts"][0], "name": layout} for layout in layouts]
    for layout in tree["layouts"]:
        layout["points"] = [{**layout["points"][0], "name": f"{name}P"[-200:]}]
    for group in ("patches", "gaps", "soil_fields", "no_dig", "test_holes"):
        tree[group][0]["name"] = name
    tree["moist_zones"] = [{**tree["moist_zones"][0], "name": name}]
    tree["yards"][0]["name"] = f"{name}Y"[-200:]
    today = {"outdoor_pressure": "1 Pa", "references": {f"{name}Y"[-200:]: "2 Pa"}}
    tree["conditions"] = {name: today, "design_winter": {"outdoor_pressure": "4 Pa"}}
    tree["variant"] = {name or "v": {"none": ["gaps"]}}
    return tomli_w.dumps(tree)


def call(*arguments):
    done = CliRunner().invoke(cli.app, [str(argument) for argument in arguments])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert obeyed(done.output) == set()
    return done


def tree_of(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


@pytest.mark.parametrize("name", NAMES, ids=ascii)
def test_names_make_no_path(name, tmp_path, monkeypatch):
    """Layout and variant enter the names of files; nothing comes to be outside the folder."""
    (tmp_path / "here" / "out").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "here")
    Path("case.toml").write_text(hostile_text(name, layouts=("one", name)), encoding="utf-8")
    choice = ["--layout", name, *(["--variant", name] if name else [])]
    done = call("run", "case.toml", *choice, "--out", "out", "--no-figures", "--xdmf", "--quiet")
    assert (done.exit_code, done.output) == (0, "")
    made = tree_of(tmp_path)
    assert [p for p in made if not p.startswith("here/out/")] == [
        "here",
        "here/case.toml",
        "here/out",
    ]
    assert len(made) == 5
    for file in (tmp_path / "here" / "out").iterdir():
        assert file.name.startswith("case")
        assert len(file.name.encode()) < 200
        assert file.suffix in (".h5", ".xdmf")
    [result] = (tmp_path / "here" / "out").glob("*.h5")
    assert read_result(result).layout == name
    [view] = (tmp_path / "here" / "out").glob("*.xdmf")
    ElementTree.parse(view)


def test_long_names_are_told_apart():
    case = parse_case(tomli_w.dumps(coarse(EVERYTHING)))
    job = Job(case=case, text="", stem="house", usual=("one", "", "coarse", "soilflow", ""))
    long = ["x" * 200 + end for end in "ab"]
    stems = {job.stem_of(name, "", "coarse", "soilflow", "") for name in long}
    assert len(stems) == 2
    assert job.stem_of("one", "", "coarse", "soilflow", "") == "house"
    assert job.stem_of("a/../b\x00c", "", "fine", "soilflow", "") == "house_a_b_c_fine"


# ---- sizes are asked before memory is taken


def many(count, line):
    return "".join(line.format(i=i) for i in range(count))


CROWDS = {
    "a large file": "#" * (bounds.CASE_BYTES + 1),
    "layouts": many(bounds.TABLES + 1, '[[layouts]]\nname = "{i}"\n'),
    "layouts in one line": "layouts = [" + many(bounds.TABLES + 1, '{{name = "{i}"}},') + "]",
    "variants": many(bounds.TABLES + 1, "[variant.v{i}]\n"),
    "test holes": "test_holes = [" + many(bounds.TABLES + 1, '{{name = "{i}"}},') + "]",
    "corners": "[slab]\ncorners = [" + many(bounds.CORNERS + 1, '["{i} m", "0 m"],') + "]",
    "wall turns": "[slab]\nturns = [" + many(bounds.CORNERS + 1, '"{i} m east",') + "]",
    "crack": "[[cracks]]\npoints = [" + many(bounds.CORNERS + 1, '["{i} m", "0 m"],') + "]",
    "a soil field": "[[soil_fields]]\nmultipliers = ["
    + many(bounds.VALUES // 1000 + 1, "[" + "1," * 1000 + "],")
    + "]",
    "one list": "x = [" + "1," * (bounds.ITEMS + 1) + "]",
    "depth": "x = " + "[" * (bounds.DEPTH + 1),
}


@pytest.mark.parametrize("text", CROWDS.values(), ids=CROWDS)
def test_more_than_any_house_has_is_refused_in_one_message(text):
    with pytest.raises(CaseError) as caught:
        parse_case(text)
    [mistake] = caught.value.mistakes
    assert "at most" in mistake.message or "no case needs that much" in mistake.message


def test_a_file_of_any_size_is_not_read_to_its_end(tmp_path):
    path = tmp_path / "case.toml"
    with open(path, "wb") as file:
        file.truncate(10**12)
    with pytest.raises(CaseError, match="longer than 2 MB"):
        read_case(path)


def test_every_bound_is_in_the_one_table_and_says_who_chose_it():
    assert bounds.SOURCE == "chosen by the project"
    assert bounds.SOURCE in bounds.__doc__.replace("\n", " ")
    for name in bounds.__all__:
        value = getattr(bounds, name)
        values = [] if name == "SOURCE" else [value] if isinstance(value, int) else value.values()
        assert all(v > 0 for v in values), name


@pytest.fixture(scope="module")
def result():
    return run_layout(parse_case(tomli_w.dumps(coarse(EVERYTHING))))


@pytest.fixture(scope="module")
def good(result, tmp_path_factory):
    text = tomli_w.dumps(coarse(EVERYTHING))
    path = tmp_path_factory.mktemp("results") / "good.h5"
    write_result(result, parse_case(text), text, path)
    return path


def claimed(file, _):
    file.create_dataset("soil/big", shape=(10**12,), dtype="f8", chunks=(1000,))
    file["soil/big"].attrs["units"] = "1"


def overflowing(file, _):
    file.create_dataset("soil/big", shape=(2**31, 2**31, 4), dtype="f8", chunks=(64, 64, 1))


def one_large_piece(file, _):
    file.create_dataset("soil/x1", shape=(1,), maxshape=(None,), chunks=(2**28,), dtype="f8")


def many_words(file, _):
    kind = h5py.string_dtype()
    file.create_dataset("soil/words", shape=(10**9,), dtype=kind, chunks=(1000,))


def long_words(file, _):
    file["soil/words"] = np.array(["x" * 100_000] * 30, dtype=object)


def external_link(file, secret):
    file["soil/other"] = h5py.ExternalLink(str(secret), "/secret")


def soft_link(file, _):
    file["soil/other"] = h5py.SoftLink("/case")


def dangling_link(file, _):
    file["soil/other"] = h5py.SoftLink("/nowhere")


def virtual(file, secret):
    layout = h5py.VirtualLayout(shape=(3,), dtype="f8")
    layout[:] = h5py.VirtualSource(str(secret), "secret", shape=(3,))
    file.create_virtual_dataset("soil/other", layout)
    file["soil/other"].attrs["units"] = "1"


def outside_storage(file, secret):
    file.create_dataset("soil/other", shape=(3,), dtype="f8", external=[(str(secret), 0, 24)])
    file["soil/other"].attrs["units"] = "1"


def circle(file, _):
    file["soil/soil"] = file["soil"]


def deep(file, _):
    file.create_group("a/b/c/d/e/f/g")


def a_type(file, _):
    file["soil/kind"] = np.dtype("f8")


def compound(file, _):
    file["soil/other"] = np.zeros(3, dtype=[("a", "f8"), ("b", "i4")])


def references(file, _):
    file.create_dataset("soil/other", data=file["case"].ref, dtype=h5py.ref_dtype)


def no_shape(file, _):
    file["soil/other"] = h5py.Empty("f8")


def odd_filter(file, _):
    file.create_dataset("soil/other", data=np.zeros(3000), chunks=(1000,), scaleoffset=2)


def unit_as_numbers(file, _):
    file["soil/permeability_horizontal"].attrs["units"] = np.arange(3)


def layout_as_numbers(file, _):
    file.attrs["layout"] = np.arange(3)


def case_as_numbers(file, _):
    del file["case"]
    file["case"] = np.arange(3)


BOMBS = (
    *(claimed, overflowing, one_large_piece, many_words, long_words, external_link, soft_link),
    *(dangling_link, virtual, outside_storage, circle, deep, a_type, compound, references),
    *(no_shape, odd_filter, unit_as_numbers, layout_as_numbers, case_as_numbers),
)


@pytest.mark.parametrize("harm", BOMBS, ids=lambda harm: harm.__name__)
def test_a_result_file_that_is_none_is_refused_in_one_message(harm, good, tmp_path):
    secret = tmp_path / "secret.h5"
    with h5py.File(secret, "w") as file:
        file["secret"] = np.full(3, 12345.0)
    path = tmp_path / "bad.h5"
    path.write_bytes(good.read_bytes())
    with h5py.File(path, "r+") as file:
        harm(file, secret)
    with pytest.raises(ResultFileError) as caught:
        read_result(path)
    message = str(caught.value)
    assert message.startswith(f'"{path}" ')
    assert "run the case again" in message
    assert "\n" not in message
    assert "12345" not in message
    if harm in (circle, compound, external_link):
        done = call("run", path, "--out", tmp_path)
        assert done.exit_code == 1
        assert len(done.stderr.splitlines()) == 1


def test_the_file_they_were_made_of_is_read(good):
    assert read_result(good).layout == "one"


def test_a_view_is_made_of_no_file_that_leads_elsewhere(good, tmp_path):
    path = tmp_path / "bad.h5"
    path.write_bytes(good.read_bytes())
    write_xdmf(path, tmp_path / "good.xdmf")
    with h5py.File(path, "r+") as file:
        file["VTKHDF/CellData/x"] = h5py.ExternalLink("/etc/passwd", "/x")
    with pytest.raises(ResultFileError, match="leads elsewhere"):
        write_xdmf(path, tmp_path / "bad.xdmf")


@pytest.mark.parametrize("name", ["layout", "variant", "resolution", "engine"])
def test_what_a_result_file_says_of_its_run_is_only_shown(name, good, tmp_path):
    path = tmp_path / "bad.h5"
    path.write_bytes(good.read_bytes())
    with h5py.File(path, "r+") as file:
        file.attrs[name] = "../\x1b[2J\x07\u202ex\n=cmd()"
    done = call("run", path, "--out", tmp_path)
    assert done.exit_code in (1, 2)
    assert len(done.stderr.splitlines()) == 1
    assert "\\x1b[2J" in done.stderr
    assert tree_of(tmp_path) == ["bad.h5"]


READ, REFUSED, ELSE = 0, 1, 2


def read_apart(path) -> int:
    """How reading a file ends, in a process of its own; below nought where HDF5 itself broke."""
    child = os.fork()
    if child == 0:
        end = ELSE
        try:
            read_result(path)
            end = READ
        except ResultFileError:
            end = REFUSED
        finally:
            os._exit(end)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.mark.long
@pytest.mark.parametrize("part", range(10))
def test_bytes_turned_in_a_result_file(part, good, tmp_path):
    """Read as if nothing were wrong, or refused in one message.

    The HDF5 library is not proof against any file and may break with the process it is in, which
    nothing written in Python can prevent; DEVELOPERS.md says so.
    """
    rng = np.random.default_rng(part)
    whole = np.frombuffer(good.read_bytes(), dtype=np.uint8)
    path = tmp_path / "bad.h5"
    ends = []
    for _ in range(100):
        data = whole.copy()
        for at in rng.integers(0, rng.choice([2000, data.size]), size=rng.integers(1, 6)):
            data[at] = rng.integers(0, 256)
        path.write_bytes(data.tobytes())
        ends.append(read_apart(path))
    assert ELSE not in ends
    assert {READ, REFUSED} <= set(ends)
    assert sum(end < 0 for end in ends) <= 2


# ---- no control sequences to a terminal


@pytest.mark.parametrize("mark", ["\x1b[2J", "\x07", "\x9b31m", "\u202e", "\r", "\x00"], ids=ascii)
def test_no_name_is_obeyed_by_a_terminal(mark, tmp_path, capsys):
    with pytest.raises(CaseError) as caught:
        parse_case(hostile_text(f"a{mark}b"))
    assert obeyed(str(caught.value)) == set()
    done = call("check", tmp_path / f"a{mark}b.toml")
    assert done.exit_code in (1, 2)  # no name of a file at all
    assert obeyed(done.output) == set()
    # and what a script made goes the same way out
    show(lambda: f"a{mark}b\n", dict, json=False, quiet=False)
    wrote([Path(f"a{mark}b\nc")], json=False, quiet=False)
    show(str, lambda: {"name": f"a{mark}b"}, json=True, quiet=False)
    said = capsys.readouterr().out
    assert obeyed(said) == set()
    assert "\\nc" in said


# ---- no markup


@pytest.fixture
def figures(monkeypatch):
    """Every figure that is saved."""
    saved = []
    save = matplotlib.figure.Figure.savefig

    def remember(self, path, **more):
        saved.append(self)
        if path.suffix == ".svg":
            return save(self, path, **more)
        self.draw_without_rendering()  # reads every text as a picture would, and is quicker
        return path.write_bytes(b"picture")

    monkeypatch.setattr(matplotlib.figure.Figure, "savefig", remember)
    return saved


HARD = "$\\frac{ <b>&amp;]]> --> $x_1$ %s {0}"


def test_a_name_is_no_formula_in_a_picture(figures, tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(hostile_text(HARD, layouts=(HARD,)), encoding="utf-8")
    assert call("check", path, "--plan", tmp_path / "plan.svg").exit_code == 0
    assert call("run", path, "--layout", HARD, "--out", tmp_path).exit_code == 0
    assert call("compare", path, "--out", tmp_path).exit_code == 0
    assert len(figures) == 4
    for figure in figures:
        named = [t for t in figure.findobj(Text) if "\\frac" in t.get_text()]
        assert named
        assert [t.get_text() for t in named if t.get_parse_math()] == []
    text = (tmp_path / "plan.svg").read_text(encoding="utf-8")
    assert "<b>" not in text
    ElementTree.fromstring(text)


def test_a_name_is_no_markup_in_a_view_and_no_key_in_a_report(result, tmp_path):
    today, text = result.conditions["today"], tomli_w.dumps(coarse(EVERYTHING))
    named = replace(result, title="".join(MARKUP), conditions=dict.fromkeys(MARKUP, today))
    write_result(named, parse_case(text), text, tmp_path / "a.h5", xdmf=tmp_path / "a.xdmf")
    names = {node.get("Name") for node in ElementTree.parse(tmp_path / "a.xdmf").iter("Attribute")}
    for name in MARKUP:
        assert f"pressure {name} [Pa]" in names
    stored = read_result(tmp_path / "a.h5")
    assert set(stored.members.values()) >= set(MARKUP)
    assert stored.title == "".join(MARKUP)


def test_the_answers_keep_odd_names_as_they_are(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(hostile_text("[red]<b>$x$"), encoding="utf-8")
    done = call("run", path, "--json", "--quiet", "--no-figures", "--out", tmp_path)
    assert json.loads(done.stdout)["title"] == "[red]<b>$x$"
    assert "[red]<b>$x$" in call("check", path).stdout


def test_a_name_is_no_formula_in_a_table():
    names = ("=cmd()", "+1", "-1", "@SUM(A1)", " =x", '="a",b')
    found = compare_layouts(parse_case(hostile_text("house", layouts=names)))
    rows = list(csv.DictReader(io.StringIO(comparison_to_csv(found))))
    assert {row["layout [-]"] for row in rows} == {f"'{name}" for name in names}
    for row in rows:
        for cell in row.values():
            number = cell.replace(".", "").replace("e-", "").lstrip("-").isdigit()
            assert number or cell[:1] not in ("=", "+", "-", "@"), cell
    assert {row["condition [-]"] for row in rows} == {"house", "design_winter"}


def test_a_job_of_a_result_file_is_the_case_in_it(good):
    assert read_job(good).usual == ("one", "", "rough", "soilflow", "")
