"""Units, pipes, fans, and where a fan meets its system."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

import numpy as np

from checks.row import AT_LEAST, AT_MOST, MEMORY, Group, Row
from soilflow.layout import pipes
from soilflow.layout.drive import Drive, velocities
from soilflow.layout.fan import Fan, fan_power
from soilflow.layout.losses import friction_factor
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree
from soilflow.operating_point import OperatingPoint, solve_operating_point
from soilflow.units import M3S_PER_CFM, M_PER_INCH, MS_PER_FPM, PA_PER_INCH_WC, parse_quantity

RHO, MU = 1.204, 1.81e-5
DEEP = 1e14  # so much air that compression is lost [Pa]


def unit_rows() -> Iterator[Row]:
    for text, dimension, value, tolerance in (
        ("1 in. w.c.", "pressure", 249.08891, 2e-7),
        ("1 mm w.c.", "pressure", 9.80665, 2e-7),
        ("1 in. Hg", "pressure", 3386.389, 2e-7),
        ("1 psi", "pressure", 6894.757, 2e-7),
        ("1 cfm", "flow", 4.719474e-4, 2e-7),
        ("1 darcy", "permeability", 9.869233e-13, 2e-7),
    ):
        yield Row(
            check=text,
            source="NIST SP 811 (2008) App. B" + MEMORY,
            value=value,
            ours=parse_quantity(text, dimension),
            tolerance=tolerance,
        )
    for soil, text, value in (
        ("clay", "0.0005 darcy", 4.9e-16),
        ("sand", "50 darcy", 4.9e-11),
        ("gravel and sand", "500 darcy", 4.9e-10),
        ("gravel", "5000 darcy", 4.9e-9),
    ):
        yield Row(
            check=f"{soil}, {text}",
            source="Linsley, Kohler & Paulhus 1982, table seen; m2 to two figures",
            value=value,
            ours=parse_quantity(text, "permeability"),
            tolerance=0.01,
        )


def run_of(bore: float, roughness: float, *, length: float = 1.0, **more: object) -> PipeTree:
    """A tree with one run, nothing lost at its ends; the bore in metres."""
    pipe = Pipe(name=DISCHARGE, length=length, bore=bore, roughness=roughness, **more)
    return PipeTree(
        pipes=(), discharge=pipe, discharge_height=0.0, entry_coefficient=0.0, exit_coefficient=0.0
    )


def loss_of(tree: PipeTree, flow: float, density: float = RHO) -> float:
    return pipes.pipe_loss(tree.discharge, flow, density=density, viscosity=MU)


def _friction() -> Iterator[Row]:
    source = "Colebrook 1939 with Darcy-Weisbach, worked twice"
    for name, inches, roughness, cfm, factor, gradient, printed in (
        ("4 in galvanized", 4.0, 9e-5, 100, 0.0245750, 4.93433, 0.603795),
        ("4 in Sch 40", 4.026, 1.5e-6, 50, 0.0260619, 1.26652, 0.154979),
        ("4 in Sch 40", 4.026, 1.5e-6, 100, 0.0221323, 4.30222, 0.526445),
        ("3 in Sch 40", 3.068, 1.5e-6, 20, 0.0307052, 0.929031, 0.113682),
        ("3 in Sch 40", 3.068, 1.5e-6, 50, 0.0244196, 4.61783, 0.565065),
        ("3 in Sch 40", 3.068, 1.5e-6, 100, 0.0208435, 15.7663, 1.92925),
        ("2 in Sch 40", 2.067, 1.5e-6, 20, 0.0277550, 6.04971, 0.740279),
    ):
        bore, flow, check = inches * M_PER_INCH, cfm * M3S_PER_CFM, f"{name}, {cfm} cfm"
        found = friction_factor(4.0 * RHO * flow / (math.pi * bore * MU), roughness / bore)
        hundred_feet = run_of(bore, roughness, length=30.48)
        for what, value, ours in (
            ("friction factor", factor, found),
            ("loss a metre", gradient, loss_of(run_of(bore, roughness), flow)),
            ("loss of 100 ft", printed, loss_of(hundred_feet, flow) / PA_PER_INCH_WC),
        ):
            yield Row(
                check=f"{what}, {check}", source=source, value=value, ours=ours, tolerance=3e-6
            )
    for inches, cfm, reading in ((20.0, 4000, 0.23), (60.0, 100000, 0.4)):
        tree = run_of(inches * M_PER_INCH, 9e-5, length=30.48)
        yield Row(
            check=f"friction diagram, {inches:g} in, {cfm} cfm",
            source="engineeringtoolbox.com, read off a diagram to 15 %",
            value=reading,
            ours=loss_of(tree, cfm * M3S_PER_CFM) / PA_PER_INCH_WC,
            tolerance=0.15,
        )


def _fittings() -> Iterator[Row]:
    source = "engineeringtoolbox.com d_208, seen"
    flow = 0.03
    bare = run_of(0.1, 1.5e-6)
    head = RHO * (flow / bare.discharge.area) ** 2 / 2.0

    def heads(word: str) -> float:
        return (loss_of(run_of(0.1, 1.5e-6, fittings=(word,)), flow) - loss_of(bare, flow)) / head

    for word, value in (
        ("sharp 90 bend", 1.3),
        ("rounded 90 bend, r/D above 1", 0.25),
        ("rounded 90 bend, r/D below 1", 0.5),
        ("sharp 45 bend", 0.5),
        ("tee to branch", 0.3),
        ("entry from room", 0.35),
        ("discharge", 1.0),
    ):
        yield Row(
            check=f"velocity heads, {word}",
            source=source,
            value=value,
            ours=heads(word),
            tolerance=1e-6,
        )
    long_sweep = heads("long-sweep elbow")
    for relation, value in ((AT_LEAST, 0.2), (AT_MOST, 0.4)):
        yield Row(
            check="velocity heads, long-sweep elbow",
            source="plastic drain fittings, 0.2 to 0.4" + MEMORY,
            value=value,
            ours=long_sweep,
            relation=relation,
            tolerance=0.0,
        )
    flow = 10.0 * bare.discharge.area
    bent = loss_of(run_of(0.1, 1.5e-6, fittings=("sharp 90 bend",)), flow, 1.2)
    yield Row(
        check="sharp bend at 10 m/s, metres of air",
        source="engineeringtoolbox.com d_208, worked example: 6.6 m",
        value=6.6,
        ours=(bent - loss_of(bare, flow, 1.2)) / (1.2 * 9.81),
        tolerance=0.0076,  # half a unit of the last figure printed
    )


def _velocities() -> Iterator[Row]:
    for inches, cfm in ((2, 35), (3, 80), (4, 140), (6, 315)):
        drive = Drive(
            points=(DISCHARGE,), pipes=run_of(inches * M_PER_INCH, 1.5e-6), pressure_atm=DEEP
        )
        found = velocities(drive, {DISCHARGE: cfm * M3S_PER_CFM}, 0.0)[DISCHARGE]
        yield Row(
            check=f"fpm at {cfm} cfm in {inches} in",
            source="ANSI/AARST SGM-SF 2017 rev. 12/20, 6.3.8, seen",
            value=1600.0,
            ours=found / MS_PER_FPM,
            tolerance=0.02,
        )


def pipe_rows() -> Iterator[Row]:
    yield from _friction()
    yield from _fittings()
    yield from _velocities()


def on_soil(conductance: float, **drive: object) -> OperatingPoint:
    """One point on a soil that passes so much a pascal from the room."""
    return solve_operating_point(
        np.array([[conductance, -conductance], [-conductance, conductance]]),
        port_names=("A", "room"),
        given_pressures={"room": 0.0},
        drives=[Drive(points=("A",), pressure_atm=DEEP, **drive)],
        pressure_atm=DEEP,
    )


def fan_rows() -> Iterator[Row]:
    source = "derived: a quadratic in Q; a root finder agrees"
    flows = np.linspace(0.0, 0.08, 2001)
    parabola = Fan(
        name="parabola",
        flows=tuple(flows),
        static_pressures=tuple(350.0 * (1.0 - (flows / 0.08) ** 2)),
    )
    area = math.pi * 0.1**2 / 4.0
    hair = {"length": 1e-12, "bore": 0.1}
    lossy = Pipe(name="A", loss_coefficient=2e4 * 2.0 * area**2 / RHO, **hair)
    tree = dataclasses.replace(
        run_of(0.1, 1.5e-6), pipes=(lossy,), discharge=Pipe(name=DISCHARGE, **hair)
    )
    point = on_soil(3e-4, fan=parabola, pipes=tree)
    for check, value, ours in (
        ("flow where fan, pipe and soil meet", 4.968591e-2, point.fan_flow),
        ("vacuum of the pit there", 165.6197, -float(point.pressures[0])),
        ("pressure of the fan there", 214.9935, point.fan_static),
    ):
        yield Row(check=check, source=source, value=value, ours=ours, tolerance=1e-6)
    source = "fan laws, AMCA and ASHRAE" + MEMORY
    straight = Fan(
        name="straight",
        flows=(0.0, 0.1),
        static_pressures=(400.0, 0.0),
        powers=(60.0, 60.0),
        density=RHO,
    )
    slow = dataclasses.replace(straight, speed=2400.0 / 3000.0)
    yield Row(
        check="free-air flow, 3000 to 2400 rpm",
        source=source,
        value=0.8,
        ours=slow.free_air_flow / straight.free_air_flow,
        tolerance=1e-6,
    )
    yield Row(
        check="shutoff pressure, 3000 to 2400 rpm",
        source=source,
        value=0.64,
        ours=slow.shutoff_pressure / straight.shutoff_pressure,
        tolerance=1e-6,
    )
    power = [fan_power(fan, 0.02, density=RHO) or math.nan for fan in (straight, slow)]
    yield Row(
        check="power, 3000 to 2400 rpm",
        source=source,
        value=0.512,
        ours=power[1] / power[0],
        tolerance=1e-6,
    )
    yield from _fans_on_soil(straight, source)


def _fans_on_soil(straight: Fan, source: str) -> Iterator[Row]:
    """A fan p0 - s Q on a soil Q = C p settles at p0 / (1 + s C), and follows the fan laws."""
    c = 1e-4
    for speed, thinner, check in (
        (1.0, 1.0, "straight fan on soil"),
        (0.8, 1.0, "straight fan on soil, at 0.8 of its speed"),
        (1.0, 0.855213, "straight fan on soil, 1600 m up"),
    ):
        point = on_soil(
            c,
            fan=dataclasses.replace(straight, speed=speed),
            pipe_density=thinner * RHO,
            outdoor_density=thinner * RHO,
        )
        yield Row(
            check=check,
            source=f"{source}; meeting point derived",
            value=thinner * speed**2 * 400.0 / (1.0 + thinner * speed * 4000.0 * c),
            ours=-float(point.pressures[0]),
            tolerance=1e-6,
        )


UNITS = Group(
    name="units",
    proves="Quantities as the trade writes them become the SI numbers of the standards.",
    rows=unit_rows,
)
PIPES = Group(
    name="pipes",
    proves="Pipes lose what Colebrook's factor, public fitting tables and trade velocities say.",
    rows=pipe_rows,
)
FANS = Group(
    name="fans",
    proves="Fan, pipe and soil meet where the algebra puts them, at any speed and altitude.",
    rows=fan_rows,
)
