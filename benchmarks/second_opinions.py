"""Pits in a thin layer, pipe losses and air, beside what other libraries make of them.

TimML has wells and line sinks as analytic elements, fluids a choice of published formulas,
CoolProp the reference equations of air. `independent.py` prints what is found here, and
tests hold the quick parts of it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A thin layer: T [m3], slab k / t [m], pits as (x, y, radius [m], pressure [Pa])
TRANSMISSIVITY, LEAKANCE, MU = 2e-11, 5e-12, 1.81e-5
WELLS = {
    "A": (0.0, 0.0, 0.15, -200.0),
    "B": (2.5, 0.8, 0.15, -120.0),
    "C": (-1.2, 2.6, 0.25, -300.0),
    "D": (1.0, -2.4, 0.15, -40.0),
}
SPOTS = ((1.2, 0.4), (0.0, 1.5), (-2.0, -1.0), (1.6, 3.0), (4.0, -3.0))


def wells_soilflow(cells_per_radius: float = 8.0, growth: float = 1.15) -> tuple[Array, Array]:
    """Flow through each pit's rim [m3/s], and pressures at the spots [Pa]."""
    from scipy.interpolate import RegularGridInterpolator
    from shapely.geometry import box

    from soilflow.flow.grid import Grid, graded_edges
    from soilflow.flow.response import respond
    from soilflow.flow.soil_map import build_soil_map
    from soilflow.flow.soil_network import build_soil_network
    from soilflow.layout.bodies import Cylinder, HeldBody
    from soilflow.site.effects import LeaksOverArea, Prism, SetsPermeability

    depth, far = 0.01, 18.0  # the edge is sealed, six leakage lengths and more from any pit
    axes = []
    for axis in range(2):
        fine = [
            (w[axis] - 1.2 * w[2], w[axis] + 1.2 * w[2], w[2] / cells_per_radius)
            for w in WELLS.values()
        ]
        lines = [-far, far, *(w[axis] for w in WELLS.values())]
        axes.append(graded_edges(lines, fine, growth, [(-far, far, 0.5)]))
    plan = box(-99.0, -99.0, 99.0, 99.0)
    k = TRANSMISSIVITY / depth
    effects = (
        SetsPermeability(where=Prism(plan=plan, top=0.0, bottom=depth), horizontal=k, vertical=k),
        LeaksOverArea(plan=plan, depth=0.0, leakance=LEAKANCE, reference="house", floor=True),
    )
    held = [
        HeldBody(port=name, body=Cylinder(centre=(x, y), radius=r, top=0.0, bottom=depth))
        for name, (x, y, r, _) in WELLS.items()
    ]
    grid = Grid(x=axes[0], y=axes[1], z=np.array([0.0, depth]))
    soil = build_soil_map(grid, effects, held)
    network = build_soil_network(soil, MU)
    response = respond(network)
    pressure = np.array([WELLS[p][3] if p in WELLS else 0.0 for p in response.ports])
    flows = -response.port_matrix @ pressure
    field = np.append(pressure @ response.unit_fields, np.nan)[network.cell_node[:, :, 0]]
    at = RegularGridInterpolator((grid.centres(0), grid.centres(1)), field)(np.array(SPOTS))
    rim = []
    for name, (_, _, r, p) in WELLS.items():
        # what the slab over the pit passes is no part of the layer's flow
        rim.append(flows[response.ports.index(name)] + LEAKANCE / MU * math.pi * r**2 * p)
    return np.array(rim), np.asarray(at)


def wells_timml() -> tuple[Array, Array]:
    """The same with TimML's wells, its discharge vector summed around each rim.

    TimML holds the head of a well at one point of its rim. Turning the plan in quarters moves
    that point once around; the mean of the four is kept.
    """
    flows, heads = [], []
    for cos, sin in ((1, 0), (0, 1), (-1, 0), (0, -1)):
        timml, model = _layer()
        turned = [(cos * x - sin * y, sin * x + cos * y, r, p) for x, y, r, p in WELLS.values()]
        for x, y, r, p in turned:
            timml.HeadWell(model, xw=x, yw=y, hw=p, rw=r)
        model.solve(silent=True)
        flows.append([_through_rim(model, x, y, r) for x, y, r, _ in turned])
        heads.append([float(model.head(cos * x - sin * y, sin * x + cos * y)[0]) for x, y in SPOTS])
    return np.mean(flows, axis=0), np.mean(heads, axis=0)


