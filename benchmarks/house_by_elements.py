"""One whole house in two programs that share neither mesh, scheme nor treatment of the joint.

soilflow has cells, two-point fluxes and one number per slot for the air that converges on it.
Here scikit-fem has trilinear elements on lines of its own, crowded towards every edge by a
hyperbolic sine, and it resolves the slot: a strip as wide as the joint's aperture along the wall
foot, all across at the pressure of the slot's foot (nodes there are tied, station by station),
and from there w^3 / (12 mu t) per metre to the room. No logarithm enters.

The house: a floor on grade, walls on a footing, a loose band inside them, soil in two layers that
carries less across than along below, a leaking slab, open ground, two box pits, and if wanted
a settled gap in the middle. Both programs end the yard at the same sealed distance.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.sparse import csr_matrix, identity

Array = NDArray[np.float64]

# An invented house. Lengths [m], permeabilities [m2].
FLOOR = (8.0, 5.0)
WALL, FOOTING = 0.25, 0.45
BAND, LOOSER, LAYER, BOTTOM = 0.6, 6.0, 1.0, 5.0  # band and upper layer end at one depth
UPPER, LOWER_ALONG, LOWER_ACROSS = 5e-12, 1e-12, 5e-13
THICKNESS, LEAKANCE = 0.1, 2e-13 / 0.1  # of the slab, k / t [m]
APERTURE = 1e-3
YARD = 7.5  # three half-widths of the floor's shorter side
PITS = {
    "near": ((0.1, 1.2, 0.0), (0.6, 1.6, 0.3)),
    "middle": ((4.6, 3.0, 0.0), (5.1, 3.4, 0.3)),
}
GAP = ((1.1, 1.0), (7.0, 4.1))
GAP_HEIGHT = 0.5e-3
MU = 1.81e-5  # [Pa s]
# Where the pressure under the slab is compared: by a wall, in a corner, between the pits, beside
# the middle one, by the far wall; and last, halfway between crowded lines, where the elements are
# widest, 0.4 m in the finest mesh. All lie on lines of every mesh.
POINTS = ((0.35, 3.0), (7.7, 0.3), (4.85, 1.4), (5.1, 1.6), (7.7, 3.2), (4.85, 2.3))
STATE = {"house": 0.0, "outdoors": 3.0, "near": -300.0, "middle": -200.0}  # [Pa]
PORTS = tuple(STATE)
TOLERANCE = 1e-9  # of the residual; energies are twice as good


QUANTITIES = (
    *(f"flow, {port}" for port in PORTS),
    "flow, joint alone",
    *(f"p at ({x:g}, {y:g})" for x, y in POINTS),
)


@dataclass(frozen=True)
class Answer:
    """What one program found on one mesh; rows are in the order of PORTS."""

    unknowns: int
    port_matrix: Array  # [m3/(s Pa)]
    through_joint: Array  # into the room with each port in turn at one pascal [m3/(s Pa)]
    at_points: Array  # unit fields, shape (ports, points) [-]
    iterations: int

    @property
    def values(self) -> Array:
        """QUANTITIES: flows out of the soil [m3/s], then pressures [Pa]."""
        state = np.array(list(STATE.values()))
        joint = state @ self.through_joint
        return np.concatenate([-self.port_matrix @ state, [joint], state @ self.at_points])


def lines(stops: list[tuple[float, float]], n: int) -> Array:
    """Mesh lines through all stops, crowded to those that name a scale above zero.

    From a stop inwards x = s sinh(t asinh(H / s)) over half the way H to the next one, n times a
    fixed number of even steps in t: a second mesh with twice n has all lines of the first.
    """
    made = [np.array([stops[0][0]])]
    for (a, scale_a), (b, scale_b) in itertools.pairwise(stops):
        middle = 0.5 * (a + b)
        if scale_a == 0.0 or scale_b == 0.0:
            middle = b if scale_b == 0.0 else a
        left, right = _half(middle - a, scale_a, n), _half(b - middle, scale_b, n)
        made += [a + left[1:], b - right[-2::-1]]
    return np.concatenate(made)


def _half(reach: float, scale: float, n: int) -> Array:
    if reach == 0.0:
        return np.zeros(1)
    turns = np.arcsinh(reach / scale)
    count = n * int(np.ceil(turns / 4.4))
    out = scale * np.sinh(np.linspace(0.0, turns, count + 1))
    out[-1] = reach
    return out


def mesh_lines(n: int, *, gap: bool, joint: bool) -> list[Array]:
    """Lines along x, y and down. The scales are what the author thought each edge needs."""
    fine, plain, slot = 0.04, 0.2, APERTURE / 4.0
    axes = []
    for axis in range(2):
        length = FLOOR[axis]
        stops = {-WALL - YARD: 0.0, -WALL: fine, 0.0: fine, length: fine, length + WALL: fine}
        stops |= {length + WALL + YARD: 0.0, BAND: plain, length - BAND: plain}
        if gap:
            stops |= {GAP[0][axis]: fine, GAP[1][axis]: fine}
        stops |= {face[axis]: fine for pit in PITS.values() for face in pit}
        if joint:
            stops |= dict.fromkeys((0.0, APERTURE, length - APERTURE, length), slot)
        axes.append(lines(sorted(stops.items()), n))
    down = {0.0: slot if joint else fine, 0.3: fine, FOOTING: fine, LAYER: plain, BOTTOM: 0.0}
    return [*axes, lines(sorted(down.items()), n)]


def solve_skfem(n: int, *, gap: bool = False, joint: bool = True) -> Answer:
    """Unit fields of pits and yard; the room's is one minus them, exactly so in this space."""
    import pyamg
    from scipy.sparse.linalg import LinearOperator, cg

    edges = mesh_lines(n, gap=gap, joint=joint)
    matrix, slot, x = _assemble(edges, gap=gap, joint=joint, lumped=False)
    near, _, _ = _assemble(edges, gap=gap, joint=joint, lumped=True)
    tie = _tied(x) if joint else identity(x.shape[1], format="csr")
    matrix, near = (tie.T @ a @ tie for a in (matrix, near))
    first = np.zeros(tie.shape[1], dtype=np.int64)
    first[tie.indices] = np.arange(tie.shape[0])
    place = x[:, first]
    held = {"outdoors": _in_yard(place)} | {name: _in_pit(place, name) for name in PITS}
    free = np.flatnonzero(~np.any(list(held.values()), axis=0))
    # many levels multiply what lies near 1e-12, so the matrix is brought to ordinary size
    size = float(np.median(matrix.diagonal()))
    inner = (matrix[free][:, free] / size).tocsr()
    hierarchy = pyamg.ruge_stuben_solver(
        _without_dust(near[free][:, free] / size),
        strength=("classical", {"theta": 0.05}),  # 0.25, the default, takes 240 iterations
        presmoother=("gauss_seidel", {"sweep": "forward"}),
        postsmoother=("gauss_seidel", {"sweep": "backward"}),
        max_coarse=500,
        coarse_solver="splu",
    )
    cycle = LinearOperator(inner.shape, matvec=hierarchy.aspreconditioner().matvec)
    fields, iterations = np.zeros((len(PORTS), tie.shape[1])), 0
    for name, nodes in held.items():
        field, passed = fields[PORTS.index(name)], []
        field[nodes] = 1.0
        source = -(matrix @ field)[free] / size
        field[free], failed = cg(
            inner, source, rtol=TOLERANCE, maxiter=500, M=cycle, callback=passed.append
        )
        if failed:
            raise SystemExit(f"scikit-fem: the field of {name} did not converge")
        iterations = max(iterations, len(passed))
    y = _port_matrix(fields @ (matrix @ fields.T))
    joint_flow = fields @ (tie.T @ (slot @ np.ones(x.shape[1]))) / MU
    joint_flow[PORTS.index("house")] = -joint_flow.sum()
    fields[PORTS.index("house")] = 1.0 - fields.sum(axis=0)
    at = [_at_points(edges, x, tie @ field) for field in fields]
    return Answer(
        unknowns=free.size,
        port_matrix=y,
        through_joint=joint_flow,
        at_points=np.array(at),
        iterations=iterations,
    )


