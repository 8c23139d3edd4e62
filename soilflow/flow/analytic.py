"""Closed forms of steady flow to pits and lines, for tests and teaching.

Where the soil is uniform a form gives the shape factor S of the geometry, so that the flow is
(k / mu) S dp. Pressures are gauge, negative around a pit under suction.

Length: every formula carries its equation, range and source; the code in it is short.
"""

from __future__ import annotations

import math
from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, i0, i1, k0, k1

from soilflow.errors import OutOfRangeError

__all__ = [
    "CAPACITY_CUBE",
    "coverage_radial_thiem",
    "flow_composite_thiem",
    "flow_darcy",
    "flow_leaky_de_glee",
    "flow_leaky_disk_jacob",
    "flow_ratio_smear",
    "leakage_length",
    "pressure_leaky_de_glee",
    "pressure_leaky_disk_jacob",
    "pressure_radial_thiem",
    "pressure_shell",
    "shape_factor_half_cube",
    "shape_factor_hemisphere",
    "shape_factor_radial_thiem",
    "shape_factor_sphere_near_plane",
    "shape_factor_square",
]

FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])

# Capacity of a unit cube over 4 pi eps0: Hwang & Mascagni 2004, J. Appl. Phys. 95:3798, from
# memory; a panel method agrees to 3e-4. [-]
CAPACITY_CUBE = 0.66067813


def _rising(**values: float) -> None:
    """Raise unless the values are positive and each is below the next."""
    names, numbers = list(values), list(values.values())
    if not numbers[0] > 0.0:
        raise OutOfRangeError(f"{names[0]} {numbers[0]:g}: must be above 0")
    for i in range(1, len(numbers)):
        if not numbers[i] > numbers[i - 1]:
            raise OutOfRangeError(
                f"{names[i]} {numbers[i]:g}: must be above {names[i - 1]}, {numbers[i - 1]:g}"
            )


def flow_darcy(
    shape_factor: float, permeability: float, pressure_drop: float, viscosity: float
) -> float:
    """Turn a shape factor into a flow.

    Q = (k / mu) S dp

    Parameters
    ----------
    shape_factor : float
        Shape factor S of the geometry. [m]
    permeability : float
        Air permeability of the soil. [m2]
    pressure_drop : float
        Far pressure minus pit pressure. [Pa]
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    flow : float
        Flow into the pit. [m3/s]

    Examples
    --------
    >>> round(flow_darcy(1.0, 1e-12, 181.0, 1.81e-5), 9)
    1e-05
    """
    return permeability / viscosity * shape_factor * pressure_drop


def shape_factor_radial_thiem(thickness: float, radius: float, radius_outer: float) -> float:
    """Shape factor of radial flow in a layer between two circles.

    S = 2 pi b / ln(r2 / r1)

    Parameters
    ----------
    thickness : float
        Thickness b of the layer, sealed above and below. [m]
    radius : float
        Radius r1 of the pit. [m]
    radius_outer : float
        Radius r2 of the outer edge, held at zero pressure. [m]

    Returns
    -------
    shape_factor : float
        Flow over (k / mu) dp. [m]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    Thiem 1906, Hydrologische Methoden, from memory.

    Examples
    --------
    >>> s = shape_factor_radial_thiem(0.1, 0.15, 5.0)
    >>> round(flow_darcy(s, 1e-10, 250.0, 1.81e-5), 10)
    0.0002474915
    """
    _rising(radius=radius, radius_outer=radius_outer)
    return 2.0 * math.pi * thickness / math.log(radius_outer / radius)


def pressure_radial_thiem(
    distance: FloatOrArray, radius: float, radius_outer: float, pressure_drop: float
) -> FloatOrArray:
    """Pressure of radial flow in a layer between two circles.

    p = -dp ln(r2 / r) / ln(r2 / r1)

    Parameters
    ----------
    distance : float or array
        Distance r from the centre, between the two radii. [m]
    radius : float
        Radius r1 of the pit. [m]
    radius_outer : float
        Radius r2 of the outer edge, held at zero pressure. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]

    Returns
    -------
    pressure : float or array
        Gauge pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    Thiem 1906, Hydrologische Methoden, from memory.

    Examples
    --------
    >>> round(float(pressure_radial_thiem(1.0, 0.15, 5.0, 250.0)), 4)
    -114.7449
    """
    _rising(radius=radius, radius_outer=radius_outer)
    share = np.log(radius_outer / distance) / math.log(radius_outer / radius)
    return -pressure_drop * share


