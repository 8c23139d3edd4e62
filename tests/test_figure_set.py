"""The figure set: every picture says what to see, reads in grey, and stands odd houses."""

import functools
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib import rcParams
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from PIL import Image
from scipy.special import k0
from tiny_house import FIRST, house, solved

from soilflow.errors import InputError
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.output.air_figure import plot_air_sources
from soilflow.output.decay_figure import fitted_leakage, plot_decay
from soilflow.output.difference_figure import plot_difference
from soilflow.output.figure_set import FIGURES, figure_names, save_figures
from soilflow.output.operating_figure import plot_operating_point
from soilflow.output.plan import METRES, draw_points
from soilflow.output.response_figure import plot_response
from soilflow.output.seal_figure import plot_seals
from soilflow.output.section_figure import plot_half_section, plot_section
from soilflow.output.styles import PRINT, SCREEN, SLIDE, STYLES
from soilflow.results.air_source import AirSources, AirStream
from soilflow.results.leak_changes import FloorMeasures
from soilflow.results.response_time import floor_lag
from soilflow.results.sealing import Gain, SealingList, SealingValue
from soilflow.studies.on_site import on_site

WINTER = "design_winter"


@functools.cache
def thorough():
    """What stands beside the result; its seal list is made up, which the drawing cannot tell."""
    result = solved()
    judged = result.conditions[WINTER]
    measures = FloorMeasures(worst=judged.worst, coverage_area=0.9, room_air=1e-3)

    def worth(name, start, end, pascals):
        won = Gain(margin_gained=pascals, coverage_gained=0.0, air_saved=1e-4)
        return SealingValue(
            name=name, begins=0.0, length=1.0, start=start, end=end, whole=won, whole_held=won,
            half=None, half_held=None, patchy=None, patchy_held=None, joint_to_soil=1.0, exact=True,
        )  # fmt: skip

    values = (
        worth("south $joint$", (1.0, 0.0), (2.0, 0.0), 2.0),
        worth("east joint", (3.6, 1.0), (3.6, 2.0), 0.5),
    )
    sealing = SealingList(
        condition=WINTER, layout=FIRST, before=measures, values=values, resolution="coarse",
        cells=1, solves=1, seconds=1.0,
    )  # fmt: skip
    lag = floor_lag(result.solution, judged.operating_point, judged.fan_off)
    return replace(on_site(house(), result), sealing=sealing, lag=lag)


def test_the_thickest_line_is_the_seal_worth_most():
    ax = plot_seals(solved(), thorough().sealing, unit=METRES)
    lines = [
        line for line in ax.lines if line.get_linestyle() == "-" and len(line.get_xdata()) == 2
    ]
    black = {
        tuple(line.get_xdata()): line.get_linewidth()
        for line in lines
        if line.get_color() == "black"
    }
    assert black[1.0, 2.0] > black[3.6, 3.6]
    (legend,) = (t.get_text() for t in ax.get_legend().get_texts()[:1])
    assert legend.startswith("1  south $joint$, 0 to 1 m")
    assert "+2 Pa" in legend
    assert {t.get_text() for t in ax.texts} >= {"1", "2"}


def test_curves_of_a_response_begin_at_nothing_and_end_at_all():
    ax = plot_response(thorough().lag, solved().hole_places)
    for line in ax.lines[: len(solved().hole_places)]:
        share = line.get_ydata()
        assert share[0] < 60.0
        assert share[-1] == pytest.approx(100.0, abs=1.0)
        assert np.all(np.diff(share) > -1.0)


def luminance(rgb):
    """Relative luminance of sRGB colours (IEC 61966-2-1, weights of ITU-R BT.709, from memory)."""
    c = np.asarray(rgb)[..., :3]
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return linear @ [0.2126, 0.7152, 0.0722]


# What a colour looks like to an eye without red, or without green, receptors, in linear light:
# Machado, Oliveira and Fernandes 2009, IEEE Trans. Vis. Comput. Graph. 15:1291, severity 1,
# from memory.
BLIND = {
    "red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998]],
    "green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
              [-0.011820, 0.042940, 0.968881]],
}  # fmt: skip


def seen_without(receptor, rgb):
    """Linear light that such an eye takes a colour for."""
    c = np.asarray(rgb)[..., :3]
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return np.clip(linear @ np.array(BLIND[receptor]).T, 0.0, 1.0)


