"""Docstrings say what goes in and out: names as in the signature, every quantity with its unit."""

import ast
import builtins
import inspect
import itertools
import re
from dataclasses import dataclass, field

from read_source import (
    Annotations,
    Module,
    Noun,
    Routine,
    public_classes,
    public_routines,
    read_modules,
)

# One spelling for each unit; a bracket that holds anything else is a complaint.
UNITS = {
    "-",
    "SI",  # the unit of the field or dimension in question
    *("m", "m2", "m3", "1/m", "s", "K", "W", "MB", "rad"),
    *("Pa", "Pa s", "m/s", "m2/s", "m3/s", "kg/m3"),
    *("m3/(s Pa)", "m2/(Pa s)", "(s Pa/m3)^0.5", "s Pa/m3", "1/(Pa s)", "m3/Pa", "1/s"),
}
SECTIONS = ("Parameters", "Returns", "Yields", "Raises", "Notes", "References", "Examples")
LISTS = ("Parameters", "Returns", "Yields", "Raises")


@dataclass
class Entry:
    """Names, type and description of one entry in a section."""

    names: list[str]
    kind: str
    text: str = ""

    @property
    def unit(self) -> str | None:
        return unit_at_end(self.text)


@dataclass
class Docstring:
    """What stands before the first section, the entries by section, and what is malformed."""

    intro: str
    sections: dict[str, list[Entry]]
    mistakes: list[str] = field(default_factory=list)


def unit_at_end(text: str) -> str | None:
    found = re.search(r"\[([^\[\]]+)\]$", text.strip())
    return found.group(1) if found else None


def parse_docstring(text: str) -> Docstring:
    """Read numpydoc sections."""
    lines = inspect.cleandoc(text).splitlines()
    titles = [
        i for i, (_, rule) in enumerate(itertools.pairwise(lines)) if re.fullmatch("-{3,}", rule)
    ]
    doc = Docstring(" ".join(lines[: titles[0] if titles else None]).strip(), {})
    for start, end in itertools.pairwise([*titles, len(lines)]):
        title = lines[start].strip()
        if title not in SECTIONS or title in doc.sections:
            doc.mistakes.append(f"section {title!r} is unknown or there twice")
        if len(lines[start + 1]) != len(title):
            doc.mistakes.append(f"the rule under {title!r} is not as long as the word")
        body = lines[start + 2 : end]
        doc.sections[title] = _entries(title, body) if title in LISTS else []
    order = [SECTIONS.index(title) for title in doc.sections if title in SECTIONS]
    if order != sorted(order):
        doc.mistakes.append("sections are out of order")
    bare = [line for i, line in enumerate(lines) if line in SECTIONS and i not in titles]
    doc.mistakes += [f"section {line!r} has no rule under it" for line in bare]
    return doc


def _entries(title: str, lines: list[str]) -> list[Entry]:
    entries: list[Entry] = []
    for line in lines:
        if not line.strip():
            continue
        if line.startswith(" ") and entries:
            entries[-1].text = f"{entries[-1].text} {line.strip()}".strip()
            continue
        names, colon, kind = line.partition(" : ")
        if title in ("Parameters", "Raises") or colon:
            entries.append(Entry([n.strip(" *") for n in names.split(",")], kind.strip()))
        else:
            entries.append(Entry([], line.strip()))
    return entries


