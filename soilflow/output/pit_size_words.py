"""What the next bucket is worth, in words: printout, table and plain data."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from soilflow.output.page import Page, spoken
from soilflow.results.coverage import PASS_LINE
from soilflow.studies.deciding import judged_by
from soilflow.studies.pit_series import PitSeries, PitSizes
from soilflow.studies.pit_size import PLACES, STATES
from soilflow.units import M3S_PER_CFM, M_PER_INCH, PA_PER_INCH_WC

__all__ = [
    "CFM_PER_INCH",
    "RULE",
    "pit_sizes_to_csv",
    "pit_sizes_to_dict",
    "print_pit_sizes",
    "state_words",
    "stop_words",
]

# One cfm for each inch of water, in SI. [m3/(s Pa)]
CFM_PER_INCH = M3S_PER_CFM / PA_PER_INCH_WC
RULE = (
    "The rule: dig on while a bucket still to come adds a tenth or more to the air the pit draws, "
    "and stop sooner where the floor holds already. Where no pit holds it, more digging in one "
    "place is not the answer: scrape the wall, add a pit, seal, or look for the gap."
)


def state_words(found: PitSizes, state: str) -> str:
    """How the soil is, with the numbers behind it.

    Parameters
    ----------
    found : PitSizes
        The study.
    state : str
        The state.

    Returns
    -------
    words : str
        A short line.
    """
    digging = found.digging
    detail = {
        "scraped": "",
        "smeared": f", {1e3 * digging.smear:.3g} mm at {digging.smear_ratio:.2g} of the soil",
        "seam": f" from {digging.seam_depth / M_PER_INCH:.3g} in down, "
        f"{digging.seam_looser_by:.3g} times looser",
        "gap": "",
    }
    return STATES[state] + detail[state]


def stop_words(series: PitSeries) -> str:
    """When to stop, and what the next bucket would have added.

    Parameters
    ----------
    series : PitSeries
        One shape in one place and state.

    Returns
    -------
    words : str
        A clause.
    """
    stop, holds = series.stop, series.holds_from
    gains = series.gains
    if stop < gains.size and not math.isnan(gains[stop]):
        said = f"stop after {_buckets(stop)}, the next adds {_whole(gains[stop])} %"
    elif stop < gains.size:
        said = f"no more than {_buckets(stop)} may be dug here"
    else:
        said = f"{_buckets(stop)} or more: the last added {_whole(gains[-1])} %"
    held = {None: "no size holds the floor", 0: "a bare core hole holds the floor"}
    return f"{said}; {held.get(holds, f'the floor holds from {_buckets(holds or 0)}')}"


def _whole(gain: float) -> int:
    """Per cent without a fraction, and without a sign on nothing."""
    return round(100.0 * gain)


def _buckets(count: int) -> str:
    if count == 0:
        return "the bare core hole"
    return "1 bucket" if count == 1 else f"{count} buckets"


def print_pit_sizes(found: PitSizes, *, verbose: bool = False, width: int = 60) -> str:
    """What digging brings, as text.

    Parameters
    ----------
    found : PitSizes
        The study.
    verbose : bool
        Whether to print conductances and margins of every pit.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        For each place and state what each bucket adds, and when to stop.
    """
    page = Page(width)
    page.say(found.case.title)
    page.say(
        "What each bucket (5 gal of hole) adds to the air a pit draws for the same suction, from a "
        "bare 4 in core hole on."
    )
    for place, state in dict.fromkeys((s.place, s.state) for s in found.series):
        rows = [s for s in found.series if (s.place, s.state) == (place, state)]
        page.heading(f"{PLACES[place]}: {state_words(found, state)}".upper())
        page.rows(_gain_rows(rows))
        for series in rows:
            page.say(f"{series.shape}: {stop_words(series)}.", first="  ", rest="    ")
            if verbose:
                page.rows(_detail_rows(series), indent="    ")
                if series.refused:
                    page.say(series.refused, first="    ", rest="    ")
    page.heading("WHEN TO STOP")
    page.say(RULE)
    page.say(
        f"Held means {PASS_LINE:g} Pa at the worst spot in "
        f"{spoken(judged_by(found.case)[0].name)}, with this one pit."
    )
    if "wall" in found.places:
        page.say(
            "At the wall a pit wide enough to reach the joint draws room air straight from it; "
            "what a bucket adds there is no gain."
        )
    for reason in found.failures:
        page.say(f"Not solved somewhere (shown as ?): {reason}")
    return page.text()


def _gain_rows(rows: list[PitSeries]) -> list[tuple[str, ...]]:
    head = ("bucket", *(f"{n + 1}" for n in range(rows[0].gains.size)))
    return [head, *((series.shape, *(_percent(g) for g in series.gains)) for series in rows)]


def _percent(gain: float) -> str:
    if math.isnan(gain):
        return "-"
    return f"x {1.0 + gain:.2g}" if gain >= 1.0 else f"{_whole(gain):+d}%"


def _detail_rows(series: PitSeries) -> list[tuple[str, ...]]:
    head = ("buckets", "cfm per in. w.c.", "to spare [Pa]", "cfm")
    rows = [
        (f"{n}", *(_figure(v) for v in (g / CFM_PER_INCH, m, q / M3S_PER_CFM)))
        for n, (g, m, q) in enumerate(
            zip(series.conductance, series.margins, series.flows, strict=True)
        )
    ]
    return [head, *rows]


def _figure(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.3g}"


_COLUMNS = {
    "place": "",
    "state": "",
    "shape": "",
    "buckets": "",
    "conductance": "m3/(s Pa)",
    "gain": "-",
    "margin": "Pa",
    "flow": "m3/s",
    "stop_here": "",
}


def _rows(found: PitSizes) -> list[dict[str, Any]]:
    rows = []
    for series in found.series:
        for n in range(series.conductance.size):
            numbers = (
                float(series.conductance[n]),
                float(series.gains[n - 1]) if n else math.nan,
                float(series.margins[n]),
                float(series.flows[n]),
            )
            names = ("conductance", "gain", "margin", "flow")
            rows.append(
                {
                    "place": series.place,
                    "state": series.state,
                    "shape": series.shape,
                    "buckets": n,
                    **{
                        name: None if math.isnan(value) else value
                        for name, value in zip(names, numbers, strict=True)
                    },
                    "stop_here": n == series.stop,
                }
            )
    return rows


def pit_sizes_to_csv(found: PitSizes) -> str:
    """What digging brings as a table, one row for each pit.

    Parameters
    ----------
    found : PitSizes
        The study.

    Returns
    -------
    text : str
        CSV; the header names each column with its unit, numbers are SI.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([f"{name} [{unit}]" if unit else name for name, unit in _COLUMNS.items()])
    for row in _rows(found):
        writer.writerow([_cell(value) for value in row.values()])
    return out.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else value


def pit_sizes_to_dict(found: PitSizes) -> dict[str, Any]:
    """What digging brings in plain types, ready for JSON.

    Parameters
    ----------
    found : PitSizes
        The study.

    Returns
    -------
    report : dict
        Pits, when to stop, and the rule; SI.
    """
    return {
        "study": "pit-size",
        "title": found.case.title,
        "rule": RULE,
        "pass_line_Pa": PASS_LINE,
        "conditions": [condition.name for condition in judged_by(found.case)],
        "places_m": {name: list(place) for name, place in found.places.items()},
        "grid": found.case.resolution.name,
        "stops": [
            {
                "place": s.place,
                "state": s.state,
                "shape": s.shape,
                "stop_after_buckets": s.stop,
                "holds_from_buckets": s.holds_from,
                "words": stop_words(s),
                "refused": s.refused,
            }
            for s in found.series
        ],
        "failures": list(found.failures),
        "pits": _rows(found),
    }