def coverage_radial_thiem(
    threshold: float, radius: float, radius_outer: float, pressure_drop: float
) -> float:
    """Share of the disk inside the outer circle that has at least some suction.

    (r1 / r2)^(2 p_t / dp), from the radius where the pressure of Thiem's form is -p_t

    Parameters
    ----------
    threshold : float
        Suction p_t that counts as covered. [Pa]
    radius : float
        Radius r1 of the pit, itself counted as covered. [m]
    radius_outer : float
        Radius r2 of the outer edge, held at zero pressure. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]

    Returns
    -------
    coverage : float
        Covered area over the area of the disk. [-]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    Derived for this project from Thiem's form.

    Examples
    --------
    >>> round(coverage_radial_thiem(5.0, 0.15, 5.0, 250.0), 7)
    0.8691302
    """
    _rising(radius=radius, radius_outer=radius_outer)
    return float((radius / radius_outer) ** (2.0 * threshold / pressure_drop))


def shape_factor_square(thickness: float, radius: float, side: float) -> float:
    """Shape factor of a round pit in the middle of a square layer with an open edge.

    S = 2 pi b / ln(g a / r1), g = 4 sqrt(pi) / Gamma(1/4)^2, the conformal radius of a unit
    square

    Parameters
    ----------
    thickness : float
        Thickness b of the layer, sealed above and below. [m]
    radius : float
        Radius r1 of the pit. [m]
    side : float
        Side a of the square whose edge is held at zero pressure. [m]

    Returns
    -------
    shape_factor : float
        Flow over (k / mu) dp. [m]

    Raises
    ------
    OutOfRangeError
        The pit does not fit into the square.

    Notes
    -----
    For pits small against the square: within 1e-4 above a / r1 = 20.

    References
    ----------
    Incropera & DeWitt, Table 4.1, circular cylinder centred in a square solid, where 2 g is
    rounded to 1.08; from memory.

    Examples
    --------
    >>> round(shape_factor_square(1.0, 0.15, 10.0), 6)
    1.753943
    """
    _rising(radius=radius, half_side=0.5 * side)
    conformal = 4.0 * math.sqrt(math.pi) / float(gamma(0.25)) ** 2
    return 2.0 * math.pi * thickness / math.log(conformal * side / radius)


def leakage_length(transmissivity: float, leakance: float) -> float:
    """Distance over which suction in a leaky layer falls off.

    lambda = sqrt(T / G)

    Parameters
    ----------
    transmissivity : float
        Permeability times thickness of the layer, T. [m3]
    leakance : float
        Permeability over thickness of the slab above, G. [m]

    Returns
    -------
    length : float
        Leakage length. [m]

    Examples
    --------
    >>> round(leakage_length(2e-11, 5e-12), 12)
    2.0
    """
    return math.sqrt(transmissivity / leakance)


def flow_leaky_de_glee(
    radius: float, transmissivity: float, leakance: float, pressure_drop: float, viscosity: float
) -> float:
    """Flow from a layer without end, under a leaky slab, into a round pit.

    Q = 2 pi T (dp / mu) x K1(x) / K0(x), x = r1 / lambda

    Parameters
    ----------
    radius : float
        Radius r1 of the pit. [m]
    transmissivity : float
        Permeability times thickness of the layer, T. [m3]
    leakance : float
        Permeability over thickness of the slab above. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    flow : float
        Flow through the pit's rim; what leaks through the slab into the pit comes on top. [m3/s]

    Notes
    -----
    For layers thin against the leakage length: pressure is taken as even over the thickness.

    References
    ----------
    de Glee 1930; Jacob 1946, from memory; Hantush & Jacob 1955, Trans. AGU 36(1):95-100.

    Examples
    --------
    >>> round(flow_leaky_de_glee(0.15, 2e-11, 5e-12, 200.0, 1.81e-5), 10)
    0.0005074909
    """
    x = radius / leakage_length(transmissivity, leakance)
    ratio = float(k1(x) / k0(x))
    return 2.0 * math.pi * transmissivity * pressure_drop / viscosity * x * ratio