def _port_matrix(energies: Array) -> Array:
    """With the room's row, which closes each sum, and the slab over the pits. [m3/(s Pa)]"""
    y, house = energies.copy(), PORTS.index("house")
    y[house], y[:, house] = 0.0, 0.0
    for name, ((x0, y0, _), (x1, y1, _)) in PITS.items():
        p = PORTS.index(name)
        y[p, p] += LEAKANCE * (x1 - x0) * (y1 - y0)
    y[house] = -y.sum(axis=0)
    y[:, house] = -y.sum(axis=1)
    return y / MU


def _without_dust(matrix: Any) -> Any:
    """The entries that rounding alone made taken out."""
    entries, size = matrix.tocoo(), np.sqrt(matrix.diagonal())
    real = np.abs(entries.data) > 1e-11 * size[entries.row] * size[entries.col]
    where = (entries.row[real], entries.col[real])
    return csr_matrix((entries.data[real], where), shape=matrix.shape)


def _at_points(edges: list[Array], x: Array, values: Array) -> Array:
    """Under the slab, where the elements are bilinear."""
    plane = np.full((edges[0].size, edges[1].size), np.nan)
    top = np.flatnonzero(x[2] == 0.0)
    plane[_index(edges, x[:, top])] = values[top]
    return np.asarray(RegularGridInterpolator(edges[:2], plane)(np.array(POINTS)))


