import re
from dataclasses import replace

import pytest
from tiny_house import FIRST, SECOND, house, solved

from soilflow.case import Uncertain
from soilflow.grids import estimate
from soilflow.output import cautions, check_printout, page
from soilflow.output.cautions import CAUTIONS, first_cautions
from soilflow.output.check_printout import print_check
from soilflow.output.page import Page, cfm, figures, percent, place_on_floor, wc
from soilflow.output.printout import print_result
from soilflow.results.coverage import WorstPatch
from soilflow.results.leaks import WorstOpening
from soilflow.site import Slab

FOOT = 0.3048  # international foot, exact [m]
FORBIDDEN = re.compile(
    r"\b(radius of influence|guarantee\w*|complian\w*|certif\w*|safe\w*|radon-free)\b", re.I
)
OTHER_FORMS = re.compile(r"\b(w\.?g\.?|iwc|h2o|inches of water)\b|in\. ?wc\b|\"", re.I)


def flat(text):
    return " ".join(text.split())


def printed(layout=FIRST, variant="", **options):
    return print_result(solved(layout, variant), house(variant), **options)


def with_winter(result, **changes):
    winter = replace(result.conditions["design_winter"], **changes)
    return replace(result, conditions={**result.conditions, "design_winter": winter})


def bare_shares(text):
    """Lines with a share of the floor that stands without its threshold or without its flow."""
    found, flow = [], False
    for line in text.splitlines():
        flow = ("drawing" in line and "cfm" in line) or (flow and bool(line.strip()))
        if "%" in line and not (flow and re.search(r"\d Pa", line)):
            found.append(line)
    return found


@pytest.mark.parametrize(("layout", "variant"), [(FIRST, ""), (SECOND, ""), (FIRST, "tight_soil")])
def test_it_fits_a_narrow_window(layout, variant):
    for verbose in (False, True):
        text = printed(layout, variant, verbose=verbose, width=60)
        assert [line for line in text.splitlines() if len(line) > 60] == []


def test_plain_characters_only():
    assert printed(verbose=True).isascii()


def test_the_headline_comes_first():
    lines = printed().splitlines()
    assert lines[0] == "Small test house"
    assert lines[1] == f'Layout "{FIRST}", the first of 2'
    assert lines[3].startswith("DESIGN WINTER: THE PASS LINE ")


def test_a_layout_that_holds():
    worst = WorstPatch(margin=0.5, x=3 * FOOT, y=(4 + 5 / 12) * FOOT)
    text = flat(print_result(with_winter(solved(), worst=worst), house()))
    # 0.5 Pa is 0.0020 in. w.c., the pass line 1 Pa 0.0040 (249.089 Pa per in. w.c., NIST SP 811)
    assert "DESIGN WINTER: THE PASS LINE HOLDS To spare: 0.50 Pa (0.002 in. w.c.)" in text
    assert "3 ft from the west wall 4 ft 5 in from the south wall" in text
    assert "suction 1.5 Pa (0.006 in. w.c.) Pass line" in text
    line = "Pass line: suction of 1 Pa (0.004 in. w.c.), averaged over any 2 ft square of floor."
    assert line in text


def test_a_layout_that_does_not_hold():
    worst = WorstPatch(margin=-3.0, x=0.5, y=0.5)
    text = flat(print_result(with_winter(solved(), worst=worst), house()))
    assert "THE PASS LINE DOES NOT HOLD Short by: 3.0 Pa (0.012 in. w.c.)" in text
    assert "pressure up 2.0 Pa (0.008 in. w.c.)" in text
    assert "HOLDS" not in text


def test_without_a_design_condition_it_says_so():
    result = solved()
    only = replace(result, conditions={"today": result.conditions["today"]})
    text = flat(print_result(only, house()))
    assert 'no condition "design_winter": the hardest, "today", judges' in text


def test_next_to_no_flow_is_said_before_anything_else():
    text = printed(FIRST, "tight_soil")
    assert solved(FIRST, "tight_soil").conditions["design_winter"].coverage_area[1.0] > 0.99
    first = flat(text.split("\n\n")[0])
    assert first.startswith("READ THIS FIRST")
    assert "1 cfm, chosen by the project" in first
    assert "tight soil" in first
    assert "not dependable" in first


def test_an_ordinary_flow_is_not_called_small():
    total = solved().conditions["design_winter"].operating_point.fan_flow
    assert total > 0.3048**3 / 60  # 1 cfm
    assert "READ THIS FIRST" not in printed()