class Checker:
    """Looks through the public docstrings of some modules."""

    def __init__(self, modules: list[Module]) -> None:
        self.modules = modules
        self.annotations = Annotations(modules)
        classes = [noun.name for module in modules for noun in public_classes(module)]
        self.known_errors = {*classes, *dir(builtins)}

    def complaints(self) -> list[str]:
        found = []
        for module in self.modules:
            for noun in public_classes(module):
                found += [f"{noun.module}.{noun.name}: {c}" for c in self._noun(noun)]
            protocols = [noun for noun in public_classes(module) if noun.is_protocol]
            for routine in public_routines(module):
                where = f"{routine.module}.{routine.name}"
                found += [f"{where}: {c}" for c in self._routine(routine, protocols)]
        return found

    def _noun(self, noun: Noun) -> list[str]:
        doc = parse_docstring(ast.get_docstring(noun.node) or "")
        if not doc.intro:
            return ["no docstring"]
        fields = noun.made_from
        listed = doc.sections.get("Parameters", [])
        names = [name for entry in listed for name in entry.names]
        found = [*doc.mistakes, *self._raises(doc)]
        if noun.is_protocol:
            fields = dict.fromkeys(names)
        if sorted(names) != sorted(fields):
            found.append(f"documents {names}, is made from {list(fields)}")
        return found + self._entries(listed, fields, noun.module)

    def _routine(self, routine: Routine, protocols: list[Noun]) -> list[str]:
        doc = parse_docstring(ast.get_docstring(routine.node) or "")
        if not doc.intro:
            return ["no docstring"]
        if any(_is_command(d) for d in routine.node.decorator_list):
            return doc.mistakes  # its docstring is the command's help
        found = [*doc.mistakes, *self._raises(doc)]
        if routine.is_property or any(_is_short_for(routine, doc, p) for p in protocols):
            return found + self._intro(routine, doc)
        parameters = routine.parameters
        listed = doc.sections.get("Parameters", [])
        names = [name for entry in listed for name in entry.names]
        if names != list(parameters):
            found.append(f"documents {names}, takes {list(parameters)}")
        found += self._entries(listed, parameters, routine.module)
        return found + self._returns(routine, doc)

    def _entries(
        self, listed: list[Entry], annotations: dict[str, ast.expr | None], module: str
    ) -> list[str]:
        found = []
        for entry in listed:
            for name in entry.names:
                annotation = annotations.get(name)
                found += self._entry(name, entry, annotation, module)
        return found

    def _entry(
        self, name: str, entry: Entry, annotation: ast.expr | None, module: str
    ) -> list[str]:
        found = [] if entry.text else [f"{name}: no description"]
        found += _unit_complaints(
            name, entry.unit, wanted=self.annotations.is_quantity(annotation, module)
        )
        if self.annotations.is_array(annotation, module) and "shape" not in entry.kind:
            found.append(f"{name}: an array without its shape")
        return found

    def _returns(self, routine: Routine, doc: Docstring) -> list[str]:
        annotation = routine.node.returns
        listed = doc.sections.get("Returns", []) + doc.sections.get("Yields", [])
        if annotation is None or ast.unparse(annotation) in ("None", "NoReturn"):
            return ["documents a return, has none"] if listed else []
        if not listed:
            return ["documents no return"]
        parts = [annotation]
        if isinstance(annotation, ast.Subscript) and ast.unparse(annotation.value) == "tuple":
            inner = annotation.slice
            elements = inner.elts if isinstance(inner, ast.Tuple) else [inner]
            count = sum(max(len(entry.names), 1) for entry in listed)
            if len(elements) == count and count > 1 and not isinstance(elements[-1], ast.Constant):
                parts = elements
        each = [(entry, name) for entry in listed for name in entry.names or ["return"]]
        if len(parts) != len(each):
            return [f"documents {len(each)} values, returns {ast.unparse(annotation)}"]
        return [
            complaint
            for (entry, name), part in zip(each, parts, strict=True)
            for complaint in self._entry(name, entry, part, routine.module)
        ]

    def _intro(self, routine: Routine, doc: Docstring) -> list[str]:
        wanted = self.annotations.is_quantity(routine.node.returns, routine.module)
        return _unit_complaints("summary", unit_at_end(doc.intro), wanted=wanted)

    def _raises(self, doc: Docstring) -> list[str]:
        names = [name for entry in doc.sections.get("Raises", []) for name in entry.names]
        return [f"raises {name}, unknown" for name in names if name not in self.known_errors]


def _unit_complaints(name: str, unit: str | None, *, wanted: bool) -> list[str]:
    if unit is None:
        return [f"{name}: no unit in brackets at the end"] if wanted else []
    return [] if unit in UNITS else [f"{name}: unit [{unit}] is not in the list"]


def _is_command(decorator: ast.expr) -> bool:
    return bool(re.search(r"\.(command|callback)\b", ast.unparse(decorator)))


def _is_short_for(routine: Routine, doc: Docstring, protocol: Noun) -> bool:
    """A one-line method whose arguments the module's protocol describes, once for all."""
    if routine.owner is None or doc.sections:
        return False
    described = parse_docstring(ast.get_docstring(protocol.node) or "").sections
    names = {name for entry in described.get("Parameters", []) for name in entry.names}
    methods = {item.name for item in protocol.node.body if isinstance(item, ast.FunctionDef)}
    takes = set(routine.parameters)
    return takes <= names and (bool(takes) or routine.node.name in methods)


def test_public_docstrings_name_every_argument_and_give_every_unit():
    modules = read_modules()
    assert sum(len(list(public_routines(m))) for m in modules) > 100
    assert Checker(modules).complaints() == []


