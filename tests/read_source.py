"""The library's own source as syntax trees, for the tests that check how it is written."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

PACKAGE = "soilflow"
SOURCE = Path(__file__).parents[1] / PACKAGE


@dataclass(frozen=True, kw_only=True)
class Module:
    """One file of the library."""

    name: str
    text: str
    is_package: bool = False

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text)

    @property
    def room(self) -> str:
        """First part of the name below the library's own; empty for the front door."""
        return self.name.removeprefix(PACKAGE).removeprefix(".").split(".")[0]


@dataclass(frozen=True, kw_only=True)
class Import:
    """One imported name, with the module that it was asked from."""

    target: str
    name: str
    line: int
    typing_only: bool


@dataclass(frozen=True, kw_only=True)
class Routine:
    """A public function or method."""

    module: str
    name: str
    node: ast.FunctionDef
    owner: ast.ClassDef | None = None

    @property
    def is_property(self) -> bool:
        words = {ast.unparse(d).split(".")[-1] for d in self.node.decorator_list}
        return bool(words & {"property", "cached_property"})

    @property
    def parameters(self) -> dict[str, ast.expr | None]:
        """Annotation by name, without ``self`` and ``cls``, stars stripped."""
        a = self.node.args
        found = [*a.posonlyargs, *a.args, *filter(None, [a.vararg]), *a.kwonlyargs]
        found += filter(None, [a.kwarg])
        static = any(ast.unparse(d) == "staticmethod" for d in self.node.decorator_list)
        skip = 1 if self.owner is not None and not static else 0
        return {arg.arg: arg.annotation for arg in found[skip:]}


@dataclass(frozen=True, kw_only=True)
class Noun:
    """A public class."""

    module: str
    name: str
    node: ast.ClassDef

    @property
    def is_protocol(self) -> bool:
        return any(ast.unparse(base).split("[")[0] == "Protocol" for base in self.node.bases)

    @property
    def made_from(self) -> dict[str, ast.expr | None]:
        """What its constructor takes: the arguments of ``__init__``, else the fields."""
        for item in self.node.body:
            if isinstance(item, ast.FunctionDef) and item.name == "__init__":
                made = Routine(module=self.module, name="", node=item, owner=self.node)
                return made.parameters
        bases = {ast.unparse(base).split(".")[-1] for base in self.node.bases}
        marks = {ast.unparse(d).split("(")[0].split(".")[-1] for d in self.node.decorator_list}
        if "dataclass" not in marks and not bases & {"NamedTuple", "BaseModel", "TypedDict"}:
            return {}
        return {
            item.target.id: item.annotation
            for item in self.node.body
            if isinstance(item, ast.AnnAssign)
            and isinstance(item.target, ast.Name)
            and not item.target.id.startswith("_")
            and "ClassVar" not in ast.unparse(item.annotation)
            and "init=False" not in (ast.unparse(item.value) if item.value else "")
        }


def read_modules(folder: Path = SOURCE) -> list[Module]:
    """Every module below a folder, which must not be empty."""
    paths = sorted(folder.rglob("*.py"))
    assert len(paths) > 20, f"{len(paths)} modules under {folder}: the library is not there"
    return [_module(path, folder) for path in paths]


def _module(path: Path, folder: Path) -> Module:
    parts = [PACKAGE, *path.relative_to(folder).with_suffix("").parts]
    is_package = parts[-1] == "__init__"
    name = ".".join(parts[:-1] if is_package else parts)
    return Module(name=name, text=path.read_text(encoding="utf-8"), is_package=is_package)


def imports_of(module: Module) -> Iterator[Import]:
    """Imports anywhere in a module, inside functions and for type checking included."""
    yield from _imports(module, module.tree, typing_only=False)