def test_a_share_never_stands_alone():
    assert "%" not in printed()
    text = printed(verbose=True)
    assert text.count("%") == 8  # floor and walls, two thresholds, two conditions
    assert bare_shares(text) == []
    assert bare_shares("95 % covered") == ["95 % covered"]
    assert bare_shares("today, drawing 3 cfm:\n  95 % covered") == ["  95 % covered"]
    assert bare_shares("today, drawing 3 cfm:\n 1 Pa: 95 %\n\n1 Pa: 95 %") == ["1 Pa: 95 %"]


def test_only_a_whole_floor_reads_100_percent():
    assert percent(1.0) == "100 %"
    assert percent(0.9999) == "99 %"
    assert percent(0.29) == "29 %"  # 0.29 * 100 is 28.999999999999996
    assert percent(float("nan")) == "no air"


def test_units_of_the_trade():
    assert wc(1.5 * 249.08891) == "1.50 in. w.c."  # NIST SP 811, conventional, from memory
    assert cfm(12.34 * 0.3048**3 / 60) == "12.3 cfm"
    assert cfm(1e-9) == "under 0.01 cfm"
    assert wc(-1e-6) == "0.000 in. w.c."
    assert figures(1234.5) == "1230"
    assert figures(0.0) == "0"


def test_suction_points_tell_riser_and_flow():
    result = solved()
    on = result.conditions["today"].operating_point
    riser = on.riser_vacuums["A"] / 249.08891
    flow = on.flows[on.port_names.index("A")] / (0.3048**3 / 60)
    # a box of 20 x 20 x 12 in is 4800 cubic inches, 4.2 buckets of 1155
    assert f"A 4.2 buckets, box {riser:.2f} in. w.c. {flow:.2f} cfm" in flat(printed())
    assert f"A today {riser:.2f} in. w.c. {flow:.2f} cfm" in flat(printed(verbose=True))


def test_held_and_capped_points():
    text = flat(printed(SECOND))
    assert "B 4 buckets 1.00 in. w.c." in text
    assert text.count("capped") >= 1
    assert flat(printed(SECOND, verbose=True)).count("capped") >= 3
    assert "Held at a stated vacuum, no fan: B." in text
    assert "Fan (" not in text


def test_the_fan_and_its_watts():
    result = solved()
    assert " W\n" not in print_result(result, house())
    point = result.conditions["design_winter"].operating_point
    point = replace(point, fans={"first": replace(point.fans["first"], power=68.0)})
    text = print_result(with_winter(result, operating_point=point), house(), verbose=True)
    assert "Fan (high-suction)" in text
    assert "68.0 W" in text
    assert "Fan (high-suction): " in print_result(result, house())


def test_test_holes_for_both_conditions():
    result = solved()
    now = result.conditions["today"]
    short = f"T1 {now.test_holes_off['T1']:.2g} {now.test_holes['T1']:.0f} "
    assert short in flat(printed())
    text = flat(printed(verbose=True))
    for name in ("today", "design winter"):
        found = result.conditions[name.replace(" ", "_")]
        undug, off = found.baseline.test_holes["T1"], found.test_holes_off["T1"]
        shown = f"{undug:.2g} {off:.2g} {found.test_holes['T1']:.0f}"
        assert f"{name} {shown} " in text
    dry = with_winter(result, test_holes={"T1": float("nan")}, baseline=None)
    told = flat(print_result(dry, house(), verbose=True))
    assert f"design winter - {off:.2g} no air" in told


def test_an_opening_that_lets_gas_in_is_named():
    opening = WorstOpening(name="north joint", pressure=0.7, x=FOOT, y=2 * FOOT)
    text = flat(print_result(with_winter(solved(), opening=opening), house()))
    assert "Gas is pushed up at the north joint" in text
    assert "0.70 Pa (0.003 in. w.c.) 1 ft from the west wall, 2 ft from the south wall" in text
    drawn = replace(opening, pressure=-0.7)
    assert "pushed up" not in print_result(with_winter(solved(), opening=drawn), house())


def test_notes_are_printed_with_the_condition_in_words():
    result = replace(solved(), notes=("design_winter: pipe 'A' is loud", "a second note"))
    text = print_result(result, house())
    assert "- design winter: pipe 'A' is loud\n- a second note\n" in text


def test_no_range_is_claimed():
    assert "No range computed" in printed()
    known = Uncertain(
        path="site.joints[0].aperture", low=1e-5, high=1e-3, law="log-uniform", source="a word"
    )
    text = flat(print_result(solved(), replace(house(), uncertain=(known,))))
    assert "1 input is known only as a range; the run took one value inside it" in text
    assert "site.joints[0].aperture" not in text
    told = print_result(solved(), replace(house(), uncertain=(known,)), verbose=True)
    assert "site.joints[0].aperture: 1e-05 to 0.001" in flat(told)


