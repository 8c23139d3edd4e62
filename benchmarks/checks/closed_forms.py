"""The closed forms that printouts and figures lay beside a solved field."""

from __future__ import annotations

from collections.abc import Iterator

from checks.row import MEMORY, Group, Row
from soilflow.flow import analytic

MU = 1.81e-5
THIEM = "Thiem 1906" + MEMORY + "; 1-D FEM"
LEAKY = "de Glee 1930, Jacob 1946" + MEMORY + "; 1-D FEM and an analytic-element library"
DISK = "Jacob 1946" + MEMORY + "; 1-D FEM"
SPHERE = "Incropera & DeWitt Table 4.1" + MEMORY


def _numbers() -> Iterator[tuple[str, str, float, float]]:
    """Check, source, value, ours."""
    s = analytic.shape_factor_radial_thiem(0.10, 0.15, 5.0)
    found = analytic.flow_darcy(s, 1e-10, 250.0, MU)
    yield "between circles, flow", THIEM, 2.474915e-4, found
    yield "the same in m3/h", THIEM, 0.890969, found * 3600.0
    yield "the same in cfm", THIEM, 0.524405, found / 4.719474432e-4
    found = analytic.pressure_radial_thiem(1.0, 0.15, 5.0, 250.0)
    yield "between circles, pressure at 1 m", THIEM, -114.7449, found
    found = analytic.coverage_radial_thiem(5.0, 0.15, 5.0, 250.0)
    yield "between circles, coverage at 5 Pa", "derived; 1-D FEM", 0.8691302, found
    found = analytic.shape_factor_square(1.0, 0.15, 10.0)
    source = f"{SPHERE}; eigenfunction series"
    yield "round pit in a square of 10 m, S / b", source, 1.753943, found
    yield "leakage length", "root of T / G" + MEMORY, 2.000, analytic.leakage_length(2e-11, 5e-12)
    found = analytic.flow_leaky_de_glee(0.15, 2e-11, 5e-12, 200.0, MU)
    yield "leaky layer without end, flow", LEAKY, 5.074909e-4, found
    found = analytic.pressure_leaky_de_glee(3.0, 0.15, 2.0, 200.0)
    yield "leaky layer without end, pressure at 3 m", LEAKY, -15.77079, found
    for word, edge_open, flow, pressures in (
        ("sealed", False, 5.020051e-4, ((2.5, -24.78108), (5.0, -11.59782))),
        ("open", True, 5.110956e-4, ((2.5, -20.09286),)),
    ):
        found = analytic.flow_leaky_disk_jacob(
            0.15, 5.0, 2e-11, 5e-12, 200.0, MU, edge_open=edge_open
        )
        yield f"leaky disk, {word} edge, flow", DISK, flow, found
        for distance, value in pressures:
            found = analytic.pressure_leaky_disk_jacob(
                distance, 0.15, 5.0, 2.0, 200.0, edge_open=edge_open
            )
            yield f"leaky disk, {word} edge, at {distance:g} m", DISK, value, found
    yield from _in_space()


def _in_space() -> Iterator[tuple[str, str, float, float]]:
    source = f"{SPHERE}, sphere limit"
    free = analytic.flow_darcy(analytic.shape_factor_hemisphere(0.25), 1e-12, 250.0, MU)
    yield "hemisphere in a half space, flow", source, 2.169608e-5, free
    shell = analytic.shape_factor_hemisphere(0.25, 10.0)
    found = analytic.flow_darcy(shell, 1e-12, 250.0, MU)
    yield "hemisphere in a shell of 10 m, flow", f"{source}; FEM", 2.225239e-5, found
    found = analytic.pressure_shell(1.0, 0.25, 10.0, 250.0)
    yield "hemisphere in a shell, pressure at 1 m", f"{source}; FEM", -57.69231, found
    source = "Hwang & Mascagni 2004" + MEMORY + "; panel BEM"
    yield "half cube of 1 m, S", source, 4.151163, analytic.shape_factor_half_cube(1.0)
    yield "half cube of 0.4 m, S", source, 1.660465, analytic.shape_factor_half_cube(0.4)
    for word, sealed, value in (("open", False, 2.218956), ("sealed", True, 1.639825)):
        found = analytic.shape_factor_sphere_near_plane(0.15, 0.5, sealed=sealed)
        source = "Smythe, Static and Dynamic Electricity" + MEMORY + "; image series"
        yield f"sphere of 0.30 m, 0.5 m under {word} ground, S", source, value, found
    found = analytic.flow_composite_thiem((0.15, 4.0, 5.0), (1e-12, 2e-11), 0.5, 250.0, MU)
    yield "two rings of soil, flow", THIEM, 1.317081e-5, found


def rows() -> Iterator[Row]:
    for check, source, value, ours in _numbers():
        yield Row(check=check, source=source, value=value, ours=float(ours), tolerance=1e-6)
    for word, radius, value in (("two buckets", 0.2624, 0.6107), ("one bucket", 0.2083, 0.5592)):
        yield Row(
            check=f"flow with 20 mm packed to a tenth, {word}",
            source="derived: two resistances in series, printed to four figures",
            value=value,
            ours=analytic.flow_ratio_smear(radius, 0.020, 0.1),
            tolerance=1e-4 / value,
        )


CLOSED_FORMS = Group(
    name="closed forms",
    proves="The formulas laid beside solved fields give the printed numbers.",
    rows=rows,
)