def _is_soil(x: Array) -> Any:
    outwards = np.maximum(np.abs(x[:2].T - 0.5 * np.array(FLOOR)) - 0.5 * np.array(FLOOR), 0.0)
    away = outwards.max(axis=1)
    solid = (away > 0.0) & (away < WALL) & (x[2] < FOOTING)
    for name in PITS:
        solid = solid | _in_pit(x, name)
    return ~solid


def _in_pit(x: Array, name: str) -> Any:
    low, high = (np.array(corner)[:, None] for corner in PITS[name])
    return ((x > low - 1e-7) & (x < high + 1e-7)).all(axis=0)


def _in_yard(x: Array) -> Any:
    outwards = np.abs(x[:2].T - 0.5 * np.array(FLOOR)) - 0.5 * np.array(FLOOR)
    return (outwards.max(axis=1) > WALL - 1e-7) & (x[2] < 1e-9)


def _inwards(x: Array) -> Array:
    """Distance from the nearest wall face, positive under the floor."""
    length, width = FLOOR
    return np.asarray(np.minimum.reduce([x[0], length - x[0], x[1], width - x[1]]))


def _assemble(
    edges: list[Array], *, gap: bool, joint: bool, lumped: bool
) -> tuple[Any, Any, Array]:
    """All of it, the slot once more by itself, and where the nodes lie.

    Lumped: integrated at the corners of cells, which leaves a seven-point star. Multigrid likes
    it better, and it is as good a preconditioner whatever the shape of the cells.
    """
    import skfem
    from skfem.helpers import grad

    orders: list[dict[str, Any]] = [{"intorder": 3}] * 2
    if lumped:
        corners = [np.array(np.meshgrid(*[[0.0, 1.0]] * d)).reshape(d, -1) for d in (3, 2)]
        orders = [{"quadrature": (c, np.full(c.shape[1], 1.0 / c.shape[1]))} for c in corners]

    @skfem.BilinearForm
    def conduction(u: Any, v: Any, w: Any) -> Any:
        du, dv = grad(u), grad(v)
        return w.along * (du[0] * dv[0] + du[1] * dv[1]) + w.across * (du[2] * dv[2])

    @skfem.BilinearForm
    def sheet(u: Any, v: Any, _: Any) -> Any:
        du, dv = grad(u), grad(v)
        return GAP_HEIGHT**3 / 12.0 * (du[0] * dv[0] + du[1] * dv[1])

    @skfem.BilinearForm
    def slab(u: Any, v: Any, _: Any) -> Any:
        return LEAKANCE * u * v

    @skfem.BilinearForm
    def slot(u: Any, v: Any, _: Any) -> Any:
        return APERTURE**2 / (12.0 * THICKNESS) * u * v

    whole = skfem.MeshHex.init_tensor(*edges)
    mesh = whole.restrict(np.flatnonzero(_is_soil(whole.p[:, whole.t].mean(axis=1))))
    basis = skfem.Basis(mesh, skfem.ElementHex1(), **orders[0])
    along, across = _permeability(mesh.p[:, mesh.t].mean(axis=1))
    matrix = conduction.assemble(basis, along=along[:, None], across=across[:, None])
    # the surface is a mesh of its own: to find places on the faces of flat bricks takes more
    # digits than there are
    plane = skfem.MeshQuad.init_tensor(*edges[:2])
    middle, put = plane.p[:, plane.t].mean(axis=1), _same_places(edges, mesh.p, plane.p)
    parts = []
    for form, there in ((slab, _under_slab), (slot, _under_slot), (sheet, _under_gap)):
        cells = np.flatnonzero(there(middle))
        part = skfem.Basis(plane, skfem.ElementQuad1(), elements=cells, **orders[1])
        parts.append(put @ form.assemble(part) @ put.T)
    matrix = matrix + parts[0] + parts[1] * joint + parts[2] * gap
    return matrix.tocsr(), parts[1] * joint, mesh.p


