"""Ducts, fans and units against printed tables. Tolerance 1e-6, trade pairs 2 %.

Air of 1.204 kg/m3 and 1.81e-5 Pa s unless said otherwise.
"""

import dataclasses
import math

import numpy as np
import pytest
import scipy.constants as si
from numpy.testing import assert_allclose
from one_fan import fans_meet_soil

from soilflow import data
from soilflow.layout.drive import Drive, pipe_notes, velocities
from soilflow.layout.fan import Fan
from soilflow.layout.losses import friction_factor
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree, pipe_losses
from soilflow.unit_tables import TABLES
from soilflow.units import M3S_PER_CFM, M_PER_INCH, MS_PER_FPM, PA_PER_INCH_WC, parse_quantity

RHO, MU = 1.204, 1.81e-5
DEEP = 1e14  # so much air that compression is lost [Pa]

# The constants table of scipy.constants (CODATA and the exact definitions), an independent
# source; combinations by the meaning of the unit.
FACTORS = {
    "length": {"ft": si.foot, "in": si.inch, "m": 1.0, "cm": si.centi, "mm": si.milli},
    "area": {"sq ft": si.foot**2, "sq in": si.inch**2, "m2": 1.0, "cm2": si.centi**2},
    "volume": {
        "gal": si.gallon_US,
        "buckets": 5.0 * si.gallon_US,
        "cu ft": si.foot**3,
        "cu yd": si.yard**3,
        "m3": 1.0,
        "L": si.liter,
    },
    "permeability": {
        "m2": 1.0,
        "darcy": 9.869233e-13,
        "millidarcy": 9.869233e-16,
        "cm2": si.centi**2,
        "um2": si.micro**2,
    },
    "pressure": {
        "in. w.c.": si.inch / si.milli * si.g,
        "mm w.c.": si.g,
        "Pa": 1.0,
        "kPa": si.kilo,
        "hPa": si.hecto,
        "bar": si.bar,
        "atm": si.atm,
        "in. Hg": si.inch / si.milli * 133.322387,  # conventional mm of mercury, NIST, memory
        "psi": si.psi,
    },
    "flow": {
        "cfm": si.foot**3 / si.minute,
        "m3/s": 1.0,
        "m3/h": 1.0 / si.hour,
        "L/s": si.liter,
        "L/min": si.liter / si.minute,
    },
    "temperature": {"F": si.degree_Fahrenheit, "C": 1.0, "K": 1.0},
    "ratio": {"": 1.0, "%": si.centi, "in/ft": si.inch / si.foot},
    "velocity": {
        "fpm": si.foot / si.minute,
        "m/s": 1.0,
        "ft/s": si.foot,
        "mph": si.mph,
        "km/h": si.kmh,
    },
    "power": {"W": 1.0, "kW": si.kilo, "hp": si.hp},
    "density": {"kg/m3": 1.0, "lb/cu ft": si.pound / si.foot**3},
    "angle": {"deg": si.degree, "rad": 1.0},
    "time": {"s": 1.0, "min": si.minute, "h": si.hour, "days": si.day},
}
FACTORS["length"] |= {"um": si.micron, "yd": si.yard}


def test_every_unit_there_is_stands_in_the_list():
    ours = {name: {unit.label for unit in table.units} for name, table in TABLES.items()}
    assert ours == {name: set(units) for name, units in FACTORS.items()}


@pytest.mark.parametrize(
    ("dimension", "label"), [(name, label) for name, units in FACTORS.items() for label in units]
)
def test_units_against_another_table(dimension, label):
    """Differences of two readings, so that the zero of a temperature does not count."""
    one, three = (parse_quantity(f"{n} {label}".strip(), dimension) for n in (1, 3))
    assert_allclose(three - one, 2.0 * FACTORS[dimension][label], rtol=1e-6)


def test_zeros_of_the_temperature_scales():
    for text, kelvin in (("0 C", si.zero_Celsius), ("32 F", 273.15), ("212 F", 373.15)):
        assert_allclose(parse_quantity(text, "temperature"), kelvin, rtol=1e-12)


# NIST SP 811 (2008) Appendix B, from memory; the second source is a general units package
@pytest.mark.parametrize(
    ("text", "dimension", "printed"),
    [
        ("1 in. w.c.", "pressure", 249.08891),
        ("1 mm w.c.", "pressure", 9.80665),
        ("1 in. Hg", "pressure", 3386.389),
        ("1 psi", "pressure", 6894.757),
        ("1 cfm", "flow", 4.719474e-4),
        ("1 darcy", "permeability", 9.869233e-13),
    ],
)
def test_printed_factors(text, dimension, printed):
    assert_allclose(parse_quantity(text, dimension), printed, rtol=2e-7)


@pytest.mark.parametrize("other", [249.082, 248.84])
def test_other_inches_of_water_differ_by_a_tenth_of_a_per_cent(other):
    """At 4 C and at 60 F; ours is the conventional one."""
    assert 0.0 < PA_PER_INCH_WC / other - 1.0 < 1.01e-3


