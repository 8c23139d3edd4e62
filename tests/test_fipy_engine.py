"""The FiPy engine: exact one-dimensional cases, agreement with the network, and its refusals."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import box

from soilflow.errors import (
    BalanceError,
    ConvergenceError,
    InputError,
    SoilflowError,
    SoilflowWarning,
)
from soilflow.flow import fipy_cells, fipy_engine
from soilflow.flow.fipy_engine import MOST_CELLS, respond_fipy
from soilflow.flow.grid import Grid, Resolution, grid_for
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import Brick, HeldBody
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site.effects import (
    OUTDOORS,
    CarriesAlongSheet,
    LeaksOverArea,
    MultipliesPermeability,
    Prism,
    SetsPermeability,
)
from soilflow.site.footings import FootingOpening, InteriorFooting
from soilflow.site.ground import Ground, SettledGap, SoilLayer
from soilflow.site.leaks import FloorWallJoint
from soilflow.site.moisture import MoistZone
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand

MU = 1.81e-5
VACUUMS = {"west": 500.0, "east": 300.0}
L_FLOOR = ((0, 0), (8, 0), (8, 4), (4.4, 4), (4.4, 6.5), (0, 6.5))
BOX = BoxPit(length=0.5, width=0.4, depth=0.3)
ROUGH = Resolution(
    name="rough",
    cells_per_radius=1.0,
    line_size=0.3,
    growth=4.0,
    largest_inside=1.2,
    largest_outside=4.0,
    largest_down=2.5,
)
LAYERS = (SoilLayer(permeability=5e-12), SoilLayer(permeability=1e-12, top=1.0))
LAYERED_FLAT = (
    SoilLayer(permeability=5e-12, vertical=1e-12),
    SoilLayer(permeability=1e-11, vertical=5e-13, top=1.0),
    SoilLayer(permeability=1e-13, top=2.5),
)
WEST_GAP = SettledGap(
    name="west gap",
    aperture=1e-3,
    aperture_at_edge=2e-4,
    taper=0.8,
    corners=((1, 1), (5, 1), (5, 3.3), (1, 3.3)),
)


# Across the gap and between the pits: one with body, one a plane, each with doors in it
BEARING = (
    InteriorFooting(
        name="bearing",
        points=((3.2, 0.0), (3.2, 6.5)),
        depth=0.5,
        thickness=0.3,
        openings=(FootingOpening(start=2.0, length=0.9), FootingOpening(start=5.0, length=0.7)),
    ),
    InteriorFooting(
        name="spur",
        points=((3.2, 1.7), (5.6, 1.7)),
        depth=0.35,
        openings=(FootingOpening(start=0.9, length=0.6),),
    ),
)


def moist(multiplier):
    corners = ((3, 0), (7.5, 0), (7.5, 3), (3, 3))
    return (MoistZone(name="wet", corners=corners, multiplier=multiplier, bottom=1.0),)


def house(
    *,
    grade=0.0,
    thickness=0.25,
    layers=LAYERS,
    gaps=(),
    zones=(),
    backfill=None,
    pit=BOX,
    footings=(),
):
    """An L-shaped floor with band, footing, joint, leaking slab, open ground and two pits."""
    site = Site(
        slab=Slab(corners=L_FLOOR, thickness=0.1, permeability=1e-14),
        walls=FoundationWalls(thickness=thickness, footing_depth=0.4, grade=grade),
        ground=Ground(layers=layers, bottom=5.0),
        bands=(PerimeterBand(width=0.5, depth=0.8, looser_by=15.0),),
        backfill=backfill,
        moist_zones=zones,
        footings=footings,
        gaps=gaps,
        joints=(FloorWallJoint(aperture=3e-4),),
    )
    points = (
        SuctionPoint(name="west", x=2.0, y=1.5, pit=pit, vacuum=500.0),
        SuctionPoint(name="east", x=6.5, y=0.3, pit=pit, vacuum=300.0),
    )
    held = Layout(name="two pits", points=points).held_bodies(site.slab.polygon)
    effects = site.effects()
    return build_soil_map(grid_for(effects, held, ROUGH), effects, held)


def pressures(ports, unit_fields):
    """Pressures with both pits on and the outdoors 3 Pa above the room. [Pa]"""
    at = [-VACUUMS[p] if p in VACUUMS else 3.0 * (p == OUTDOORS) for p in ports]
    return np.tensordot(at, unit_fields, axes=1)


def both(soil):
    """Pressure in soil and gap and the port matrix, from the network and from FiPy."""
    network = build_soil_network(soil, MU)
    ours, fipys = respond(network), respond_fipy(soil, MU)
    soil_fields = np.where(network.cell_node >= 0, ours.unit_fields[:, network.cell_node], np.nan)
    gap_fields = np.where(network.sheet_node >= 0, ours.unit_fields[:, network.sheet_node], np.nan)
    ports = soil.ports
    return (
        (pressures(ports, soil_fields), pressures(ports, gap_fields), ours.port_matrix),
        (
            pressures(ports, fipys.unit_fields),
            pressures(ports, fipys.gap_fields),
            fipys.port_matrix,
        ),
    )


CASES = {
    "no gap": {},
    "whole-floor gap": {"gaps": (SettledGap(name="gap", aperture=5e-4),)},
    "grade 2 m above the slab": {
        "grade": 2.0,
        "backfill": ExteriorBackfill(width=0.8, looser_by=6.0),
    },
    "part gap, thin walls, grade 2 m": {"grade": 2.0, "thickness": 0.0, "gaps": (WEST_GAP,)},
    "flat-lying layers, moist zone": {"layers": LAYERED_FLAT, "zones": moist(0.05)},
    "east pit in a saturated zone, gap": {"zones": moist(0.0), "gaps": (WEST_GAP,)},
    "gap broken by footings with openings": {"gaps": (WEST_GAP,), "footings": BEARING},
}


@pytest.mark.parametrize("features", CASES.values(), ids=CASES.keys())
def test_agrees_with_the_network(features):
    """Same faces, same leaks, other code and solver: 1e-6 of the vacuum, 1e-6 of each flow."""
    soil = house(**features)
    assert 5_000 < soil.grid.cells < 60_000
    (p_ours, gap_ours, y_ours), (p_fipy, gap_fipy, y_fipy) = both(soil)
    tolerance = 1e-6 * max(VACUUMS.values())
    assert np.isfinite(p_ours).sum() > 5_000
    assert_allclose(p_fipy, p_ours, rtol=0.0, atol=tolerance, equal_nan=True)
    assert np.isfinite(gap_ours).any() == bool(features.get("gaps"))
    assert_allclose(gap_fipy, gap_ours, rtol=0.0, atol=tolerance, equal_nan=True)
    assert_allclose(y_fipy, y_ours, rtol=1e-6, atol=0.0)


def test_those_footings_do_break_the_gap():
    """Over the footing there is a gap only in its door, and the pits feel each other less."""
    whole, broken = (house(gaps=(WEST_GAP,), footings=f) for f in ((), BEARING))
    middle = np.searchsorted(broken.grid.x, 3.2) - 1
    y = broken.grid.centres(1)
    sheet = broken.sheet[middle, (y > 1.0) & (y < 3.3)]
    in_door = (y > 2.0) & (y < 2.9)
    assert (sheet > 0.0).sum() == in_door.sum() < sheet.size
    network = build_soil_network(whole, MU), build_soil_network(broken, MU)
    west, east = (whole.ports.index(port) for port in VACUUMS)
    free, parted = (-respond(n).port_matrix[west, east] for n in network)
    assert 0.0 < parted < 0.9 * free


def test_agreement_would_notice_half_a_per_cent_in_one_layer():
    """The comparison above must fail when one engine gets slightly other soil."""
    softer = (SoilLayer(permeability=5e-12), SoilLayer(permeability=1.005e-12, top=1.0))
    ours = respond(build_soil_network(house(), MU)).port_matrix
    fipys = respond_fipy(house(layers=softer), MU).port_matrix
    assert np.abs(fipys / ours - 1.0).max() > 1e-4


def test_fipy_alone_keeps_the_invariants():
    """Partition of unity, reciprocity, rows summing to zero, maximum principle."""
    response = respond_fipy(house(gaps=(WEST_GAP,)), MU)
    for fields in (response.unit_fields, response.gap_fields):
        inside = fields[:, np.isfinite(fields[0])]
        assert_allclose(inside.sum(axis=0), 1.0, rtol=0.0, atol=1e-8)
        assert inside.min() > -1e-9
        assert inside.max() < 1.0 + 1e-9
    y = response.port_matrix
    assert_allclose(y, y.T, rtol=1e-7)
    assert np.abs(y.sum(axis=1)).max() <= 1e-8 * y.diagonal().min()
    assert response.balance <= 1e-8
    assert response.iterations > 0
    assert "4 ports" in repr(response)


def column(z, effects, low, high, *, x=(0.0, 0.6, 1.4), y=(0.0, 1.0)):
    grid = Grid(x=np.array(x), y=np.array(y), z=np.array(z))
    held = [
        HeldBody(port=f"body {i}", body=Brick(low=a, high=b))
        for i, (a, b) in enumerate(zip(low, high, strict=True))
    ]
    return build_soil_map(grid, effects, held)


EVERYWHERE = box(-1e4, -1e4, 1e4, 1e4)


def test_layers_in_series_are_exact():
    """Open ground over 1.2 m at kz = 2e-13 and 0.8 m at 3e-12, then a held floor.

    One-dimensional: A / (mu (1.2 / 2e-13 + 0.8 / 3e-12)), whatever the cells.
    """
    effects = (
        SetsPermeability(
            where=Prism(plan=EVERYWHERE, top=0.0, bottom=1.2), horizontal=7e-12, vertical=2e-13
        ),
        SetsPermeability(
            where=Prism(plan=EVERYWHERE, top=1.2, bottom=2.5), horizontal=1e-12, vertical=3e-12
        ),
        LeaksOverArea(plan=EVERYWHERE, depth=0.0, leakance=np.inf, reference=OUTDOORS),
    )
    soil = column(
        (0.0, 0.1, 0.5, 1.2, 1.9, 2.0, 2.5), effects, [(-1.0, -1.0, 2.0)], [(2.0, 2.0, 2.5)]
    )
    response = respond_fipy(soil, MU)
    expected = 1.4 / (MU * (1.2 / 2e-13 + 0.8 / 3e-12))
    assert response.ports == (OUTDOORS, "body 0")
    assert_allclose(response.port_matrix, expected * np.array([[1, -1], [-1, 1]]), rtol=1e-8)
    # pressure falls in proportion to resistance: at the centre of the cell from 0.5 to 1.2 m
    whole = 1.2 / 2e-13 + 0.8 / 3e-12
    assert_allclose(response.unit_fields[0, :, :, 2], 1 - 0.85 / 2e-13 / whole, rtol=1e-8)
    assert np.isnan(response.unit_fields[0, :, :, 5]).all()


def test_gap_beside_soil_is_exact():
    """A gap of 4e-11 m3 over 1 m of soil at 2e-11 m2 between two trenches 2.5 m apart.

    Pressure is linear in both, so nothing crosses: width (T + k depth) / (mu length).
    """
    effects = (
        SetsPermeability(
            where=Prism(plan=EVERYWHERE, top=0.0, bottom=1.0), horizontal=2e-11, vertical=3e-12
        ),
        CarriesAlongSheet(plan=EVERYWHERE, transmissivity=lambda x, y: np.full(x.shape, 4e-11)),
    )
    soil = column(
        (0.0, 0.3, 1.0),
        effects,
        [(-1.0, -1.0, -1.0), (3.0, -1.0, -1.0)],
        [(0.5, 2.0, 2.0), (4.0, 2.0, 2.0)],
        x=(0.0, 0.5, 0.8, 1.7, 3.0, 4.0),
        y=(0.0, 0.4, 1.5),
    )
    response = respond_fipy(soil, MU)
    expected = 1.5 * (4e-11 + 2e-11 * 1.0) / (MU * 2.5)
    assert_allclose(response.port_matrix, expected * np.array([[1, -1], [-1, 1]]), rtol=1e-8)
    # cell centres at 0.65, 1.25 and 2.35 m
    falls = np.array([1 - 0.15 / 2.5, 1 - 0.75 / 2.5, 1 - 1.85 / 2.5])
    assert_allclose(response.gap_fields[0, 1:4, 0], falls, rtol=1e-8)
    assert np.isnan(response.gap_fields[:, [0, 4]]).all()


def test_saturated_slab_leaves_only_what_leaks_straight_into_the_pits():
    """With no air in any soil the slab over each pit still leaks into it: k A / (mu t)."""
    effects = (
        SetsPermeability(
            where=Prism(plan=EVERYWHERE, top=0.0, bottom=1.0), horizontal=1e-12, vertical=1e-12
        ),
        MultipliesPermeability(where=Prism(plan=EVERYWHERE, top=0.0, bottom=1.0), factor=0.0),
        LeaksOverArea(plan=box(0, 0, 3, 2), depth=0.0, leakance=1e-15, reference="house"),
    )
    soil = column(
        (0.0, 0.5, 1.0),
        effects,
        [(1.0, 0.5, 0.0)],
        [(2.0, 1.5, 0.5)],
        x=(0.0, 1.0, 2.0, 3.0),
        y=(0.0, 0.5, 1.5, 2.0),
    )
    response = respond_fipy(soil, MU)
    assert np.isnan(response.unit_fields).all()
    assert_allclose(response.port_matrix, 1e-15 / MU * np.array([[1, -1], [-1, 1]]), rtol=1e-12)


def test_bowls_warn_and_come_within_a_few_per_cent():
    """A bowl is a staircase of cells to FiPy; the network knows its true surface."""
    soil = house(pit=HemisphericalPit(volume=0.04))
    ours = respond(build_soil_network(soil, MU)).port_matrix.diagonal()
    with pytest.warns(SoilflowWarning, match="staircase"):
        fipys = respond_fipy(soil, MU).port_matrix.diagonal()
    assert_allclose(fipys, ours, rtol=0.06)
    assert np.abs(fipys / ours - 1.0).max() > 1e-3


def test_a_box_between_grid_lines_warns():
    effects = (
        SetsPermeability(
            where=Prism(plan=EVERYWHERE, top=0.0, bottom=1.0), horizontal=1e-12, vertical=1e-12
        ),
    )
    soil = column((0.0, 0.5, 1.0), effects, [(-1.0, -1.0, 0.4)], [(2.0, 2.0, 1.0)])
    with pytest.warns(SoilflowWarning, match='"body 0" as a staircase'):
        respond_fipy(soil, MU)


def test_too_many_cells_are_refused_with_what_would_fit():
    """52 x 51 x 40 = 106 080 cells, so cells 1.02 times the cube root of 1.0608 larger."""
    effects = (
        SetsPermeability(
            where=Prism(plan=EVERYWHERE, top=0.0, bottom=4.0), horizontal=1e-12, vertical=1e-12
        ),
    )
    grid = Grid(x=np.linspace(0, 5.2, 53), y=np.linspace(0, 5.1, 52), z=np.linspace(0, 4, 41))
    soil = build_soil_map(grid, effects, [])
    with pytest.raises(InputError, match=r"106080; cells 1\.04 times larger.*0\.104 m") as caught:
        respond_fipy(soil, MU)
    assert str(MOST_CELLS) in str(caught.value)


def test_an_unfinished_solve_raises(monkeypatch):
    """FiPy itself would warn and hand back what it has."""
    monkeypatch.setattr(fipy_engine, "_MOST_ITERATIONS", 2)
    with pytest.raises(ConvergenceError) as caught:
        respond_fipy(house(), MU)
    assert caught.value.reached > caught.value.wanted
    assert caught.value.iterations == 2


@pytest.mark.parametrize(("residual", "error"), [(1.0, BalanceError), (1e-10, ConvergenceError)])
def test_a_loose_solve_raises(monkeypatch, residual, error):
    """Solved to 1e-2 only, the flows miss 1e-8; the residual is checked before them."""
    monkeypatch.setattr(fipy_engine, "_TOLERANCES", (1e-2,))
    monkeypatch.setattr(fipy_engine, "_RESIDUAL", residual)
    with pytest.raises(error) as caught:
        respond_fipy(house(), MU)
    assert caught.value.reached > caught.value.wanted


def run(code, *arguments, **environment):
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=Path(__file__).parents[1],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_importing_the_engine_loads_no_fipy_and_reads_no_command_line():
    code = (
        "import sys; del sys.argv; import soilflow.flow.fipy_engine; "
        "print('fipy' in sys.modules, 'matplotlib' in sys.modules)"
    )
    assert run(code).split() == ["False", "False"]


def test_fipy_sees_neither_the_command_line_nor_another_suite():
    """FiPy would obey --petsc and fail on a suite that is not there."""
    code = (
        "import os, sys; from soilflow.flow.fipy_engine import load_fipy; "
        "print(load_fipy().solvers.solver_suite, sys.argv[1:], os.environ['FIPY_SOLVERS'])"
    )
    assert run(code, "--petsc", FIPY_SOLVERS="petsc").split() == ["scipy", "['--petsc']", "petsc"]


def test_another_suite_loaded_before_is_refused(monkeypatch):
    fipy = fipy_engine.load_fipy()
    monkeypatch.setattr(fipy.solvers, "solver_suite", "petsc")
    with pytest.raises(SoilflowError, match="FIPY_SOLVERS=scipy"):
        respond_fipy(house(), MU)


def test_a_fipy_that_cannot_be_imported_is_one_clear_error(monkeypatch):
    argv = sys.argv
    monkeypatch.setitem(sys.modules, "fipy", None)  # makes the import fail
    monkeypatch.delenv("FIPY_SOLVERS", raising=False)
    with pytest.raises(SoilflowError, match="mpi4py"):
        respond_fipy(house(), MU)
    assert sys.argv is argv
    assert "FIPY_SOLVERS" not in os.environ


ONLY_FORMULAS = {"area_conductance", "slot_legs", "star_to_triangle"}


def taken_from_the_network(source):
    """Names a module takes from the network and its solver, modules as a whole included."""
    taken = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module in (
            "soilflow.flow.conductances",
            "soilflow.flow.soil_network",
            "soilflow.flow.response",
        ):
            taken |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module == "soilflow.flow":
            taken |= {name.name for name in node.names} & {"soil_network", "response"}
        elif isinstance(node, ast.Import):
            taken |= {name.name for name in node.names if "soilflow" in name.name}
    return taken


def test_the_engine_shares_only_leak_formulas_with_the_network():
    sources = [Path(m.__file__).read_text(encoding="utf-8") for m in (fipy_engine, fipy_cells)]
    assert set().union(*map(taken_from_the_network, sources)) == ONLY_FORMULAS
    bad = "from soilflow.flow.soil_network import build_soil_network"
    assert not taken_from_the_network(bad) <= ONLY_FORMULAS