def pressure_leaky_de_glee(
    distance: FloatOrArray, radius: float, leakage: float, pressure_drop: float
) -> FloatOrArray:
    """Pressure in a layer without end, under a leaky slab, around a round pit.

    p = -dp K0(r / lambda) / K0(r1 / lambda)

    Parameters
    ----------
    distance : float or array
        Distance r from the centre. [m]
    radius : float
        Radius r1 of the pit. [m]
    leakage : float
        Leakage length lambda. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]

    Returns
    -------
    pressure : float or array
        Gauge pressure. [Pa]

    References
    ----------
    As for `flow_leaky_de_glee`.

    Examples
    --------
    >>> round(float(pressure_leaky_de_glee(3.0, 0.15, 2.0, 200.0)), 5)
    -15.77079
    """
    return cast(FloatOrArray, -pressure_drop * k0(distance / leakage) / k0(radius / leakage))


def _edge_weight(radius_outer: float, leakage: float, edge_open: bool) -> float:
    """Weight of I0 beside K0 that meets the outer edge. [-]"""
    x = radius_outer / leakage
    return float(-k0(x) / i0(x)) if edge_open else float(k1(x) / i1(x))


def flow_leaky_disk_jacob(
    radius: float,
    radius_outer: float,
    transmissivity: float,
    leakance: float,
    pressure_drop: float,
    viscosity: float,
    *,
    edge_open: bool = False,
) -> float:
    """Flow from a round layer under a leaky slab into a pit in its middle.

    p ~ K0(r / lambda) + c I0(r / lambda), c from the edge: sealed K1(X) / I1(X), open
    -K0(X) / I0(X), X = r2 / lambda

    Parameters
    ----------
    radius : float
        Radius r1 of the pit. [m]
    radius_outer : float
        Radius r2 of the layer. [m]
    transmissivity : float
        Permeability times thickness of the layer, T. [m3]
    leakance : float
        Permeability over thickness of the slab above. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]
    viscosity : float
        Viscosity of the soil air. [Pa s]
    edge_open : bool
        Whether the outer edge is held at zero pressure instead of sealed.

    Returns
    -------
    flow : float
        Flow through the pit's rim. [m3/s]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    Jacob 1946, from memory; the finite edge is derived for this project.

    Examples
    --------
    >>> disk = (0.15, 5.0, 2e-11, 5e-12, 200.0, 1.81e-5)
    >>> round(flow_leaky_disk_jacob(*disk), 10)
    0.0005020051
    >>> round(flow_leaky_disk_jacob(*disk, edge_open=True), 10)
    0.0005110956
    """
    _rising(radius=radius, radius_outer=radius_outer)
    leakage = leakage_length(transmissivity, leakance)
    x, c = radius / leakage, _edge_weight(radius_outer, leakage, edge_open)
    slope = float((k1(x) - c * i1(x)) / (k0(x) + c * i0(x)))
    return 2.0 * math.pi * transmissivity * pressure_drop / viscosity * x * slope


