"""Pictures: what is on them, and that they touch nothing global."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib import colormaps, rcParams
from matplotlib.collections import QuadMesh
from matplotlib.patches import Rectangle
from test_house import house, run

from soilflow.output.pictures import save_check_figure, save_run_figures
from soilflow.output.plan import FEET, METRES, PIT
from soilflow.output.pressure_figure import plot_pressure_plan
from soilflow.output.soil_figure import plot_soil_plan, plot_soil_section


@pytest.fixture(scope="module")
def result():
    return run(house(), 3.65)[2]


def bold(ax):
    return [c for c in ax.collections if np.max(c.get_linewidths(), initial=0.0) >= 3.0]


def test_pass_line_is_the_one_bold_contour(result):
    ax = plot_pressure_plan(result, condition="design_winter")
    assert not result.conditions["design_winter"].passes
    assert len(bold(ax)) == 1
    assert "fails the pass line" in ax.get_title()


def test_no_bold_line_where_the_floor_passes():
    strong = run(house(band=False), 3.65)[2]
    lifted = strong.conditions["design_winter"]
    lifted.floor.pressure[...] -= 50.0  # a copy made for this test alone
    ax = plot_pressure_plan(strong, condition="design_winter")
    assert bold(ax) == []


def test_plans_are_true_to_scale_in_feet_or_metres(result):
    sizes = {}
    for unit in (FEET, METRES):
        ax = plot_pressure_plan(result, condition="design_winter", unit=unit)
        assert ax.get_aspect() == 1.0
        assert f"[{unit.name}]" in ax.get_xlabel()
        sizes[unit.name] = np.ptp(ax.get_xlim())
        pits = [p for p in ax.patches if p.get_gid() == PIT]
        assert len(pits) == 1
        across = pits[0].get_path().get_extents().width
        assert 0.5 * across * unit.metres == pytest.approx(0.2624, abs=1e-3)
    assert sizes["m"] / sizes["ft"] == pytest.approx(0.3048, rel=1e-9)


def test_a_pit_cut_by_a_wall_is_drawn_as_it_is_solved():
    near = run(house(), 0.2)[2]
    floor = near.site.slab.polygon.bounds
    ax = plot_pressure_plan(near, condition="design_winter", unit=METRES)
    (pit,) = (p for p in ax.patches if p.get_gid() == PIT)
    assert pit.get_path().get_extents().y0 >= floor[1] - 1e-9


def test_soil_map_shows_the_permeability_that_is_solved(result):
    soil = result.solution.soil
    plan = plot_soil_plan(soil, result.site, result.arrangement)
    mesh = next(c for c in plan.collections if isinstance(c, QuadMesh))
    shown = np.ma.compressed(mesh.get_array())
    solved = soil.horizontal[:, :, soil.top_layer][soil.air[:, :, soil.top_layer]]
    assert set(np.round(np.log10(shown), 9)) == set(np.round(np.log10(solved), 9))
    section = plot_soil_section(soil, result.site, at_y=3.65)
    assert section.yaxis_inverted()
    away = plot_soil_section(soil, result.site, at_y=1.0)
    assert any(isinstance(p, Rectangle) for p in away.patches)
    bowl, none = ([c for c in ax.collections if hasattr(c, "levels")] for ax in (section, away))
    # the bowl is 0.2624 m deep (two buckets), drawn in feet
    assert max(p.get_extents().y1 for p in bowl[0].get_paths()) * 0.3048 == pytest.approx(
        0.2624, abs=2e-3
    )
    assert none == []


def test_the_colour_scale_reads_in_grey():
    """Luminance of the field colours rises without a turn (Rec. 709 weights)."""
    table = colormaps["cividis"](np.linspace(0, 1, 64))[:, :3]
    luminance = table @ np.array([0.2126, 0.7152, 0.0722])
    assert np.all(np.diff(luminance) > 0)
    hue = colormaps["hsv"](np.linspace(0, 1, 64))[:, :3] @ np.array([0.2126, 0.7152, 0.0722])
    assert not np.all(np.diff(hue) > 0)  # the check can fail


def test_saving_writes_png_and_leaves_the_defaults_alone(result, tmp_path):
    from soilflow.case import Case
    from soilflow.conditions import Condition
    from soilflow.flow.grid import COARSE

    before = dict(rcParams)
    case = Case(
        title="house",
        site=result.site,
        layouts=(result.arrangement,),
        conditions=(Condition(name="design_winter", outdoor_pressure=3.0),),
        resolution=COARSE,
    )
    paths = save_run_figures(case, result, tmp_path, "house")
    paths = (*paths, save_check_figure(case, result.arrangement, tmp_path / "plan.png"))
    assert [p.name for p in paths] == ["house_pressure.png", "house_soil.png", "plan.png"]
    for path in paths:
        data = path.read_bytes()
        assert data.startswith(b"\x89PNG")
        assert len(data) > 20_000
    assert dict(rcParams) == before
