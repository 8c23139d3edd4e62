"""The job sheet: complete without scripts, nothing from outside, and as right as the library."""

import base64
import functools
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
from browser import open_browser, program
from numpy.testing import assert_allclose
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from tiny_house import ROUGH_TEXT, TEXT
from typer.testing import CliRunner

from soilflow import cli
from soilflow.air import pressure_from_u
from soilflow.files import parse_case
from soilflow.flow.grid import Resolution
from soilflow.output.cautions import CAUTIONS
from soilflow.output.page import both, cfm, pa, percent, wc
from soilflow.output.sheet import sheet_html
from soilflow.output.sheet_data import sheet_data
from soilflow.port_elimination import all_ports, eliminate
from soilflow.results.coverage import coverage, worst_margin
from soilflow.results.floor import floor_response, pressure_at
from soilflow.run import run_layout
from soilflow.site.effects import HOUSE
from soilflow.studies.on_site import on_site
from soilflow.units import M_PER_FOOT

ROUGH = Resolution(
    name="rough", cells_per_radius=1.5, line_size=0.15, growth=2.0, largest_inside=0.5
)
POINTS = """\
[[layouts.points]]
name = "A"
x = "3 ft"
y = "3 ft"
pit = "2 buckets"
[[layouts.points]]
name = "B"
x = "10 ft"
y = "8 ft"
pit = "1 bucket"
"""
FORBIDDEN = re.compile(
    r"\b(radius of influence|guarantee\w*|complian\w*|certif\w*|safe\w*|radon-free)\b", re.I
)


def written():
    head, _, tail = TEXT.partition("[[layouts]]")
    rest = tail[tail.index("[conditions.today]") :]
    layout = '[[layouts]]\nname = "two"\n' + POINTS
    rest = rest.replace(
        '[conditions.design_winter]\noutdoor_pressure = "4 Pa"',
        '[conditions.design_winter]\nbelow_neutral_level = "14 ft"\noutdoor_temperature = "14 F"\n'
        'room_temperature = "70 F"\nadded_pressure = "1 Pa"',
    )
    return head + layout + rest.partition("[variant")[0]


@functools.cache
def case(text=""):
    return parse_case(text or written(), file="house.toml").with_resolution(ROUGH)


@functools.cache
def result():
    return run_layout(case(), "two")


@functools.cache
def page():
    return sheet_html(case(), result(), on_site(case(), result()))


def plain(text):
    body = re.sub(r"<(script|style)[^>]*>.*?</\1>", " ", text, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


def test_it_is_whole_without_scripts_and_small():
    said = plain(page())
    for words in (
        "If it does not match",
        "Suction points",
        "Test holes",
        "Fan and pipe",
        "Seal list",
        "Before the fan",
    ):
        assert words in said
    for name in ("footings", "silica", "back-drafting"):
        part = CAUTIONS[name].full if name != "back-drafting" else "no computed number tells"
        assert part in said
    assert "May be taken apart here for equipment service: fan off first" in said
    assert "This gauge does not show radon" in said
    assert "no range computed" in said
    assert "2 buckets" in said
    assert len(page().encode()) < 1_500_000
    assert FORBIDDEN.search(said) is None


def test_nothing_comes_from_outside():
    without = page().replace("http://www.w3.org/2000/svg", "")
    assert not re.findall(r"https?://|//[a-z]+\.|<link|<iframe|<img|@import|url\((?!#)", without)
    assert re.findall(r"https?://", page() + '<img src="https://x.y/">')


def test_a_name_is_no_markup():
    hostile = "</script><script>alert(1)</script>"
    named = case(written().replace('"A"', f'"{hostile}"').replace('"T1"', '"<svg onload=x>"'))
    solved = replace(run_layout(named, "two"), title=hostile)
    text = sheet_html(named, solved, on_site(named, solved))
    assert "<script>alert" not in text
    assert "<svg onload" not in text
    assert text.count("&lt;/script&gt;") >= 5  # title twice, table, plan, slider
    assert text.count("<script") == 2


def test_no_green_light():
    """No colour on the page is greener than it is red and blue by more than a trace."""
    found = re.findall(r"#([0-9a-fA-F]{6}|[0-9a-fA-F]{3})\b", page())
    assert len(found) > 20
    for code in found:
        long = code if len(code) == 6 else "".join(2 * digit for digit in code)
        red, green, blue = (int(long[i : i + 2], 16) for i in (0, 2, 4))
        assert green <= max(red, blue) + 8, code
    assert not re.search(r"green|lime|teal|hsl|rgb", page())


def test_the_plan_is_well_formed_and_has_every_mark():
    drawings = re.findall(r"<svg.*?</svg>", page(), flags=re.DOTALL)
    assert len(drawings) == 2 + 1 + 6  # the plan below and above, and the keys to its tones
    for drawing in drawings:
        ET.fromstring(drawing.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))
    [above] = [drawing for drawing in drawings if "class='over'" in drawing]
    for name in ("A", "B", "T1", "N", "2 ft"):
        assert f">{name}</text>" in above