def pressure_leaky_disk_jacob(
    distance: FloatOrArray,
    radius: float,
    radius_outer: float,
    leakage: float,
    pressure_drop: float,
    *,
    edge_open: bool = False,
) -> FloatOrArray:
    """Pressure in a round layer under a leaky slab with a pit in its middle.

    p = -dp (K0(r / lambda) + c I0(r / lambda)) / (K0(r1 / lambda) + c I0(r1 / lambda)), c as
    for `flow_leaky_disk_jacob`

    Parameters
    ----------
    distance : float or array
        Distance r from the centre. [m]
    radius : float
        Radius r1 of the pit. [m]
    radius_outer : float
        Radius r2 of the layer. [m]
    leakage : float
        Leakage length lambda. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]
    edge_open : bool
        Whether the outer edge is held at zero pressure instead of sealed.

    Returns
    -------
    pressure : float or array
        Gauge pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    As for `flow_leaky_disk_jacob`.

    Examples
    --------
    >>> round(float(pressure_leaky_disk_jacob(2.5, 0.15, 5.0, 2.0, 200.0)), 5)
    -24.78108
    """
    _rising(radius=radius, radius_outer=radius_outer)
    c = _edge_weight(radius_outer, leakage, edge_open)
    here, rim = distance / leakage, radius / leakage
    share = (k0(here) + c * i0(here)) / (k0(rim) + c * i0(rim))
    return cast(FloatOrArray, -pressure_drop * share)


def shape_factor_hemisphere(radius: float, radius_outer: float = math.inf) -> float:
    """Shape factor of a hemispherical pit under a sealed slab.

    S = 2 pi / (1 / r1 - 1 / r2), 2 pi r1 in the half space

    Parameters
    ----------
    radius : float
        Radius r1 of the pit. [m]
    radius_outer : float
        Radius r2 of a hemisphere held at zero pressure; infinite for the half space. [m]

    Returns
    -------
    shape_factor : float
        Flow over (k / mu) dp. [m]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    Notes
    -----
    No wall or open ground within about ten radii.

    References
    ----------
    Incropera & DeWitt, Table 4.1, sphere limit; Damkjaer & Korsbech 1992 and Nazaroff & Nero
    1988 use it for permeability probes; from memory.

    Examples
    --------
    >>> round(flow_darcy(shape_factor_hemisphere(0.25), 1e-12, 250.0, 1.81e-5), 11)
    2.169608e-05
    >>> round(flow_darcy(shape_factor_hemisphere(0.25, 10.0), 1e-12, 250.0, 1.81e-5), 11)
    2.225239e-05
    """
    _rising(radius=radius, radius_outer=radius_outer)
    return 2.0 * math.pi / (1.0 / radius - 1.0 / radius_outer)


def pressure_shell(
    distance: FloatOrArray, radius: float, radius_outer: float, pressure_drop: float
) -> FloatOrArray:
    """Pressure between two concentric spheres, or hemispheres under a sealed slab.

    p = -dp (1 / r - 1 / r2) / (1 / r1 - 1 / r2)

    Parameters
    ----------
    distance : float or array
        Distance r from the centre. [m]
    radius : float
        Radius r1 of the pit. [m]
    radius_outer : float
        Radius r2 of the outer sphere, held at zero pressure; may be infinite. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]

    Returns
    -------
    pressure : float or array
        Gauge pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    As for `shape_factor_hemisphere`.

    Examples
    --------
    >>> round(float(pressure_shell(1.0, 0.25, 10.0, 250.0)), 5)
    -57.69231
    """
    _rising(radius=radius, radius_outer=radius_outer)
    share = (1.0 / distance - 1.0 / radius_outer) / (1.0 / radius - 1.0 / radius_outer)
    return -pressure_drop * share


def shape_factor_half_cube(side: float) -> float:
    """Shape factor of a pit in the form of half a cube under a sealed slab.

    S = 2 pi C a, C the capacity of the unit cube

    Parameters
    ----------
    side : float
        Length and width a of the pit; its depth is a / 2. [m]

    Returns
    -------
    shape_factor : float
        Flow over (k / mu) dp. [m]

    References
    ----------
    Hwang & Mascagni 2004, J. Appl. Phys. 95:3798, from memory.

    Examples
    --------
    >>> round(shape_factor_half_cube(0.4), 6)
    1.660465
    """
    return 2.0 * math.pi * CAPACITY_CUBE * side