def wells_timml_rings(sides: int = 32) -> tuple[Array, Array]:
    """The same with every rim a ring of TimML's line sinks, a polygon of the circle's area.

    A ring draws from inside as well, where the slab leaks: that part is taken off, as above.
    """
    timml, model = _layer()
    turn = 2.0 * math.pi / sides
    rings = []
    for x, y, r, p in WELLS.values():
        corner = r * math.sqrt(turn / math.sin(turn))
        at = [
            (x + corner * math.cos(turn * i), y + corner * math.sin(turn * i)) for i in range(sides)
        ]
        rings.append(
            [
                timml.River(model, x1=x1, y1=y1, x2=x2, y2=y2, hls=p, order=1)
                for (x1, y1), (x2, y2) in zip(at, at[1:] + at[:1], strict=True)
            ]
        )
    model.solve(silent=True)
    flows = [sum(float(sink.discharge().sum()) for sink in ring) for ring in rings]
    inside = [LEAKANCE / MU * math.pi * r**2 * p for _, _, r, p in WELLS.values()]
    heads = [float(model.head(x, y)[0]) for x, y in SPOTS]
    return np.array(flows) + inside, np.array(heads)


def _layer() -> tuple[Any, Any]:
    import timml

    model = timml.ModelMaq(
        kaq=[TRANSMISSIVITY / MU],
        z=[2.0, 1.0, 0.0],
        c=[MU / LEAKANCE],
        topboundary="semi",
        hstar=0.0,
    )
    return timml, model


def _through_rim(model: Any, x: float, y: float, radius: float) -> float:
    """TimML's discharge vector summed around the rim, into the well. [m3/s]"""
    count, just = 24, 1.000001 * radius
    total = 0.0
    for angle in 2.0 * math.pi * (np.arange(count) + 0.5) / count:
        normal = np.array([math.cos(angle), math.sin(angle)])
        total -= float(normal @ model.disvec(x + just * normal[0], y + just * normal[1])[:, 0])
    return total * 2.0 * math.pi * radius / count


def compare_wells() -> dict[str, Any]:
    """Flows over TimML's, pressures less TimML's over the deepest vacuum."""
    deepest = max(-p for *_, p in WELLS.values())
    flows, heads = wells_soilflow(16.0, 1.07)
    found: dict[str, Any] = {"flows": dict(zip(WELLS, flows.tolist(), strict=True))}
    for name, (flow, head) in {"wells": wells_timml(), "rings": wells_timml_rings()}.items():
        found[name] = {
            "flow": dict(zip(WELLS, (flows / flow - 1.0).tolist(), strict=True)),
            "pressure": float(np.abs(heads - head).max() / deepest),
        }
    return found


PLASTIC, STEEL = 1.5e-6, 9e-5  # roughness of drawn plastic and of galvanised ducts [m]
BORE = 4.026 * 0.0254  # [m]


def compare_friction() -> dict[str, dict[str, float]]:
    """Other correlations over ours: least and most, from laminar through 100 000."""
    from fluids import friction

    from soilflow.layout.losses import LAMINAR_BELOW, TURBULENT_ABOVE, friction_factor

    ranges = {
        "laminar": np.geomspace(200.0, LAMINAR_BELOW, 20),
        "transition": np.linspace(LAMINAR_BELOW + 1.0, TURBULENT_ABOVE, 20),
        "turbulent": np.geomspace(TURBULENT_ABOVE, 1e5, 40),
    }
    found = {}
    for word, wall in (("plastic", PLASTIC), ("galvanised", STEEL)):
        for other in ("Churchill_1977", "Haaland", "Swamee_Jain_1976", "Serghides_2"):
            for flow, numbers in ranges.items():
                if flow != "turbulent" and other != "Churchill_1977":
                    continue  # the others are for turbulent flow
                ours = [friction_factor(float(re), wall / BORE) for re in numbers]
                theirs = [getattr(friction, other)(float(re), wall / BORE) for re in numbers]
                over = np.array(theirs) / np.array(ours)
                name = f"{other}, {word}, {flow}"
                found[name] = {"least": float(over.min()), "most": float(over.max())}
    return found