@pytest.mark.parametrize("style", STYLES.values(), ids=list(STYLES))
def test_more_suction_is_lighter_to_any_eye_and_on_grey_paper(style):
    colours = style.colour_map()(np.linspace(0.0, 1.0, 64))
    grey = luminance(colours)
    assert np.all(np.diff(grey) > 0.0)
    assert grey[-1] / max(grey[0], 0.05) > 5.0
    for receptor in BLIND:
        light = seen_without(receptor, colours) @ [0.2126, 0.7152, 0.0722]
        assert np.all(np.diff(light) > -1e-3)


def test_the_luminance_check_sees_a_rainbow():
    from matplotlib import colormaps

    assert np.any(np.diff(luminance(colormaps["jet"](np.linspace(0.0, 1.0, 64)))) < 0.0)


def test_ways_of_the_air_differ_in_grey_or_in_hatching():
    from matplotlib.colors import to_rgb

    from soilflow.output.air_figure import _LOOKS

    for i, one in enumerate(_LOOKS):
        for other in _LOOKS[:i]:
            tones = [luminance(to_rgb(look["facecolor"])) for look in (one, other)]
            contrast = (max(tones) + 0.05) / (min(tones) + 0.05)
            assert contrast > 2.0 or one["hatch"] != other["hatch"]


def test_every_figure_has_a_sentence_units_and_leaves_the_defaults_alone(tmp_path):
    before = dict(rcParams)
    paths = save_figures(house(), solved(), thorough(), tmp_path, "house", style=SLIDE)
    assert dict(rcParams) == before
    assert [p.name for p in paths] == [f"house_{name}.png" for name in FIGURES]
    for path in paths:
        with Image.open(path) as picture:
            assert min(picture.size) > 250
            grey = np.asarray(picture.convert("L"), dtype=float)
        assert grey.std() > 10.0, path.name  # something is on it, in grey too


@pytest.mark.parametrize("form", ["svg", "pdf"])
def test_a_figure_is_the_same_to_the_byte_and_true_to_its_kind(form, tmp_path):
    found, texts = thorough(), []
    for folder in (tmp_path / "a", tmp_path / "b"):
        folder.mkdir()
        (path,) = save_figures(
            house(), solved(), found, folder, "house", only=["operating"], form=form, style=PRINT
        )
        texts.append(path.read_bytes())
    assert texts[0] == texts[1]
    assert (b"<svg" in texts[0]) if form == "svg" else texts[0].startswith(b"%PDF")


