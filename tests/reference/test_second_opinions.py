"""Other libraries on our questions: elements, analytic elements, pipe formulas, real air.

Coarse and quick; `benchmarks/independent.py` does the same on fine meshes and prints it. All
expected values are computed here and now by the library named.
"""

import importlib.util
import math
import sys
from pathlib import Path

import fluids
import numpy as np
import pytest
from numpy.testing import assert_allclose

from soilflow.flow.analytic import flow_leaky_de_glee
from soilflow.layout.pipes import Pipe, pipe_loss

FOLDER = Path(__file__).parents[2] / "benchmarks"
RHO, MU = 1.204, 1.81e-5


def script(name):
    spec = importlib.util.spec_from_file_location(f"benchmark_{name}", FOLDER / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their own module up
    spec.loader.exec_module(module)
    return module


house, others = script("house_by_elements"), script("second_opinions")


def both(*, joint):
    """Two meshes of elements, two grids of ours."""
    return (
        [house.solve_skfem(n, joint=joint) for n in (1, 2)],
        [house.solve_soilflow(splits, joint=joint) for splits in (0, 1)],
    )


@pytest.fixture(scope="module")
def without_joint():
    return both(joint=False)


@pytest.fixture(scope="module")
def with_joint():
    return both(joint=True)


def least_eigenvalue(elements, volumes):
    """Of the difference of the port matrices, over the trace; all ports at one pressure left out.

    There both dissipate nothing: a row of the orthogonal complement of (1, 1, 1, 1) a direction.
    """
    directions = np.linalg.svd(np.ones((1, 4)))[2][1:]
    over = directions @ (elements.port_matrix - volumes.port_matrix) @ directions.T
    return np.linalg.eigvalsh(over)[0] / np.trace(elements.port_matrix)


def test_elements_and_cells_enclose_what_the_soil_dissipates(without_joint):
    """v'Yv from above and from below, for any pressures v at the ports and on any two meshes.

    Why both are bounds stands in `benchmarks/independent.py`.
    """
    elements, volumes = without_joint
    found = [least_eigenvalue(a, b) for a in elements for b in volumes]
    assert min(found) > 1e-3
    # and they close in on each other
    assert found[3] < 0.5 * found[0]


def test_the_bracket_would_notice_a_band_a_third_tighter(without_joint, monkeypatch):
    monkeypatch.setattr(house, "LOOSER", house.LOOSER / 1.5)
    assert least_eigenvalue(house.solve_skfem(2, joint=False), without_joint[1][1]) < -1e-3


def limits(answers, ratio, order):
    """From two meshes, the second finer by ``ratio``."""
    coarse, fine = (answer.values for answer in answers)
    return fine + (fine - coarse) / (ratio**order - 1.0)


@pytest.mark.parametrize("joint", [False, True])
def test_a_whole_house_against_elements(joint, request):
    """Taken to cell size zero, order 2 for smooth elements and 3/2 between the 4/3 of a flow at
    the edges of boxes and 2: flows within 3 %, pressures within 1 % of the deepest vacuum, and
    within 3 % at the last point, where the elements of these meshes are a metre wide.

    The slot is a strip of cells to the elements and a logarithm to us.
    """
    elements, volumes = request.getfixturevalue("with_joint" if joint else "without_joint")
    theirs, ours = limits(elements, 2.0, 2.0), limits(volumes, 2.0, 1.5)
    flow = [q.startswith("flow") for q in house.QUANTITIES]
    assert sum(flow) == 5
    assert_allclose(ours[flow], theirs[flow], rtol=0.03)
    apart = np.abs(ours - theirs)[np.logical_not(flow)] / 300.0
    assert (apart[:-1] < 0.01).all()
    assert apart[-1] < 0.03
    # a grid alone is farther off than that
    assert abs(volumes[0].values[2] / theirs[2] - 1.0) > 0.05


def test_the_joint_matters_to_the_comparison(with_joint, without_joint):
    """So that agreement with it is agreement about it: more than half of the room's air."""
    (_, fine), (_, bare) = with_joint[0], without_joint[0]
    room, joint = fine.values[0], fine.values[4]
    assert 0.5 < joint / room < 0.9
    assert room / bare.values[0] > 1.5


def test_four_pits_in_a_thin_leaky_layer():
    """TimML's wells, 5e-3 and 5e-4 of the largest flow; 0.3 % of the deepest vacuum.

    To TimML a well is a point. A pit among others takes more from one side than from the other:
    of order (r/d)^2 of the neighbours' pull, a few thousandths here.
    """
    flows, heads = others.wells_timml()
    ours, pressures = others.wells_soilflow()
    assert_allclose(ours, flows, rtol=5e-3, atol=5e-4 * flows.max())
    assert_allclose(pressures, heads, rtol=0.0, atol=3e-3 * 300.0)


def test_pits_in_that_layer_feel_each_other():
    """Alone each draws what de Glee says; together at least 5 % less, D two thirds less."""
    flows, _ = others.wells_timml()
    alone = np.array(
        [
            flow_leaky_de_glee(r, others.TRANSMISSIVITY, others.LEAKANCE, -p, others.MU)
            for _, _, r, p in others.WELLS.values()
        ]
    )
    assert (flows < 0.95 * alone).all()
    assert flows[3] < alone[3] / 3.0


def test_friction_against_other_correlations():
    """fluids: Churchill 1977, Haaland, Swamee and Jain 1976, Serghides: each states about 2 %."""
    found = others.compare_friction()
    turbulent = [band for name, band in found.items() if name.endswith("turbulent")]
    assert len(turbulent) == 8
    for band in turbulent:
        assert 0.98 < band["least"] < band["most"] < 1.02
        assert band["most"] > band["least"] + 1e-5  # another formula, not ours under its name
    for name, band in found.items():
        if name.endswith("laminar"):
            # Churchill's blend starts below 2300
            assert 1.0 - 1e-12 < band["least"] < 1.0 + 1e-6
            assert band["most"] < 1.12


def test_fittings_among_the_methods_of_another_package():
    """Within a third of the span of published methods; a tee's loss hangs on its shares."""
    found = others.compare_fittings()
    assert len(found) == 8
    for row in found.values():
        assert row["least"] / 1.33 <= row["ours"] <= row["most"] * 1.33
    for name in ("sharp 90 bend", "rounded 90 bend, r/D above 1", "rounded 90 bend, r/D below 1"):
        assert found[name]["least"] < found[name]["ours"] < found[name]["most"]


@pytest.mark.parametrize(("bore_inches", "cfm"), [(4.026, 100.0), (3.068, 60.0), (2.067, 25.0)])
def test_a_run_of_pipe_with_two_bends(bore_inches, cfm):
    """10 m with two sharp bends: Churchill's friction and Miller's bends, from fluids. 5 %."""
    bore, flow = bore_inches * 0.0254, cfm * 4.719474e-4
    pipe = Pipe(name="run", length=10.0, bore=bore, fittings=("sharp 90 bend",) * 2)
    speed = flow / (math.pi / 4.0 * bore**2)
    reynolds = RHO * speed * bore / MU
    straight = fluids.one_phase_dP(
        flow * RHO, RHO, MU, bore, pipe.roughness, L=10.0, Method="Churchill_1977"
    )
    bend = fluids.bend_miter(
        90.0, Di=bore, Re=reynolds, roughness=1.5e-6, L_unimpeded=20.0 * bore, method="Miller"
    )
    theirs = straight + fluids.dP_from_K(2.0 * bend, RHO, speed)
    assert_allclose(pipe_loss(pipe, flow, density=RHO, viscosity=MU), theirs, rtol=0.05)
    # friction and bends both count
    assert 0.2 < straight / theirs < 0.9


def test_air_from_cold_to_hot_and_up_to_3000_m():
    """CoolProp: dry 0.5 % and 0.1 %; saturated up to 24 C 0.8 % and 1.3 %, as ours is dry."""
    worst = others.compare_air()
    assert 1e-3 < worst["viscosity, dry"] < 5e-3
    assert 1e-4 < worst["density, dry"] < 1e-3
    assert worst["viscosity, dry"] < worst["viscosity, wet"] < 8e-3
    assert worst["density, dry"] < worst["density, wet"] < 1.3e-2
