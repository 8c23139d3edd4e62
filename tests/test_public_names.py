"""Names: what each module offers, what modules are called, and a light front door."""

import ast
import json
import subprocess
import sys

import pytest
from read_source import PACKAGE, Module, imports_of, read_modules

import soilflow

# Names that say nothing about what is inside.
EMPTY_NAMES = ("utils", "helpers", "core", "base", "common")
MOST_LINES = 400
HEAVY = ("fipy", "matplotlib", "h5py", "scipy", "shapely", "numpy", "pydantic", "pyamg")


def sort_key(name):
    """Constants, then classes, then functions, each by the alphabet."""
    rank = 0 if name.isupper() else 1 if name[0].isupper() else 2
    return (rank, name)


def offered(module: Module) -> list[str] | None:
    """What ``__all__`` lists; None without one."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return list(ast.literal_eval(node.value))
    return None


def defined(module: Module) -> dict[str, ast.stmt]:
    """Names a module's own statements make at the top, also under ``if`` and ``try``."""
    found: dict[str, ast.stmt] = {}
    fresh = list(module.tree.body)
    while fresh:
        node = fresh.pop()
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef):
            found[node.name] = node
        elif isinstance(node, ast.If | ast.Try):
            fresh += [*node.body, *node.orelse, *getattr(node, "finalbody", [])]
        elif isinstance(node, ast.Assign):
            found |= {n.id: node for t in node.targets for n in ast.walk(t) if _is_name(n)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            found[node.target.id] = node
    return found


def _is_name(node: ast.AST) -> bool:
    return isinstance(node, ast.Name)


def name_complaints(module: Module) -> list[str]:
    """What is wrong with the names in and of a module."""
    found = []
    if module.name.split(".")[-1].strip("_") in EMPTY_NAMES:
        found.append(f"{module.name}: a name that says nothing")
    names = offered(module)
    public = {
        name
        for name, node in defined(module).items()
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not name.startswith("_")
    }
    if names is None:
        return [*found, f"{module.name}: no __all__"] if public else found
    if names != sorted(set(names), key=sort_key):
        found.append(f"{module.name}: __all__ is not sorted, or names something twice")
    borrowed = {item.name for item in imports_of(module) if item.target.startswith(PACKAGE)}
    for name in names:
        if name not in defined(module) and name not in borrowed:
            found.append(f"{module.name}: __all__ names {name}, which is not there")
    commands = {
        name
        for name, node in defined(module).items()
        if any(".command" in ast.unparse(d) for d in getattr(node, "decorator_list", []))
    }
    for name in sorted(public - set(names) - commands):
        found.append(f"{module.name}: {name} is public, but not in __all__")
    return found


def length_complaints(module: Module) -> list[str]:
    """A long module must give its reason in a sentence that starts with ``Length:``."""
    lines = len(module.text.splitlines())
    docstring = ast.get_docstring(module.tree) or ""
    if lines <= MOST_LINES or "Length: " in docstring:
        return []
    return [f"{module.name}: {lines} lines without a reason"]


def loaded_by(statement: str) -> set[str]:
    """Top-level packages in memory after a statement in a fresh interpreter."""
    script = f"import sys, json\n{statement}\nprint(json.dumps(sorted(sys.modules)))"
    run = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=120
    )
    return {name.split(".")[0] for name in json.loads(run.stdout.splitlines()[-1])}


def test_each_module_offers_what_it_defines_in_order():
    assert [c for module in read_modules() for c in name_complaints(module)] == []


def test_long_modules_say_why():
    assert [c for module in read_modules() for c in length_complaints(module)] == []


def test_importing_the_library_is_light():
    assert loaded_by("import soilflow") & set(HEAVY) == set()


def test_using_a_name_loads_what_it_needs_and_no_more():
    """Shows the look into memory at work, too: it does see a package that was loaded."""
    seen = loaded_by("import soilflow; soilflow.Slab")
    assert {"numpy", "shapely"} <= seen
    assert seen & {"fipy", "matplotlib", "h5py"} == set()


def test_the_front_door_gives_the_very_objects_of_their_modules():
    homes = {name: home for home, names in soilflow._HOMES.items() for name in names}
    assert {*homes, "__version__"} == set(soilflow.__all__)
    assert set(soilflow.__all__) <= set(dir(soilflow))
    for name, home in homes.items():
        __import__(home)
        assert getattr(soilflow, name) is getattr(sys.modules[home], name)


def test_the_front_door_tells_type_checkers_the_same_story():
    [front] = [module for module in read_modules() if module.name == PACKAGE]
    told = {(i.name, i.target) for i in imports_of(front) if i.typing_only}
    assert told == {(name, home) for home, names in soilflow._HOMES.items() for name in names}


def test_a_misspelt_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'Slap'"):
        soilflow.Slap  # noqa: B018


def about(text, name="soilflow.made_up"):
    return name_complaints(Module(name=name, text=text))


def test_the_checker_sees_bad_names():
    good = '__all__ = ["BIG", "Cat", "dog"]\nBIG = 1\nclass Cat: pass\ndef dog(): pass\n'
    assert about(good) == []
    assert about("from soilflow.units import Length\n__all__ = ['Length']") == []
    assert "not sorted" in about(good.replace('"BIG", "Cat"', '"Cat", "BIG"'))[0]
    assert "not sorted" in about(good.replace('"dog"', '"dog", "dog"'))[0]
    assert "names eel, which is not there" in about(good.replace('"dog"', '"dog", "eel"'))[0]
    assert "dog is public" in about(good.replace(', "dog"', ""))[0]
    assert "names sqrt" in about("from math import sqrt\n__all__ = ['sqrt']")[0]
    inner = "__all__ = ['dog']\ndef dog():\n    bone = 1"
    assert "names bone" in about(inner.replace("'dog'", "'bone', 'dog'"))[0]
    assert "no __all__" in about("def dog(): pass")[0]
    for empty in EMPTY_NAMES:
        assert "says nothing" in about("", name=f"soilflow.site.{empty}")[0]


def test_the_checker_sees_a_long_module_without_a_reason():
    long = "x = 1\n" * MOST_LINES
    assert length_complaints(Module(name="soilflow.long", text=long)) == []
    assert length_complaints(Module(name="soilflow.long", text=long + "y = 2\n"))
    reason = '"""Formulas.\n\nLength: every one has its source.\n"""\n'
    assert length_complaints(Module(name="soilflow.long", text=reason + long)) == []
