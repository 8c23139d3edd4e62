"""The glossary in DEVELOPERS.md and the quantities in public signatures are the same."""

import ast
import re
from pathlib import Path

from read_source import Annotations, Module, public_classes, public_routines, read_modules
from test_docstrings import UNITS, parse_docstring

GLOSSARY = Path(__file__).parents[1] / "DEVELOPERS.md"
# Arguments that hold any quantity at all, so that no unit can be named.
EXEMPT = {"value", "values"}


def glossary_rows(text: str) -> dict[str, set[str]]:
    """Units by name, from the one table whose head names symbol and unit."""
    table = text.split("| name | symbol | unit |", 1)[1].split("\n\n", 1)[0]
    rows = {}
    for line in table.splitlines()[2:]:
        _, names, _, units, _ = line.split("|", 4)
        for name in re.findall(r"`(\w+)`", names):
            assert name not in rows, f"{name} stands in two rows"
            rows[name] = {unit.strip() for unit in units.split(",")}
    return rows


def quantities(modules: list[Module]) -> list[tuple[str, str, str | None]]:
    """Name, place and documented unit of each quantity that is passed in or held."""
    annotations = Annotations(modules)
    found = []
    for module in modules:
        takers = [(noun.name, noun.node, noun.made_from) for noun in public_classes(module)]
        takers += [(r.name, r.node, r.parameters) for r in public_routines(module)]
        for where, node, taken in takers:
            entries = parse_docstring(ast.get_docstring(node) or "").sections.get("Parameters", [])
            units = {name: entry.unit for entry in entries for name in entry.names}
            found += [
                (name, f"{module.name}.{where}", units.get(name))
                for name, annotation in taken.items()
                if annotations.is_quantity(annotation, module.name)
            ]
    return found


def complaints(rows: dict[str, set[str]], used: list[tuple[str, str, str | None]]) -> list[str]:
    found = []
    for name, where, unit in used:
        if name in EXEMPT:
            continue
        if name not in rows:
            found.append(f"{name} [{unit}] of {where} has no row")
        elif unit is not None and unit not in rows[name]:
            found.append(f"{name} of {where} is in {unit}, its row has {sorted(rows[name])}")
    found += [f"the row of {name} has no unit we know" for name in rows if not rows[name] <= UNITS]
    there = {name for name, _, _ in used}
    return found + [f"nothing is called {name} any more" for name in sorted(set(rows) - there)]


def test_every_quantity_is_in_the_glossary_with_its_unit():
    rows = glossary_rows(GLOSSARY.read_text(encoding="utf-8"))
    assert len(rows) > 100
    assert complaints(rows, quantities(read_modules())) == []


TABLE = """
| name | symbol | unit | sign and meaning |
|---|---|---|---|
| `depth`, `top` | z | m | down |
| `flow` | q | m3/s, - | into a port |

Words.
"""
CODE = '''
def dig(depth: float, *, flow: Sequence[float], name: str) -> None:
    """Dig.

    Parameters
    ----------
    depth : float
        How deep. [m]
    flow : sequence of float
        Flows. [m3/s]
    name : str
        A name.
    """


@dataclass
class Pit:
    """A pit."""

    top: float
    value: float
'''


def about(table, code):
    return complaints(glossary_rows(table), quantities([Module(name="soilflow.x", text=code)]))


def test_the_checker_passes_a_glossary_that_fits():
    assert about(TABLE, CODE) == []


def test_the_checker_sees_each_kind_of_mistake():
    assert about(TABLE.replace("`depth`, ", ""), CODE) == ["depth [m] of soilflow.x.dig has no row"]
    assert about(TABLE.replace("m3/s, -", "Pa"), CODE) == [
        "flow of soilflow.x.dig is in m3/s, its row has ['Pa']"
    ]
    assert about(TABLE.replace("| m |", "| ell |"), CODE)[-1].endswith("no unit we know")
    assert about(TABLE, CODE.replace("top: float", "top: int")) == [
        "nothing is called top any more"
    ]
    assert about(TABLE, CODE.replace("name: str)", "name: float)"))[0].startswith("name [None]")
