"""Is soilflow right? What it says beside numbers known from outside it.

    python benchmarks/verification.py [--json] [--group NAME ...] [--out FOLDER]

Prints one row for each check: a published value, a derivation or another program's answer, and
what soilflow says, computed here and now through its documented functions. Errors are relative,
or absolute where the value is nought. Tolerances of published values are those of the source or
of the scheme at the cell size stated; identities are held to what the solver leaves. Ends with a
status other than 0 when a row does not pass. With all groups, table and figure are written too.

Published checks of what soilflow does not compute have no row: inertia in gravel between circles,
entry losses and short slits, slip, how fast a field settles, transport of radon.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Iterable, Sequence
from pathlib import Path

from checks import GROUPS
from checks.row import EQUAL, Group, Row, as_json

TABLES = Path(__file__).parent / "tables"
_WIDTHS = "{:<70} {:>2} {:>13} {:>13} {:>8} {:>8} {:>5}  {:<4} {}"

Found = Sequence[tuple[Group, Sequence[Row]]]


def number(value: float) -> str:
    return f"{value:.7g}"


def row_line(row: Row) -> str:
    return _WIDTHS.format(
        row.check,
        "" if row.relation == EQUAL else row.relation,
        number(row.value),
        number(row.ours),
        f"{row.error:.1e}",
        f"{row.tolerance:.1e}",
        "" if row.order is None else f"{row.order:.2f}",
        "ok" if row.passed else "FAIL",
        row.source,
    )


def heading() -> str:
    names = ("check", "", "value", "ours", "error", "allowed", "order", "", "source")
    return _WIDTHS.format(*names).rstrip()


def group_lines(group: Group, rows: Iterable[Row]) -> Iterable[str]:
    yield ""
    yield f"{group.name}: {group.proves}"
    for row in rows:
        yield "  " + row_line(row).rstrip()


def spent(row: Row) -> float:
    """Part of the tolerance that the error takes up; without end for an error where none may be."""
    if row.tolerance > 0.0:
        return row.error / row.tolerance
    return 0.0 if row.passed else math.inf


def summary_lines(found: Found) -> list[str]:
    """What README shows: rows of each group, how near the worst came, and how many passed."""
    lines = [f"{'group':<26} {'rows':>4} {'worst error / allowed':>22}  passed"]
    for group, rows in found:
        passed = sum(row.passed for row in rows)
        word = "all" if passed == len(rows) else f"{passed}"
        worst = max(map(spent, rows))
        lines.append(f"{group.name:<26} {len(rows):>4} {worst:>22.2f}  {word}")
    rows = [row for _, rows in found for row in rows]
    passed = sum(row.passed for row in rows)
    word = "all" if passed == len(rows) else f"{passed}"
    lines.append(f"{'together':<26} {len(rows):>4} {max(map(spent, rows)):>22.2f}  {word}")
    return lines


def chosen(names: Sequence[str] | None) -> tuple[Group, ...]:
    return tuple(group for group in GROUPS if not names or group.name in names)


def run(groups: Iterable[Group], *, show: bool) -> tuple[Found, list[str]]:
    """Rows of the groups, and the lines of the table, printed as they come."""
    found: list[tuple[Group, list[Row]]] = []
    lines: list[str] = []

    def say(line: str) -> None:
        lines.append(line)
        if show:
            print(line, flush=True)

    say("  " + heading())
    for group in groups:
        rows: list[Row] = []
        found.append((group, rows))

        def kept(made: Iterable[Row], rows: list[Row] = rows) -> Iterable[Row]:
            for row in made:
                rows.append(row)
                yield row

        for line in group_lines(group, kept(group.rows())):
            say(line)
    say("")
    for line in summary_lines(found):
        say(line)
    return found, lines


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="a list of rows on standard output")
    parser.add_argument("--group", action="append", choices=[g.name for g in GROUPS])
    parser.add_argument("--out", type=Path, default=None, help="folder for table and figure")
    options = parser.parse_args(arguments)
    start = time.perf_counter()
    groups = chosen(options.group)
    found, lines = run(groups, show=not options.json)
    if options.json:
        print(json.dumps([as_json(group, row) for group, rows in found for row in rows], indent=1))
    else:
        print(f"{time.perf_counter() - start:.0f} s")
    folder = options.out or (TABLES if groups == GROUPS else None)
    if folder is not None:
        from checks.figure import draw, save

        folder.mkdir(parents=True, exist_ok=True)
        command = "# python benchmarks/verification.py"
        text = "\n".join([command, *lines]) + "\n"
        (folder / "verification.txt").write_text(text, encoding="utf-8")
        save(draw(found), folder / "verification.png")
    failed = [row for _, rows in found for row in rows if not row.passed]
    for row in failed:
        print(
            f"not passed: {row.check}: {row.error:.1e}, {row.tolerance:.1e} allowed",
            file=sys.stderr,
        )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