def shape_factor_sphere_near_plane(radius: float, depth: float, *, sealed: bool) -> float:
    """Shape factor of a sphere near an open or a sealed plane, in uniform soil.

    S = 4 pi r sinh(a) sum_n s^(n+1) / sinh(n a), cosh(a) = depth / r, s = 1 open, -1 sealed

    Parameters
    ----------
    radius : float
        Radius r of the sphere. [m]
    depth : float
        Distance from its centre to the plane. [m]
    sealed : bool
        Whether the plane is tight; otherwise it is held at zero pressure.

    Returns
    -------
    shape_factor : float
        Flow over (k / mu) dp; half of it belongs to a half ball under a slab, its centre at
        ``depth`` from a tight wall. [m]

    Raises
    ------
    OutOfRangeError
        The sphere touches the plane.

    References
    ----------
    Smythe, Static and Dynamic Electricity, from memory.

    Examples
    --------
    >>> round(shape_factor_sphere_near_plane(0.15, 0.5, sealed=False), 6)
    2.218956
    >>> round(shape_factor_sphere_near_plane(0.15, 0.5, sealed=True), 6)
    1.639825
    >>> round(0.5 * shape_factor_sphere_near_plane(0.25, 0.6, sealed=True), 6)
    1.30205
    """
    _rising(radius=radius, depth=depth)
    angle = math.acosh(depth / radius)
    # terms fall as exp(-n angle); forty e-folds are below rounding
    n = np.arange(1, math.ceil(40.0 / angle) + 2)
    sign = np.where(n % 2 == 1, 1.0, -1.0) if sealed else np.ones(n.size)
    # 1 / sinh without its overflow
    terms = 2.0 * np.exp(-n * angle) / -np.expm1(-2.0 * n * angle)
    return float(4.0 * math.pi * radius * math.sinh(angle) * np.sum(sign * terms))


def flow_composite_thiem(
    radii: tuple[float, float, float],
    permeabilities: tuple[float, float],
    thickness: float,
    pressure_drop: float,
    viscosity: float,
) -> float:
    """Flow of a round layer in two rings of soil into a pit in its middle.

    Q = 2 pi b (dp / mu) / (ln(ra / r1) / k1 + ln(rb / ra) / k2)

    Parameters
    ----------
    radii : tuple of float
        Radii of the pit, of the change of soil and of the open edge: r1, ra, rb. [m]
    permeabilities : tuple of float
        Air permeability inside and outside the change, k1 and k2. [m2]
    thickness : float
        Thickness b of the layer, sealed above and below. [m]
    pressure_drop : float
        Vacuum held in the pit. [Pa]
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    flow : float
        Flow into the pit. [m3/s]

    Raises
    ------
    OutOfRangeError
        The radii are not positive and in order.

    References
    ----------
    Thiem's form in series, derived for this project.

    Examples
    --------
    >>> round(flow_composite_thiem((0.15, 4.0, 5.0), (1e-12, 2e-11), 0.5, 250.0, 1.81e-5), 11)
    1.317081e-05
    """
    pit, change, edge = radii
    _rising(pit=pit, change=change, edge=edge)
    resistance = (
        math.log(change / pit) / permeabilities[0] + math.log(edge / change) / permeabilities[1]
    )
    return 2.0 * math.pi * thickness * pressure_drop / (viscosity * resistance)


def flow_ratio_smear(radius: float, smear: float, permeability_ratio: float) -> float:
    """Flow of a hemispherical pit with a packed wall over that of a clean one.

    1 / (r ((1 / a) (1 / r - 1 / (r + s)) + 1 / (r + s)))

    Parameters
    ----------
    radius : float
        Radius r of the pit. [m]
    smear : float
        Thickness s of the packed soil. [m]
    permeability_ratio : float
        Permeability a of the packed soil relative to the soil around it. [-]

    Returns
    -------
    flow_ratio : float
        Smeared flow over clean flow at one vacuum. [-]

    References
    ----------
    Two shells in series in the half space, derived for this project.

    Examples
    --------
    >>> round(flow_ratio_smear(0.2624, 0.020, 0.1), 4)
    0.6107
    >>> round(flow_ratio_smear(0.2083, 0.020, 0.1), 3)
    0.559
    """
    outer = 1.0 / (radius + smear)
    return 1.0 / (radius * ((1.0 / radius - outer) / permeability_ratio + outer))