@pytest.fixture(scope="module")
def browser():
    driver = open_browser()
    yield driver
    driver.quit()


@pytest.fixture
def opened(browser, tmp_path):
    file = tmp_path / "sheet.html"
    file.write_text(page(), encoding="utf-8")
    browser.get(file.as_uri())
    return browser


def text_of(browser, name):
    return browser.find_element(By.ID, name).text


def judged_words(margin):
    return f"{both(abs(margin))} {'to spare' if margin >= 0.0 else 'short'}"


def by_library(vacuums, outdoors):
    """Margin, covered shares and readings for stated vacuums; None is a capped point."""
    solution, atm = result().solution, case().air.pressure_atm
    floor = floor_response(solution.soil, solution.network, solution.response)
    ports, matrix = list(solution.soil.ports), solution.response.port_matrix
    held = {HOUSE: 0.0, "outdoors": outdoors}
    held |= {n: -v for n, v in vacuums.items() if v is not None}
    seen = eliminate(matrix, ports, held, (), atm)  # what is not held is capped
    u, drawn = all_ports(matrix, seen, np.empty(0))
    pressure = floor.pressure(u, atm, room=ports.index(HOUSE))
    reads = pressure_at(floor.pressure(u, atm), *result().hole_places["T1"])
    flows = dict(zip(ports, drawn, strict=True))
    vacuums = dict(zip(ports, -pressure_from_u(u, atm), strict=True))
    shares = (coverage(pressure, threshold) for threshold in (1.0, 5.0))
    return worst_margin(pressure), *shares, reads, flows, vacuums


def agrees(browser, vacuums, outdoors):
    worst, one, five, reads, flows, risers = by_library(vacuums, outdoors)
    assert text_of(browser, "margin") == judged_words(worst.margin)
    west, south, _, _ = case().site.slab.polygon.bounds
    feet = [(worst.x - west) / M_PER_FOOT, (worst.y - south) / M_PER_FOOT]
    assert f"{feet[0]:.1f} ft from the west" in text_of(browser, "worst-at")
    assert f"{feet[1]:.1f} ft from the south" in text_of(browser, "worst-at")
    assert text_of(browser, "covered1") == percent(one)
    assert text_of(browser, "covered5") == percent(five)
    assert text_of(browser, "hole-now0") == both(reads)
    for i, name in enumerate(("A", "B")):
        assert text_of(browser, f"flow-now{i}") == cfm(flows[name])
        assert text_of(browser, f"vacuum-now{i}") == wc(risers[name])
    return worst.margin


def move(browser, name, value):
    """As dragging it would: the value, and the event a reader's hand causes."""
    browser.execute_script(
        "const e = document.getElementById('controls').elements[arguments[0]];"
        "e.value = arguments[1]; e.dispatchEvent(new Event('input', {bubbles: true}));",
        name,
        str(value),
    )


def test_it_starts_at_the_solved_operating_point_without_a_complaint(opened):
    winter = result().conditions["design_winter"]
    assert text_of(opened, "margin") == judged_words(winter.worst.margin)
    assert text_of(opened, "covered1") == percent(winter.coverage_area[1.0])
    assert text_of(opened, "hole-now0") == both(winter.test_holes["T1"])
    assert [line for line in opened.get_log("browser") if line["level"] == "SEVERE"] == []
    loaded = "return performance.getEntriesByType('resource').map(e => e.name)"
    assert opened.execute_script(loaded) == []