def test_the_short_answer_is_short_and_nothing_is_lost():
    plain, long = printed(), printed(verbose=True)
    assert len(plain.splitlines()) < 55
    for words in ("Every condition", "Every state", "Under suction", "Soil gas into", "Pipes"):
        assert words not in plain
        assert words in long
    body = plain.partition("-v adds")[0].rstrip()
    assert set(body.splitlines()) <= set(long.splitlines())
    for width in (48, 80):
        assert max(map(len, printed(width=width).splitlines())) <= width


def test_warnings_are_never_left_for_the_long_answer():
    room_says = flat(printed(FIRST, "tight_soil"))
    assert room_says.startswith("READ THIS FIRST")
    opening = WorstOpening(name="north joint", pressure=0.7, x=FOOT, y=2 * FOOT)
    result = replace(with_winter(solved(), opening=opening), notes=("today: backflow at A",))
    text = flat(print_result(result, house()))
    assert "Gas is pushed up" in text
    assert "backflow at A" in text


def test_details_only_on_request():
    for words in ("Port matrix", "iterations", "balance", "fpm", " s,"):
        assert words not in printed()
        assert words in printed(verbose=True)


def test_cautions_stand_beside_every_result():
    text = flat(printed())
    assert len(first_cautions()) >= 5
    for caution in first_cautions():
        assert caution in text


def test_cautions_cover_their_subjects():
    asked = (
        "back-drafting, carbon monoxide, silica, before drilling, footings, old slabs, electrical, "
        "asbestos and lead, discharge, fire-rated walls, neighbours, groundwater, radon, codes"
    )
    assert set(CAUTIONS) == set(asked.split(", "))
    for subject in ("back-drafting", "footings", "radon", "codes"):
        assert CAUTIONS[subject].first, subject


def test_no_word_promises_anything():
    said = [printed(verbose=True), printed(SECOND), printed(FIRST, "gravel")]
    said += [words for c in CAUTIONS.values() for words in (c.short, c.full)]
    said += [module.__doc__ for module in (cautions, page, check_printout)]
    assert [text for text in said if FORBIDDEN.search(text)] == []
    for word in ("Radius of influence", "guaranteed", "compliant", "certified", "safe"):
        assert FORBIDDEN.search(f"this is {word}!"), word


def test_inches_of_water_are_written_one_way():
    text = printed(verbose=True).replace(f'"{FIRST}"', "")
    assert text.count("in. w.c.") > 5
    assert OTHER_FORMS.search(text) is None
    for other in ("1.5 in. wc", '1.5" w.c.', "1.5 iwc", "1.5 in. H2O", "1.5 W.G."):
        assert OTHER_FORMS.search(other), other


def test_places_on_a_floor_that_is_no_rectangle():
    ell = ((1, 1), (9, 1), (9, 4), (5, 4), (5, 7), (1, 7))
    slab = Slab(corners=ell, thickness=0.1, permeability=1e-16)
    where = place_on_floor(slab, 1 + FOOT, 1 + 2.5 * FOOT)
    assert where == "1 ft from the westmost wall, 2 ft 6 in from the southmost wall"


def test_a_long_name_gets_its_own_line():
    made = Page(30)
    made.rows([("by the old furnace in the north", "1 Pa", "2 cfm"), ("B", "10 Pa", "3 cfm")])
    assert made.text().splitlines() == [
        "  by the old furnace in the",
        "    north",
        "      1 Pa  2 cfm",
        "  B  10 Pa  3 cfm",
    ]


def test_check_says_what_was_read():
    case = house("tight_joint")
    costs = {layout.name: estimate(case, layout) for layout in case.layouts}
    text = flat(print_check(case, costs))
    assert "Slab: 12 ft east-west by 10 ft north-south, 120 sq ft" in text
    assert 'variant "tight_joint"' in text
    assert "design winter: outdoors 4.0 Pa (0.016 in. w.c.) above the room" in text
    assert "A: 3 ft from the west wall, 3 ft from the south wall" in text
    assert "held at 1.00 in. w.c." in text
    assert "riser: 6 ft from the west wall, 8 ft from the south wall, capped" in text
    assert f"{costs[FIRST].cells} cells" in text
    assert "Nothing was solved." in text
    assert "joint: not stated" in flat(print_check(case, costs, verbose=True))
    assert [line for line in print_check(case, costs).splitlines() if len(line) > 60] == []
