"""Imports point one way only, and heavy packages stay in their rooms."""

from read_source import PACKAGE, Import, Module, imports_of, read_modules

# From the bottom up: a module may import from the groups above it in this text, and from its
# own group as long as nothing runs in a circle.
LAYERS = """
    bounds, errors, plain_text, unit_tables, quantity_text, units, data
    air, soil, conditions, house_leakage
    site
    layout
    flow
    port_elimination, operating_point
    results
    case, contrast, baseline, memory, grids, operate, run, engines
    studies
    files, output
    cli, __main__
"""
LEVEL = {
    room.strip(): level
    for level, line in enumerate(LAYERS.strip().splitlines())
    for room in line.split(",")
}
ONLY_IN = {
    "fipy": ("soilflow.flow.fipy_engine",),
    "distributed": ("soilflow.studies.workforce",),
    "h5py": (
        "soilflow.files.result_hdf5",
        "soilflow.files.result_views",
        "soilflow.files.unknown_soil_hdf5",
    ),
    "matplotlib": ("soilflow.output",),
    "pydantic": ("soilflow.units", "soilflow.files"),
    "pydantic_core": ("soilflow.units", "soilflow.files"),
    "xarray": ("soilflow.results.dataset",),
}
# Rooms that see less than their layer would allow, and why.
MAY_SEE = {
    # it needs a port matrix, not the soil behind it
    "soilflow.operating_point": ("errors", "units", "air", "layout", "port_elimination"),
    # the flow knows the five mechanisms and held bodies, and no trade noun
    "soilflow.flow": ("bounds", "errors", "flow", "site.effects", "layout.bodies"),
}
# Cells of the checking engine come from the soil map alone; single leak formulas may be shared.
NETWORK_NAMES = ("SoilNetwork", "build_soil_network")


def module_of(item: Import, known: set[str]) -> str:
    """The module an import lands in: ``from a import b`` may mean the module ``a.b``."""
    inner = f"{item.target}.{item.name}"
    return inner if inner in known else item.target


def inside(name: str, room: str) -> bool:
    return name == room or name.startswith(f"{room}.")


def layer_complaints(modules: list[Module]) -> list[str]:
    """Every import inside the library that does not point down the list."""
    known = {module.name for module in modules}
    found = [
        f"{m.name}: {m.room!r} is not in the list of layers"
        for m in modules
        if m.room and m.room not in LEVEL
    ]
    for module in modules:
        if module.name == PACKAGE or module.room not in LEVEL:
            continue
        for item in imports_of(module):
            target = module_of(item, known)
            if not inside(target, PACKAGE):
                continue
            where = f"{module.name}:{item.line} imports {target}"
            room = target.removeprefix(PACKAGE).removeprefix(".").split(".")[0]
            if not room:
                found.append(f"{where}, the front door")
            elif LEVEL.get(room, len(LEVEL)) > LEVEL[module.room]:
                found.append(f"{where}, which lies above it")
    return found


def circle_complaints(modules: list[Module]) -> list[str]:
    """Modules that import one another, directly or by way of others."""
    known = {module.name for module in modules} - {PACKAGE}
    graph = {
        m.name: {module_of(i, known) for i in imports_of(m)} & known - {m.name}
        for m in modules
        if m.name in known
    }
    for name in sorted(graph):
        reached, fresh = set(), set(graph[name])
        while fresh:
            reached |= fresh
            fresh = set().union(*(graph[n] for n in fresh)) - reached
        if name in reached:
            return [f"{name} imports itself by way of {', '.join(sorted(reached))}"]
    return []


def package_complaints(modules: list[Module]) -> list[str]:
    """Heavy packages outside their rooms; for type checking alone they may be named anywhere."""
    found = []
    for module in modules:
        for item in imports_of(module):
            rooms = ONLY_IN.get(item.target.split(".")[0], ("",))
            allowed = rooms == ("",) or any(inside(module.name, room) for room in rooms)
            if not allowed and not item.typing_only:
                found.append(f"{module.name}:{item.line} imports {item.target}")
    return found


def narrow_complaints(modules: list[Module]) -> list[str]:
    """Rooms that see more than they may, and the checking engine looking at the network."""
    known = {module.name for module in modules}
    found = []
    for module in modules:
        for item in imports_of(module):
            target = module_of(item, known)
            for room, seen in MAY_SEE.items():
                allowed = any(inside(target, f"{PACKAGE}.{part}") for part in seen)
                if inside(module.name, room) and inside(target, PACKAGE) and not allowed:
                    found.append(f"{module.name}:{item.line} imports {target}")
            if module.name.startswith("soilflow.flow.fipy") and item.name in NETWORK_NAMES:
                found.append(f"{module.name}:{item.line} imports {item.name}")
    return found


def complaints(modules: list[Module]) -> list[str]:
    return [
        *layer_complaints(modules),
        *circle_complaints(modules),
        *package_complaints(modules),
        *narrow_complaints(modules),
    ]


def test_imports_point_down_the_list():
    assert layer_complaints(read_modules()) == []


def test_no_module_imports_itself_by_way_of_others():
    assert circle_complaints(read_modules()) == []


def test_heavy_packages_stay_in_their_rooms():
    assert package_complaints(read_modules()) == []


def test_the_flow_knows_no_trade_noun_and_the_checking_engine_no_network():
    assert narrow_complaints(read_modules()) == []


def made_up(**texts):
    """Modules by name, ``__`` standing for the dot."""
    return [Module(name=f"{PACKAGE}.{n.replace('__', '.')}", text=t) for n, t in texts.items()]


def test_the_checker_sees_an_import_that_points_up():
    good = made_up(air="from soilflow.units import Length", units="")
    assert complaints(good) == []
    [found] = complaints(made_up(air="def f():\n    from soilflow.case import Case"))
    assert found == "soilflow.air:2 imports soilflow.case, which lies above it"
    assert complaints(made_up(site__slab="from ..layout import layout"))
    assert complaints(
        made_up(
            air="from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n"
            "    from soilflow.run import run_layout"
        )
    )
    assert complaints(made_up(air="from soilflow import Case"))
    assert complaints(made_up(air='import importlib\nimportlib.import_module("soilflow.cli")'))
    assert complaints(made_up(kitchen=""))


def test_the_checker_sees_a_circle():
    pair = made_up(files__a="from soilflow.output import b", output__b="import soilflow.files.a")
    assert layer_complaints(pair) == []
    assert "imports itself" in circle_complaints(pair)[0]


def test_the_checker_sees_a_heavy_package_out_of_its_room():
    typing_only = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import h5py"
    assert complaints(made_up(output__plan="import matplotlib.path", results__x=typing_only)) == []
    for text in (
        "import fipy",
        "from h5py import File",
        "import matplotlib as m",
        "from pydantic import BaseModel",
        '__import__("fipy")',
    ):
        assert len(package_complaints(made_up(results__x=text))) == 1
    assert package_complaints(made_up(flow__fipy_engine_two="import fipy"))


def test_the_checker_sees_a_trade_noun_in_the_flow():
    assert narrow_complaints(made_up(flow__grid="from soilflow.site.effects import Blocks")) == []
    assert narrow_complaints(made_up(flow__grid="from soilflow.site.slab import Slab"))
    assert narrow_complaints(made_up(operating_point="from soilflow.flow.grid import Grid"))
    network = "from soilflow.flow.soil_network import SoilNetwork"
    assert narrow_complaints(made_up(flow__fipy_cells=network))