def run(bore_inches, roughness, length=1.0, **more):
    """A tree with one run, nothing lost at its ends."""
    pipe = Pipe(
        name=DISCHARGE, length=length, bore=bore_inches * M_PER_INCH, roughness=roughness, **more
    )
    return PipeTree(
        pipes=(), discharge=pipe, discharge_height=0.0, entry_coefficient=0.0, exit_coefficient=0.0
    )


def loss_of(tree, flow, density=RHO):
    return pipe_losses(tree, {DISCHARGE: flow}, density=density, viscosity=MU)[DISCHARGE]


def inches_per_100_ft(bore_inches, roughness, cfm):
    tree = run(bore_inches, roughness, length=100.0 * si.foot)
    return loss_of(tree, cfm * M3S_PER_CFM) / PA_PER_INCH_WC


# Darcy-Weisbach with Colebrook's factor, worked twice: 4-in galvanized, then Schedule 40 plastic
# of 4.026, 3.068 and 2.067 in. Bore [in], roughness [m], flow [cfm], Re, loss [in. w.c./100 ft].
ROWS = [
    (4.0, 9e-5, 100, 39342, 0.603795),
    (4.026, 1.5e-6, 50, 19544, 0.154979),
    (4.026, 1.5e-6, 100, 39088, 0.526445),
    (3.068, 1.5e-6, 20, 10259, 0.113682),
    (3.068, 1.5e-6, 50, 25647, 0.565065),
    (3.068, 1.5e-6, 100, 51294, 1.92925),
    (2.067, 1.5e-6, 20, 15227, 0.740279),
]


@pytest.mark.parametrize(("bore", "roughness", "cfm", "reynolds", "printed"), ROWS)
def test_loss_of_a_hundred_feet(bore, roughness, cfm, reynolds, printed):
    """Printed to six figures: half a unit of the last one."""
    last = 10.0 ** (math.floor(math.log10(printed)) - 5)
    assert_allclose(inches_per_100_ft(bore, roughness, cfm), printed, rtol=0, atol=0.5 * last)