def _imports(module: Module, node: ast.AST, *, typing_only: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import):
            for alias in child.names:
                yield Import(target=alias.name, name="", line=child.lineno, typing_only=typing_only)
        elif isinstance(child, ast.ImportFrom):
            target = _absolute(module, child)
            for alias in child.names:
                yield Import(
                    target=target, name=alias.name, line=child.lineno, typing_only=typing_only
                )
        elif isinstance(child, ast.Call) and _imports_by_name(child):
            target = ast.literal_eval(child.args[0])
            yield Import(target=target, name="", line=child.lineno, typing_only=typing_only)
        if isinstance(child, ast.If) and ast.unparse(child.test).endswith("TYPE_CHECKING"):
            for part in child.body:
                yield from _imports(module, ast.Module([part], []), typing_only=True)
            for part in child.orelse:
                yield from _imports(module, ast.Module([part], []), typing_only=typing_only)
        else:
            yield from _imports(module, child, typing_only=typing_only)


def _imports_by_name(call: ast.Call) -> bool:
    called = ast.unparse(call.func).split(".")[-1] in ("import_module", "__import__")
    return called and bool(call.args) and isinstance(call.args[0], ast.Constant)


def _absolute(module: Module, node: ast.ImportFrom) -> str:
    if node.level == 0:
        return node.module or ""
    parts = module.name.split(".")
    base = parts[: len(parts) - node.level + (1 if module.is_package else 0)]
    return ".".join([*base, *(node.module.split(".") if node.module else [])])


def public_classes(module: Module) -> Iterator[Noun]:
    """Public classes at the top of a module."""
    for node in module.tree.body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield Noun(module=module.name, name=node.name, node=node)


def public_routines(module: Module) -> Iterator[Routine]:
    """Public functions of a module, then public methods of its public classes."""
    for node in module.tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield Routine(module=module.name, name=node.name, node=node)
    for noun in public_classes(module):
        for item in noun.node.body:
            if isinstance(item, ast.FunctionDef) and not item.name.startswith("_"):
                name = f"{noun.name}.{item.name}"
                yield Routine(module=module.name, name=name, node=item, owner=noun.node)


class Annotations:
    """Tells quantities and arrays from other things, through the aliases the library uses."""

    def __init__(self, modules: list[Module]) -> None:
        self._shared: dict[str, ast.expr] = {}
        self._own: dict[tuple[str, str], ast.expr] = {}
        for module in modules:
            for node in module.tree.body:
                if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                    alias = node.targets[0].id
                    self._own[module.name, alias] = node.value
                    self._shared[alias] = node.value

    def is_quantity(self, annotation: ast.expr | None, module: str) -> bool:
        """Whether floats can be in it, also inside containers; a callable holds none."""
        return self._holds(annotation, module, {"float", "float64", "ArrayLike", "ndarray"}, ())

    def is_array(self, annotation: ast.expr | None, module: str) -> bool:
        """Whether it is an array of floats, or None in its place."""
        if isinstance(annotation, ast.BinOp):
            sides = (annotation.left, annotation.right)
            return any(self.is_array(side, module) for side in sides)
        if isinstance(annotation, ast.Name) and (alias := self._alias(annotation.id, module)):
            # a TypeVar of float and array stands for "element by element, of any one shape"
            return not isinstance(alias, ast.Call) and self.is_array(alias, module)
        if isinstance(annotation, ast.Subscript):
            head = ast.unparse(annotation.value).split(".")[-1]
            return head == "NDArray" and self.is_quantity(annotation, module)
        return annotation is not None and ast.unparse(annotation).split(".")[-1] in (
            "ArrayLike",
            "ndarray",
        )

    def _alias(self, name: str, module: str) -> ast.expr | None:
        found = self._own.get((module, name), self._shared.get(name))
        return found if isinstance(found, ast.Subscript | ast.BinOp | ast.Call) else None

    def _holds(
        self, node: ast.expr | None, module: str, words: set[str], seen: tuple[str, ...]
    ) -> bool:
        if node is None:
            return False
        if isinstance(node, ast.Subscript):
            head = ast.unparse(node.value).split(".")[-1]
            if head in ("Callable", "Literal", "type"):
                return False
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            try:
                node = ast.parse(node.value, mode="eval").body
            except SyntaxError:
                return False
        if isinstance(node, ast.Attribute):
            return node.attr in words
        if isinstance(node, ast.Name):
            alias = None if node.id in seen else self._alias(node.id, module)
            return node.id in words or self._holds(alias, module, words, (*seen, node.id))
        return any(
            self._holds(child, module, words, seen)
            for child in ast.iter_child_nodes(node)
            if isinstance(child, ast.expr)
        )