def _permeability(x: Array) -> tuple[Array, Array]:
    """Along and across the layers. [m2]"""
    upper, inwards = x[2] < LAYER, _inwards(x)
    band = np.where(upper & (inwards > 0.0) & (inwards < BAND), LOOSER, 1.0)
    return np.where(upper, UPPER, LOWER_ALONG) * band, np.where(upper, UPPER, LOWER_ACROSS) * band


def _same_places(edges: list[Array], x: Array, plane: Array) -> Any:
    """One where a node lies on the surface at the place of a node of the plane; else zero."""
    number = np.full((edges[0].size, edges[1].size), -1)
    number[_index(edges, plane)] = np.arange(plane.shape[1])
    top = np.flatnonzero(x[2] == 0.0)
    where = (top, number[_index(edges, x[:, top])])
    return csr_matrix((np.ones(top.size), where), (x.shape[1], plane.shape[1]))


def _index(edges: list[Array], x: Array) -> tuple[Any, Any]:
    """Numbers of the lines along x and y that nodes lie on."""
    ix, iy = (np.searchsorted(edges[axis], x[axis]) for axis in range(2))
    return ix, iy


def _over_pit(x: Array) -> Any:
    flat = np.vstack([x[:2], np.zeros(x.shape[1:])[None]])
    return np.any([_in_pit(flat, name) for name in PITS], axis=0)


def _under_slab(x: Array) -> Any:
    return (_inwards(x) > 0.0) & ~_over_pit(x)


def _under_slot(x: Array) -> Any:
    return (_inwards(x) > 0.0) & (_inwards(x) < APERTURE)


def _under_gap(x: Array) -> Any:
    (x0, y0), (x1, y1) = GAP
    inside = (x[0] > x0) & (x[0] < x1) & (x[1] > y0) & (x[1] < y1)
    return inside & ~_over_pit(x)