def test_moving_a_vacuum_and_capping_a_point_is_what_the_library_says(opened):
    winter = result().conditions["design_winter"]
    on = winter.operating_point
    start = {n: -float(on.pressures[on.port_names.index(n)]) for n in ("A", "B")}
    agrees(opened, start, winter.outdoor_pressure)
    move(opened, "vacuum0", 300)
    low = agrees(opened, {"A": 300.0, "B": start["B"]}, winter.outdoor_pressure)
    opened.find_element(By.NAME, "cap1").click()
    capped = agrees(opened, {"A": 300.0, "B": None}, winter.outdoor_pressure)
    # capped is not open to the room: at no vacuum it would let air in
    vented = by_library({"A": 300.0, "B": 0.0}, winter.outdoor_pressure)[0].margin
    assert capped < low
    assert vented < capped
    opened.find_element(By.ID, "back").click()
    agrees(opened, start, winter.outdoor_pressure)


def test_a_colder_day_pushes_by_the_stack_formula(opened):
    """dp = p_atm g h / R (1/T_out - 1/T_in): 14 ft, -4 F against 70 F, and 1 Pa of allowance."""
    move(opened, "temperature", -4)
    room, cold = ((f - 32) / 1.8 + 273.15 for f in (70, -4))
    stack = 101325 * 9.80665 * 14 * 0.3048 / 287.05 * (1 / cold - 1 / room) + 1.0
    [winter] = [c for c in case().conditions if c.name == "design_winter"]
    assert_allclose(replace(winter, outdoor_temperature=cold).outdoors, stack, rtol=1e-12)
    assert text_of(opened, "outdoors-now") == pa(stack)
    on = result().conditions["design_winter"].operating_point
    start = {n: -float(on.pressures[on.port_names.index(n)]) for n in ("A", "B")}
    agrees(opened, start, stack)
    move(opened, "temperature", "")  # nothing typed: the last day that made sense stands
    assert text_of(opened, "outdoors-now") == pa(stack)
    assert opened.find_element(By.NAME, "temperature").get_attribute("aria-invalid") == "true"
    agrees(opened, start, stack)


def test_another_condition_begins_at_its_own_solved_point(opened):
    today = result().conditions["today"]
    move(opened, "condition", "today")
    assert text_of(opened, "margin") == judged_words(today.worst.margin)
    assert text_of(opened, "hole-now0") == both(today.test_holes["T1"])
    assert not opened.find_element(By.NAME, "temperature").is_enabled()  # its pressure is stated
    move(opened, "outdoors", 6.5)
    on = today.operating_point
    agrees(opened, {n: -float(on.pressures[on.port_names.index(n)]) for n in ("A", "B")}, 6.5)