@pytest.mark.parametrize(("bore", "roughness", "cfm", "reynolds", "printed"), ROWS)
def test_haalands_explicit_factor_is_near(bore, roughness, cfm, reynolds, printed):
    """1/sqrt f = -1.8 log10((eps/3.7D)^1.11 + 6.9/Re): within 1.3 % (Haaland 1983, memory)."""
    relative = roughness / (bore * M_PER_INCH)
    haaland = (-1.8 * math.log10((relative / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2
    assert_allclose(haaland, friction_factor(float(reynolds), relative), rtol=0.013)


# engineeringtoolbox.com friction diagrams, seen: readings [in. w.c./100 ft] and [fpm]; then what
# Colebrook's factor gives at 0.09 mm, and at 0.15 mm to a unit of the last figure
@pytest.mark.parametrize(
    ("bore", "cfm", "reading", "speed", "smooth", "rough"),
    [(20.0, 4000, 0.23, 1850, 0.2011, 0.212), (60.0, 100000, 0.4, 5000, 0.3813, 0.407)],
)
def test_readings_of_a_friction_diagram(bore, cfm, reading, speed, smooth, rough):
    """Read off a chart: 15 %."""
    assert_allclose(inches_per_100_ft(bore, 9e-5, cfm), reading, rtol=0.15)
    assert_allclose(inches_per_100_ft(bore, 9e-5, cfm), smooth, rtol=0, atol=0.5e-4)
    assert_allclose(inches_per_100_ft(bore, 1.5e-4, cfm), rough, rtol=0, atol=1e-3)
    area = run(bore, 9e-5).discharge.area
    assert_allclose(cfm * M3S_PER_CFM / area / MS_PER_FPM, speed, rtol=0.02)


# engineeringtoolbox.com d_208, minor losses in ducts, seen; the elbow 0.2 to 0.4 from memory
@pytest.mark.parametrize(
    ("word", "low", "high"),
    [
        ("sharp 90 bend", 1.3, 1.3),
        ("rounded 90 bend, r/D above 1", 0.25, 0.25),
        ("rounded 90 bend, r/D below 1", 0.5, 0.5),
        ("sharp 45 bend", 0.5, 0.5),
        ("tee to branch", 0.3, 0.3),
        ("entry from room", 0.35, 0.35),
        ("discharge", 1.0, 1.0),
        ("long-sweep elbow", 0.2, 0.4),
    ],
)
def test_fittings_of_a_public_table(word, low, high):
    """In velocity heads, as the loss of a pipe shows them."""
    bare, fitted = run(4.0, 1.5e-6), run(4.0, 1.5e-6, fittings=(word,))
    flow = 0.03
    head = RHO * (flow / bare.discharge.area) ** 2 / 2.0
    heads = (loss_of(fitted, flow) - loss_of(bare, flow)) / head
    assert low * (1.0 - 1e-9) <= heads <= high * (1.0 + 1e-9)


def test_every_fitting_stands_in_that_list():
    assert len(data.fittings()) == 8


def test_worked_example_of_a_bend():
    """1.3 heads at 10 m/s: 78 Pa at 1.2 kg/m3, with g = 9.81 m/s2 6.626 m of air."""
    bare, bent = run(4.0, 1.5e-6), run(4.0, 1.5e-6, fittings=("sharp 90 bend",))
    flow = 10.0 * bare.discharge.area
    loss = loss_of(bent, flow, density=1.2) - loss_of(bare, flow, density=1.2)
    assert_allclose(loss, 78.0, rtol=1e-9)
    assert_allclose(loss / (1.2 * 9.81), 6.626, rtol=0, atol=5e-4)


def test_loss_follows_density_where_the_flow_is_turbulent():
    """Fittings as rho; laminar friction, 32 mu L v / D^2, not at all."""
    bare, bent = run(4.0, 1.5e-6), run(4.0, 1.5e-6, fittings=("sharp 90 bend",))
    thin, thick = (loss_of(bent, 0.03, d) - loss_of(bare, 0.03, d) for d in (1.0, 1.2))
    assert_allclose(thick / thin, 1.2, rtol=1e-9)
    assert_allclose(loss_of(bare, 1e-3, 1.2), loss_of(bare, 1e-3, 1.0), rtol=1e-12)


# ANSI/AARST SGM-SF 2017 rev. 12/20, 6.3.8, seen: 1600 fpm at these flows; and what the nominal
# bore makes of them
@pytest.mark.parametrize(
    ("inches", "cfm", "nominal"), [(2, 35, 1604), (3, 80, 1630), (4, 140, 1604), (6, 315, 1604)]
)
def test_trade_pairs_of_velocity(inches, cfm, nominal):
    """By the velocities that a result shows, in a nominal bore and in the bore of our table."""
    for bore, wanted, close in (
        (inches * M_PER_INCH, nominal, 0.5 / nominal),
        (inches * M_PER_INCH, 1600.0, 0.02),
        (data.pipes()[f"{inches} in"].bore, 1600.0, 0.07),
    ):
        drive = Drive(
            points=(DISCHARGE,),
            fan=None,
            pipes=run(bore / M_PER_INCH, 1.5e-6),
            discharge_pressure=0.0,
            pipe_density=RHO,
            outdoor_density=RHO,
            viscosity=MU,
            pressure_atm=DEEP,
        )
        speeds = velocities(drive, {DISCHARGE: cfm * M3S_PER_CFM}, 0.0)
        assert_allclose(speeds[DISCHARGE] / MS_PER_FPM, wanted, rtol=close)
        # below the 2000 fpm at which condensate stops falling back there is nothing to say
        assert pipe_notes(speeds, ()) == ()


STRAIGHT = Fan(name="straight", flows=(0.0, 0.1), static_pressures=(400.0, 0.0), density=RHO)
CONDUCTANCE = 1e-4  # of the soil [m3/(s Pa)]


def straight_fan_on_soil(fan, density=RHO):
    """The fan on a pit, without pipes. Vacuum of the pit [Pa] and flow [m3/s]."""
    g = CONDUCTANCE
    point = fans_meet_soil(
        np.array([[g, -g], [-g, g]]),
        port_names=("A", "room"),
        given_pressures={"room": 0.0},
        fan_points=("A",),
        fan=fan,
        pipe_density=density,
        outdoor_density=density,
        viscosity=MU,
        pressure_atm=DEEP,
    )
    return -point.pressures[0], point.flows[0]


# Q ~ N, p ~ N^2 rho (AMCA and ASHRAE handbooks, from memory): a fan p0 - s Q becomes
# rho N^2 p0 - rho N s Q, and p = rho N^2 p0 / (1 + rho N s C) on soil Q = C p, derived here
@pytest.mark.parametrize(
    ("speed", "thinner"),
    [(1.0, 1.0), (2400.0 / 3000.0, 1.0), (1.0, 0.855213), (0.8, 0.855213)],
)
def test_fan_laws_where_fan_and_soil_meet(speed, thinner):
    """3000 to 2400 rpm, and 1600 m up, where the standard atmosphere has 0.855213 of its density.

    Soil passes the same volume per pascal whatever the air weighs.
    """
    fan = dataclasses.replace(STRAIGHT, speed=speed)
    vacuum, flow = straight_fan_on_soil(fan, density=thinner * RHO)
    exact = thinner * speed**2 * 400.0 / (1.0 + thinner * speed * 4000.0 * CONDUCTANCE)
    assert_allclose(vacuum, exact, rtol=1e-9)
    assert_allclose(flow / vacuum, CONDUCTANCE, rtol=1e-9)


def test_speed_alone_where_the_soil_lets_nothing_or_everything_through():
    """Shut off p goes as N^2, 0.64; in the open Q goes as N, 0.8."""
    slow = dataclasses.replace(STRAIGHT, speed=0.8)
    assert_allclose(slow.shutoff_pressure / STRAIGHT.shutoff_pressure, 0.64, rtol=1e-12)
    assert_allclose(slow.free_air_flow / STRAIGHT.free_air_flow, 0.8, rtol=1e-12)