def test_only_what_can_be_drawn_is_offered(tmp_path):
    plain = on_site(house(), solved())
    assert set(FIGURES) - set(figure_names(solved(), plain)) == {"seals", "response"}
    with pytest.raises(InputError, match="seals and response take --on-site"):
        save_figures(house(), solved(), plain, tmp_path, "house", only=["seals"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("draw", [plot_section, plot_half_section])
def test_sections_show_the_pit_the_pass_line_and_the_air(draw):
    ax = draw(solved(), condition=WINTER, unit=METRES)
    assert "[m]" in ax.get_xlabel()
    assert "depth" in ax.get_ylabel()
    assert ax.get_title().rstrip().endswith(".")
    low, high = ax.get_ylim()
    assert low > high  # down is down
    assert any(isinstance(c, LineCollection) for c in ax.collections)
    with pytest.raises(InputError, match='no suction point "Z" in this layout; it has "A"'):
        draw(solved(), condition=WINTER, through="Z")


def test_streamlines_of_a_section_run_into_the_pit():
    """Air goes where suction grows: every streamline of still air ends deeper in suction."""
    from soilflow.output.section_figure import _between, _cut, _point

    result = solved()
    cut = _cut(result, WINTER, _point(result, None), axis=0)
    s, z = np.linspace(0.2, 3.4, 30), np.linspace(0.05, 1.5, 20)
    suction, flow_s, flow_z = _between(cut, s, z)
    uphill = np.gradient(suction.filled(np.nan), s, z)
    product = flow_s * uphill[0] + flow_z * uphill[1]
    assert np.ma.min(product) >= 0.0
    assert np.ma.max(product) > 0.0


def test_the_operating_point_lies_on_both_curves():
    ax = plot_operating_point(house(), solved())
    duty = solved().conditions[WINTER].operating_point
    dots = [line for line in ax.lines if line.get_marker() == "o" and len(line.get_xdata())]
    fan, system = (next(line for line in ax.lines if len(line.get_xdata()) == n) for n in (120, 7))
    x, y = (float(dots[-1].get_data()[i][0]) for i in (0, 1))
    assert_allclose([x, y], [duty.fan_flow * 2118.88, duty.fan_static / 249.08891], rtol=1e-5)
    assert_allclose(np.interp(x, *fan.get_data()), y, rtol=0.02)  # air of another density
    assert_allclose(np.interp(x, *system.get_data()), y, rtol=0.02)
    with pytest.raises(InputError, match="one fan is needed"):
        plot_operating_point(house(), solved("held / capped"))


def test_a_leaky_layer_gives_its_own_leakage_length_back():
    """De Glee: s = q K0(r / lambda) / (2 pi T); scipy's K0 is the reference."""
    r = np.linspace(0.4, 6.0, 50)
    leakage, scale = fitted_leakage(r, 80.0 * k0(r / 1.7))
    assert_allclose([leakage, scale], [1.7, 80.0], rtol=0.02)
    with pytest.raises(InputError, match="at least 3"):
        fitted_leakage(r[:2], np.ones(2))


def test_decay_stops_where_another_pit_is_nearer():
    ax = plot_decay(solved(), condition=WINTER, unit=METRES)
    assert ax.get_yscale() == "log"
    reach = max(np.max(line.get_xdata()) for line in ax.lines if line.get_label() == "east")
    assert reach == pytest.approx(9 * 0.3048, abs=0.01)  # from 3 ft to the wall at 12 ft


def test_a_difference_needs_one_grid_and_is_nothing_against_itself():
    one = solved()
    ax = plot_difference(one, one, condition=WINTER)
    assert "hatched where the second" in ax.get_title()
    with pytest.raises(InputError, match="on one grid"):
        plot_difference(one, solved("held / capped"), condition=WINTER)


def test_the_sentence_of_the_air_names_the_largest_way():
    def source(place, through, flow):
        return AirStream(place=place, through=through, flow=flow, goes_to={"A": flow})

    air = AirSources(
        points=("A",),
        entering=(source("house", "south joint", 3e-3), source("outdoors", "ground", 1e-3)),
        leaving=(),
        lost=0.0,
    )
    ax = plot_air_sources(air)
    assert re.search(r"75 % .* house air", ax.get_title())
    assert "joints and openings" in ax.get_title()
    nothing = AirSources(points=("A",), entering=(), leaving=(), lost=0.0)
    assert plot_air_sources(nothing).get_title() == "No air is drawn."


def test_names_of_twenty_pits_lie_over_nothing_they_need_not():
    """A 60 m hall with twenty pits, and a slab of one metre with one: the plan alone."""
    from soilflow.site.site import Site

    pit = HemisphericalPit(volume=0.038)
    for side, count in ((60.0, 20), (1.0, 1)):
        corners = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side))
        site: Site = house().site
        site = replace(site, slab=replace(site.slab, corners=corners), gaps=(), cracks=())
        step = side / 5
        places = [(step * (0.5 + i % 5), step * (0.5 + i // 5)) for i in range(count)]
        if count == 1:
            places = [(0.5, 0.5)]
        points = tuple(
            SuctionPoint(name=f"P{i}", x=x, y=y, pit=pit, vacuum=100.0)
            for i, (x, y) in enumerate(places)
        )
        ax = Figure(figsize=(8, 6)).add_subplot()
        from soilflow.output.plan import draw_house, frame_plan

        draw_house(ax, site, METRES)
        frame_plan(ax, site, METRES)
        draw_points(ax, Layout(name="many", points=points), site, {}, METRES)
        names = [t for t in ax.texts if t.get_text().startswith("P")]
        assert len(names) == count
        boxes = [t.get_window_extent() for t in names]
        for i, box in enumerate(boxes):
            assert not any(box.overlaps(other) for other in boxes[:i])


def test_styles_differ_where_they_should():
    assert SCREEN.dots < PRINT.dots
    assert SLIDE.shrink < 1.0
    assert len({style.name for style in STYLES.values()}) == 3