def test_keys_alone_will_do_and_a_phone_shows_it_all(opened):
    box = opened.find_element(By.NAME, "cap0")
    before = text_of(opened, "margin")
    box.send_keys(Keys.SPACE)
    assert box.is_selected()
    assert text_of(opened, "margin") != before
    slider = opened.find_element(By.NAME, "vacuum1")
    value = slider.get_attribute("value")
    slider.send_keys(Keys.HOME)
    assert float(slider.get_attribute("value")) == 0.0 != float(value)
    labels = "return [...document.querySelectorAll('#controls input')].every(e => e.labels.length)"
    assert opened.execute_script(labels)
    width = 360
    phone = {"width": width, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    opened.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", phone)
    wide = opened.execute_script("return document.documentElement.scrollWidth")
    opened.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide <= width


def test_paper_shows_what_was_computed_whatever_was_moved(opened):
    def shown(css):
        read = "return getComputedStyle(document.querySelector(arguments[0])).display"
        return opened.execute_script(read, css) != "none"

    move(opened, "vacuum0", 10)
    live, paper = ("#map", "#worst-mark", "#controls", ".now"), (".still", ".mark-still")
    assert all(shown(css) for css in live)
    assert not any(shown(css) for css in paper)
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    on_paper = [shown(css) for css in (*live, *paper)]
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert on_paper == [False] * len(live) + [True] * len(paper)


def test_a_capped_point_that_no_air_reaches_rests_at_the_room(browser, tmp_path):
    """As `eliminate` has it: no number there, and none that is not one elsewhere."""
    head, begin, tail = page().partition('id="numbers">')
    text, end, rest = tail.partition("</script>")
    numbers = json.loads(text)
    lost = numbers["ports"].index("B")
    for i, row in enumerate(numbers["matrix"]):
        row[i] += row[lost] if i != lost else 0.0
        row[lost] = 0.0
    numbers["matrix"][lost] = [0.0] * len(numbers["ports"])
    file = tmp_path / "lost.html"
    changed = json.dumps(numbers).replace("<", "\\u003c")
    file.write_text(head + begin + changed + end + rest, encoding="utf-8")
    browser.get(file.as_uri())
    browser.find_element(By.NAME, "cap1").click()
    assert text_of(browser, "vacuum-now1") == wc(0.0)
    assert text_of(browser, "flow-now1") == cfm(0.0)
    assert "NaN" not in browser.find_element(By.TAG_NAME, "body").text


def test_a_browser_that_is_not_there_fails_with_what_to_do(monkeypatch):
    monkeypatch.setenv("CHROMIUM", "/nowhere/chromium")
    with pytest.raises(AssertionError, match="apt-get install chromium chromium-driver"):
        program("chromium", "CHROMIUM")


def test_fields_of_many_ports_fit_in_sixteen_bits(monkeypatch):
    full = sheet_data(case(), result())
    monkeypatch.setattr("soilflow.output.sheet_data._MOST_BYTES", 0)
    packed = sheet_data(case(), result())
    assert (full["fields"]["bits"], packed["fields"]["bits"]) == (32, 16)
    assert len(packed["fields"]["data"]) < 0.6 * len(full["fields"]["data"])
    assert_allclose(full["matrix"], packed["matrix"])


ROOM = """
[[rooms]]
name = "garage & shop"
size = "5 ft x 10 ft"
at = ["7 ft", "0 ft"]
permeability = "1e-13 m2"
"""


def test_a_room_is_judged_and_drawn_against_its_own_air():
    text = written().replace("[pipe]", ROOM + "[pipe]")
    pressures = 'references = {"garage & shop" = "2 Pa"}\n'
    for condition in ("today", "design_winter"):
        text = text.replace(f"[conditions.{condition}]\n", f"[conditions.{condition}]\n{pressures}")
    shared = case(text)
    solved = run_layout(shared, "two")
    said = plain(sheet_html(shared, solved, on_site(shared, solved)))
    room = solved.conditions["design_winter"].rooms["garage & shop"]
    assert f"garage & shop, design winter 2.0 Pa {percent(room.coverage_area[1.0])}" in said
    assert "each room's against its own air" in said
    drawn = sheet_data(shared, solved)
    above = np.frombuffer(base64.b64decode(drawn["room"]), dtype=np.uint8)
    assert {drawn["ports"][port] for port in set(above.tolist()) - {255}} == {
        HOUSE,
        "garage & shop",
    }


def test_a_result_with_error_bars_gives_a_sheet_with_them(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(ROUGH_TEXT, encoding="utf-8")
    made = CliRunner().invoke(
        cli.app, ["run", "house.toml", "--error-estimate", "--no-figures", "-q"]
    )
    assert made.exit_code == 0, made.output
    [file] = tmp_path.glob("*.h5")
    written_to = CliRunner().invoke(
        cli.app, ["sheet", file.name, "--out", "s.html", "--json", "-q"]
    )
    assert written_to.exit_code == 0, written_to.output
    sheet = (tmp_path / "s.html").read_text(encoding="utf-8")
    assert json.loads(written_to.stdout)["bytes"] == len(sheet.encode())
    assert "±" in plain(sheet)
    assert "±" not in plain(page())