def _tied(x: Array) -> Any:
    """Nodes across the strip become one unknown; in a corner both strips do."""
    spot = x.copy()
    under = (x[2] < 1e-9) & (_inwards(x) > -1e-9)
    for axis in range(2):
        for wall, side in ((0.0, 1.0), (FLOOR[axis], -1.0)):
            strip = under & (side * (x[axis] - wall) < APERTURE + 1e-9)
            spot[axis, strip] = wall
    _, unknown = np.unique(np.round(spot, 9), axis=1, return_inverse=True)
    unknown = unknown.ravel()
    nodes = np.arange(x.shape[1])
    shape = (nodes.size, int(unknown.max()) + 1)
    return csr_matrix((np.ones(nodes.size), (nodes, unknown)), shape=shape)


# Cells of soilflow's grid, split 0, 1 or 2 times. Chosen for what splitting twice costs.
def solve_soilflow(splits: int, *, gap: bool = False, joint: bool = True) -> Answer:
    """The library's own hops, from the trade's nouns to pressures under the floor."""
    from soilflow.flow.grid import Resolution, grid_for
    from soilflow.flow.response import respond
    from soilflow.flow.soil_map import build_soil_map
    from soilflow.flow.soil_network import build_soil_network
    from soilflow.layout.bodies import Brick, HeldBody
    from soilflow.results.floor import floor_response, pressure_at

    effects = house(gap=gap, joint=joint).effects()
    held = [
        HeldBody(port=name, body=Brick(low=low, high=high)) for name, (low, high) in PITS.items()
    ]
    rough = Resolution(
        name="rough",
        cells_per_radius=1.0,
        line_size=0.12,
        growth=2.5,
        largest_inside=0.9,
        largest_outside=3.0,
        largest_down=1.6,
        splits=splits,
    )
    soil = build_soil_map(grid_for(effects, held, rough), effects, held)
    network = build_soil_network(soil, MU)
    response = respond(network)
    order = [response.ports.index(name) for name in PORTS]
    floor = floor_response(soil, network, response)
    at = np.zeros((len(PORTS), len(POINTS)))
    for row, port in enumerate(order):
        unit = np.zeros(len(PORTS))
        unit[port] = 1.0
        pressure = floor.pressure(unit, 1e14)  # so much air that compression is lost
        at[row] = [pressure_at(pressure, x, y) for x, y in POINTS]
    # what crosses the slots' port edges, room at zero; with all ports at one pascal nothing does
    room = network.ports.index("house")
    slot = (network.port == room) & (network.port_slot >= 0)
    through = response.unit_fields[:, network.port_node[slot]] @ network.port_conductance[slot]
    through[room] = through[room] - through.sum()
    return Answer(
        unknowns=network.nodes,
        port_matrix=response.port_matrix[np.ix_(order, order)],
        through_joint=through[order],
        at_points=at,
        iterations=response.iterations,
    )


def house(*, gap: bool, joint: bool) -> Any:
    """The same house in the trade's nouns."""
    from soilflow.site.ground import Ground, SettledGap, SoilLayer
    from soilflow.site.leaks import FloorWallJoint
    from soilflow.site.site import Site
    from soilflow.site.slab import Slab
    from soilflow.site.walls import FoundationWalls, PerimeterBand

    (x0, y0), (x1, y1) = GAP
    ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    length, width = FLOOR
    return Site(
        slab=Slab(
            corners=((0.0, 0.0), (length, 0.0), (length, width), (0.0, width)),
            thickness=THICKNESS,
            permeability=LEAKANCE * THICKNESS,
        ),
        walls=FoundationWalls(thickness=WALL, footing_depth=FOOTING),
        ground=Ground(
            layers=(
                SoilLayer(permeability=UPPER),
                SoilLayer(permeability=LOWER_ALONG, vertical=LOWER_ACROSS, top=LAYER),
            ),
            bottom=BOTTOM,
        ),
        bands=(PerimeterBand(width=BAND, depth=LAYER, looser_by=LOOSER),),
        gaps=(SettledGap(name="settled", corners=ring, aperture=GAP_HEIGHT),) if gap else (),
        joints=(FloorWallJoint(aperture=APERTURE),) if joint else (),
    )