def compare_fittings() -> dict[str, dict[str, Any]]:
    """Our loss coefficients beside those of every method fluids has for the same fitting."""
    from fluids import fittings as theirs

    from soilflow import data
    from soilflow.layout.losses import friction_factor

    reynolds = 4e4  # 100 cfm in a 4-inch pipe
    pipe = {"Di": BORE, "Re": reynolds, "roughness": PLASTIC, "L_unimpeded": 20.0 * BORE}
    factor = friction_factor(reynolds, PLASTIC / BORE)

    def rounded(diameters: float) -> dict[str, float]:
        # left out: Swamee's grows with (D/r)^3.5, six times all others at short bends, and Crane's
        # standard elbow has one radius only
        methods = [m for m in theirs.bend_rounded_methods if m not in ("Swamee", "Crane standard")]
        more = {"angle": 90.0, "fd": factor, "bend_diameters": diameters, **pipe}
        return {m: theirs.bend_rounded(method=m, **more) for m in methods}

    def mitred(angle: float) -> dict[str, float]:
        methods = theirs.bend_miter_methods
        return {m: theirs.bend_miter(angle=angle, method=m, **pipe) for m in methods}

    def tee(share: float) -> float:
        return float(theirs.K_branch_converging_Crane(BORE, BORE, 1.0 - share, share, 90.0))

    entries = {
        f"sharp, {m}": theirs.entrance_sharp(method=m) for m in theirs.entrance_sharp_methods
    }
    for m in theirs.entrance_rounded_methods:
        entries[f"rounded by D/50, {m}"] = theirs.entrance_rounded(BORE, BORE / 50.0, method=m)
    others = {
        "sharp 90 bend": mitred(90.0),
        "sharp 45 bend": mitred(45.0),
        "rounded 90 bend, r/D above 1": rounded(1.5),
        "rounded 90 bend, r/D below 1": rounded(0.75),
        "long-sweep elbow": rounded(1.5),
        "tee to branch": {f"{share:.0%} from it": tee(share) for share in (0.25, 0.5, 0.75)},
        "entry from room": entries,
        "discharge": {"fluids": theirs.exit_normal()},
    }
    table = data.fittings()
    return {
        word: {
            "ours": table[word].loss_coefficient,
            "least": min(found.values()),
            "most": max(found.values()),
            "theirs": found,
        }
        for word, found in others.items()
    }


def compare_air() -> dict[str, float]:
    """Largest differences from CoolProp, -20 to 40 C, from 103 kPa down to 3000 m (70 kPa)."""
    from CoolProp.CoolProp import PropsSI
    from CoolProp.HumidAirProp import HAPropsSI

    from soilflow.air import density_ideal, viscosity_sutherland

    worst = dict.fromkeys(("viscosity, dry", "density, dry", "viscosity, wet", "density, wet"), 0.0)

    def note(name: str, ours: float, theirs: float) -> None:
        worst[name] = max(worst[name], abs(ours / theirs - 1.0))

    for kelvin in np.linspace(253.15, 313.15, 7):
        for pressure in (70e3, 85e3, 101325.0, 103e3):
            state = ("T", float(kelvin), "P", pressure)
            mu, rho = viscosity_sutherland(float(kelvin)), density_ideal(float(kelvin), pressure)
            note("viscosity, dry", mu, PropsSI("viscosity", *state, "Air"))
            note("density, dry", rho, PropsSI("Dmass", *state, "Air"))
            if 273.16 < kelvin < 298.15:  # soil air, saturated
                wet = (*state, "R", 1.0)
                note("viscosity, wet", mu, HAPropsSI("mu", *wet))
                note("density, wet", rho, 1.0 / HAPropsSI("Vha", *wet))
    return worst
