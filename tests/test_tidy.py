"""Tables and notebooks: every number once, with its unit, and nothing a name could break."""

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from tiny_house import solved

from soilflow.errors import InputError
from soilflow.output.tidy_tables import table_to_csv, table_to_dict, write_table
from soilflow.results.headlines import HEADLINES, headlines
from soilflow.results.tidy import tidy_rows


def test_every_headline_number_stands_once_with_a_known_unit():
    result = solved()
    rows = list(tidy_rows(result))
    keys = [(r.condition, r.quantity, r.of) for r in rows]
    assert len(keys) == len(set(keys))
    for name, found in result.conditions.items():
        for quantity, numbers in headlines(found, ["A"]).items():
            for of, value in numbers.items():
                (row,) = (
                    r for r in rows if (r.condition, r.quantity, r.of) == (name, quantity, of)
                )
                assert row.value == value
                assert row.unit in {"Pa", "-", "m3/s"}
    assert {r.quantity for r in rows} <= set(HEADLINES)
    assert all(r.error is None for r in rows)  # no bars were asked for, none are made up


def test_csv_and_json_say_the_same(tmp_path):
    read = list(csv.DictReader(io.StringIO(table_to_csv(solved()))))
    told = table_to_dict(solved())["rows"]
    assert len(read) == len(told) > 10
    for a, b in zip(read, told, strict=True):
        assert float(a["value"]) == b["value"]
        assert (a["quantity"], a["unit"], a["error"]) == (b["quantity"], b["unit"], "")
    for name in ("t.csv", "t.json"):
        assert write_table(solved(), tmp_path / name).stat().st_size > 500
    json.loads((tmp_path / "t.json").read_text())
    with pytest.raises(InputError, match=r"ends in \.csv or \.json"):
        write_table(solved(), tmp_path / "t.xlsx")
    assert not (tmp_path / "t.xlsx").exists()


def test_a_notebook_shows_a_plan_and_six_numbers():
    result = solved()
    text = result._repr_html_()
    svg = re.search(r"<svg.*</svg>", text, re.DOTALL).group()
    shapes = [element.tag.rpartition("}")[2] for element in ET.fromstring(svg).iter()]
    assert shapes.count("circle") == 1  # the pit
    assert shapes.count("rect") > 20
    assert text.count("<tr>") == 6
    winter = result.conditions["design_winter"]
    assert f"{winter.worst.margin:+.2g} Pa" in text
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert len(text) < 200_000


def test_a_name_is_no_markup_in_a_notebook():
    hostile = replace(solved(), title="<script>alert(1)</script>")
    assert "<script>" not in hostile._repr_html_()
    assert "&lt;script&gt;" in hostile._repr_html_()