GOOD = '''
@dataclass
class Pit:
    """A hole.

    Parameters
    ----------
    depth : float
        How deep. [m]
    name : str
        What it is called.
    """

    depth: Length
    name: str

    @property
    def area(self) -> float:
        """Area of its mouth. [m2]"""


def flow(pit: Pit, u: Array, *, viscosity: float = 1.0) -> tuple[Array, float]:
    """Flow into a pit.

    q = -Y u

    Parameters
    ----------
    pit : Pit
        The pit.
    u : array, shape (p,)
        Values at the ports. [Pa]
    viscosity : float
        Viscosity of the air. [Pa s]

    Returns
    -------
    flows : array, shape (p,)
        From soil into each port. [m3/s]
    share : float
        Part that comes from the room. [-]

    Raises
    ------
    PitError, ValueError
        The pit is full.
    """


class PitError(Exception):
    """A full pit."""


class Shape(Protocol):
    """What a shape is asked.

    Parameters
    ----------
    x : array, any shape
        Points. [m]
    """

    def contains(self, x: Array) -> Mask:
        """Tell which points lie inside."""

    def ends(self) -> tuple[float, float]:
        """Both ends. [m]"""


@app.command()
def run(case: Path, threshold: float) -> None:
    """Solve a case."""


Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Length = Annotated[float, Dimension("length", "m", gt=0.0)]
'''


def complaints_about(text):
    return Checker([Module(name="soilflow.made_up", text=text)]).complaints()


def test_the_checker_passes_a_good_module():
    assert complaints_about(GOOD) == []


def test_the_checker_sees_each_kind_of_mistake():
    spoilt = {
        ("How deep. [m]", "How deep."): "depth: no unit in brackets at the end",
        ("How deep. [m]", "How deep [m], at least."): "depth: no unit in brackets at the end",
        ("How deep. [m]", "How deep. [ft]"): "depth: unit [ft] is not in the list",
        ("How deep. [m]", ""): "depth: no description",
        ("its mouth. [m2]", "its mouth."): "summary: no unit in brackets at the end",
        ("u : array, shape (p,)", "u : array"): "u: an array without its shape",
        ("flows : array, shape (p,)", "flows : array"): "flows: an array without its shape",
        ("the air. [Pa s]", "the air. [Pa*s]"): "viscosity: unit [Pa*s] is not in the list",
        ("each port. [m3/s]", "each port."): "flows: no unit in brackets at the end",
        ("the room. [-]", "the room."): "share: no unit in brackets at the end",
        ("Both ends. [m]", "Both ends."): "summary: no unit in brackets at the end",
        ("PitError, ValueError", "PitErr"): "raises PitErr, unknown",
        ("    Returns\n    -------", "    Returns\n    ------"): "not as long as the word",
        ("    Returns\n    -------\n", "    Returns\n"): "section 'Returns' has no rule under it",
        ("    Returns\n    -------", "    Return\n    ------"): "'Return' is unknown",
        ('"""A full pit."""', "pass"): "PitError: no docstring",
        ('"""Area of its mouth. [m2]"""', "pass"): "Pit.area: no docstring",
    }
    for (good, bad), expected in spoilt.items():
        assert GOOD.count(good) == 1, good
        found = complaints_about(GOOD.replace(good, bad))
        assert any(expected in complaint for complaint in found), (bad, found)


def test_the_checker_sees_names_that_do_not_match():
    found = complaints_about(GOOD.replace("u: Array, *,", "u: Array, extra: str, *,"))
    assert "takes ['pit', 'u', 'extra', 'viscosity']" in found[0]
    found = complaints_about(GOOD.replace("    name: str\n", ""))
    assert "documents ['depth', 'name'], is made from ['depth']" in found[0]
    found = complaints_about(GOOD.replace("contains(self, x: Array)", "contains(self, y: Array)"))
    assert "Shape.contains: documents [], takes ['y']" in found[0]
    found = complaints_about(GOOD.replace("tuple[Array, float]", "tuple[Array, float, float]"))
    assert "documents 2 values" in found[0]
    found = complaints_about(GOOD.replace("tuple[Array, float]", "None"))
    assert "documents a return, has none" in found[0]
    found = complaints_about(GOOD.replace("@app.command()\n", ""))
    assert len(found) == 1
    assert "documents [], takes ['case', 'threshold']" in found[0]


def test_sections_out_of_order_are_seen():
    raises = GOOD[GOOD.index("    Raises\n") : GOOD.index("        The pit is full.\n") + 25]
    swapped = GOOD.replace(raises, "").replace("    Returns\n", f"{raises}\n    Returns\n")
    assert "sections are out of order" in complaints_about(swapped)[0]
