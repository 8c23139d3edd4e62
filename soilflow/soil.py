"""Soil, gaps and slots: published formulas for how easily air passes.

One function for each published model, quantity first and author second. A model is chosen by
passing the function. Floats or arrays in SI.

Length: every formula carries its equation, range and source; the code itself is short.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilflow.errors import OutOfRangeError
from soilflow.units import GRAVITY

__all__ = [
    "cubic_law_transmissivity",
    "diffusion_coefficient_rogers_nielson",
    "diffusion_ratio_millington_quirk_1960",
    "diffusion_ratio_millington_quirk_1961",
    "effective_saturation_brooks_corey",
    "effective_saturation_van_genuchten",
    "gas_relative_permeability_brooks_corey",
    "gas_relative_permeability_parker",
    "inertia_ergun",
    "layers_across",
    "layers_along",
    "permeability_ergun",
    "permeability_hydraulic",
    "permeability_kozeny_carman",
    "permeability_rogers_nielson",
    "slot_conductance",
]

FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])


def _check(name: str, value: ArrayLike, low: float, high: float, *, open_low: bool = False) -> None:
    """Raise unless low <= value <= high, or low < value when the lower end is open."""
    array = np.asarray(value, dtype=float)
    above = array > low if open_low else array >= low
    if not np.all(above & (array <= high)):
        shown = f"{float(array):g}" if array.ndim == 0 else f"{array.min():g} to {array.max():g}"
        start = "above" if open_low else "at least"
        end = f" and at most {high:g}" if np.isfinite(high) else ""
        raise OutOfRangeError(f"{name} {shown}: must be {start} {low:g}{end}")


def permeability_rogers_nielson(
    porosity: float, saturation: FloatOrArray, grain_diameter: float
) -> FloatOrArray:
    """Estimate air permeability from porosity, moisture and grain size.

    k = (e / 500)^2 d^(4/3) exp(-12 S^4)

    Parameters
    ----------
    porosity : float
        Pore volume over total volume. [-]
    saturation : float or array
        Water volume over pore volume. [-]
    grain_diameter : float
        Mean grain diameter. [m]

    Returns
    -------
    float or array
        Air permeability. [m2]

    Raises
    ------
    OutOfRangeError
        Porosity or saturation outside 0 to 1, or no grain size.

    Notes
    -----
    A correlation: trust it within a factor of two to three.

    References
    ----------
    Rogers and Nielson 1991, Health Physics 61(2), 225-230, from memory.

    Examples
    --------
    >>> float(f"{permeability_rogers_nielson(0.40, 0.30, 200e-6):.4g}")
    6.792e-12
    """
    _check("porosity", porosity, 0.0, 1.0)
    _check("saturation", saturation, 0.0, 1.0)
    _check("grain_diameter", grain_diameter, 0.0, np.inf, open_low=True)
    dry = (porosity / 500.0) ** 2 * grain_diameter ** (4.0 / 3.0)
    return dry * np.exp(-12.0 * saturation**4)


def _packed_bed(grain_diameter: FloatOrArray, porosity: float, constant: float) -> FloatOrArray:
    _check("grain_diameter", grain_diameter, 0.0, np.inf, open_low=True)
    _check("porosity", porosity, 0.0, np.nextafter(1.0, 0.0), open_low=True)
    return grain_diameter**2 * porosity**3 / (constant * (1.0 - porosity) ** 2)


def permeability_kozeny_carman(grain_diameter: FloatOrArray, porosity: float) -> FloatOrArray:
    """Estimate the permeability of clean dry sand.

    k = d^2 e^3 / (180 (1 - e)^2)

    Parameters
    ----------
    grain_diameter : float or array
        Effective grain diameter, near the size that 10 % by weight is finer than. [m]
    porosity : float
        Pore volume over total volume. [-]

    Returns
    -------
    float or array
        Permeability. [m2]

    Raises
    ------
    OutOfRangeError
        No grain size, or porosity not between 0 and 1.

    References
    ----------
    Carman 1937, Transactions of the Institution of Chemical Engineers 15, from memory.

    Examples
    --------
    >>> float(f"{permeability_kozeny_carman(200e-6, 0.40):.4g}")
    3.951e-11
    """
    return _packed_bed(grain_diameter, porosity, 180.0)


def permeability_ergun(grain_diameter: FloatOrArray, porosity: float) -> FloatOrArray:
    """Estimate the permeability of gravel.

    k = d^2 e^3 / (150 (1 - e)^2)

    Parameters
    ----------
    grain_diameter : float or array
        Stone diameter. [m]
    porosity : float
        Void volume over total volume. [-]

    Returns
    -------
    float or array
        Permeability. [m2]

    Raises
    ------
    OutOfRangeError
        No stone size, or porosity not between 0 and 1.

    Notes
    -----
    For roughly round stones of one size. Goes with ``inertia_ergun``.

    References
    ----------
    Ergun 1952, Chemical Engineering Progress 48, 89, from memory.

    Examples
    --------
    >>> float(f"{permeability_ergun(0.010, 0.40):.4g}")
    1.185e-07
    """
    return _packed_bed(grain_diameter, porosity, 150.0)


def inertia_ergun(grain_diameter: FloatOrArray, porosity: float) -> FloatOrArray:
    """Estimate the inertia coefficient of gravel.

    beta = 1.75 (1 - e) / (d e^3), in grad p = mu v / k + beta rho v^2

    Parameters
    ----------
    grain_diameter : float or array
        Stone diameter. [m]
    porosity : float
        Void volume over total volume. [-]

    Returns
    -------
    float or array
        Inertia coefficient. [1/m]

    Raises
    ------
    OutOfRangeError
        No stone size, or porosity not between 0 and 1.

    References
    ----------
    Ergun 1952, Chemical Engineering Progress 48, 89, from memory.

    Examples
    --------
    >>> round(inertia_ergun(0.010, 0.40), 3)
    1640.625
    """
    _check("grain_diameter", grain_diameter, 0.0, np.inf, open_low=True)
    _check("porosity", porosity, 0.0, np.nextafter(1.0, 0.0), open_low=True)
    return 1.75 * (1.0 - porosity) / (grain_diameter * porosity**3)


def permeability_hydraulic(
    conductivity: FloatOrArray,
    *,
    viscosity_water: float = 1.0016e-3,
    density_water: float = 998.207,
) -> FloatOrArray:
    """Turn saturated hydraulic conductivity into permeability.

    k = K_s mu_w / (rho_w g)

    Parameters
    ----------
    conductivity : float or array
        Saturated hydraulic conductivity. [m/s]
    viscosity_water : float
        Dynamic viscosity of the water; the default is 20 C, agrees with IAPWS. [Pa s]
    density_water : float
        Density of the water; the default is 20 C, agrees with IAPWS. [kg/m3]

    Returns
    -------
    float or array
        Permeability. [m2]

    Raises
    ------
    OutOfRangeError
        A negative conductivity.

    Notes
    -----
    A core value. A house can see ten to twenty times more (Garbesi et al. 1996, Water
    Resources Research 32, 547), and clay swells in water as it does not in air.

    Examples
    --------
    >>> float(f"{permeability_hydraulic(1.0e-5):.4g}")
    1.023e-12
    """
    _check("conductivity", conductivity, 0.0, np.inf)
    return conductivity * viscosity_water / (density_water * GRAVITY)


def effective_saturation_van_genuchten(
    suction_head: FloatOrArray, alpha: float, n: float
) -> FloatOrArray:
    """Compute effective water saturation from the suction head of the soil water.

    Se = (1 + (alpha h)^n)^(-m), m = 1 - 1/n

    Parameters
    ----------
    suction_head : float or array
        Suction of the soil water as a height of water, positive when unsaturated. [m]
    alpha : float
        Inverse of the air-entry height. [1/m]
    n : float
        Shape of the pore-size distribution, above 1. [-]

    Returns
    -------
    float or array
        Effective saturation, 1 at no suction. [-]

    Raises
    ------
    OutOfRangeError
        Negative suction or alpha, or n not above 1.

    References
    ----------
    van Genuchten 1980, Soil Science Society of America Journal 44, 892-898, from memory.

    Examples
    --------
    >>> round(effective_saturation_van_genuchten(1.0, 7.5, 1.89), 4)
    0.1647
    """
    _check("suction_head", suction_head, 0.0, np.inf)
    _check("alpha", alpha, 0.0, np.inf)
    _check("n", n, 1.0, np.inf, open_low=True)
    return (1.0 + (alpha * suction_head) ** n) ** (1.0 / n - 1.0)


def effective_saturation_brooks_corey(
    suction_head: FloatOrArray, entry_head: float, pore_index: float
) -> FloatOrArray:
    """Compute effective water saturation from the suction head, with a height where air enters.

    Se = (h / h_b)^(-lambda) above the air-entry height h_b, 1 up to it

    Parameters
    ----------
    suction_head : float or array
        Suction of the soil water as a height of water, positive when unsaturated. [m]
    entry_head : float
        Suction from which on air enters. [m]
    pore_index : float
        Pore-size distribution index lambda. [-]

    Returns
    -------
    float or array
        Effective saturation. [-]

    Raises
    ------
    OutOfRangeError
        Negative suction, or an entry height or index not above 0.

    References
    ----------
    Brooks and Corey 1964, Hydrology Papers 3, Colorado State University, from memory.

    Examples
    --------
    >>> float(effective_saturation_brooks_corey(1.0, 0.5, 2.0))
    0.25
    """
    _check("suction_head", suction_head, 0.0, np.inf)
    _check("entry_head", entry_head, 0.0, np.inf, open_low=True)
    _check("pore_index", pore_index, 0.0, np.inf, open_low=True)
    beyond: FloatOrArray = np.maximum(suction_head / entry_head, 1.0)
    return beyond ** (-pore_index)


def gas_relative_permeability_parker(effective_saturation: FloatOrArray, n: float) -> FloatOrArray:
    """Compute how much of the dry permeability is left to air in moist soil.

    krg = (1 - Se)^(1/2) (1 - Se^(1/m))^(2m), m = 1 - 1/n

    Parameters
    ----------
    effective_saturation : float or array
        Effective water saturation. [-]
    n : float
        van Genuchten's shape of the pore-size distribution, above 1. [-]

    Returns
    -------
    float or array
        Permeability to air over permeability of the dry soil. [-]

    Raises
    ------
    OutOfRangeError
        Saturation outside 0 to 1, or n not above 1.

    Notes
    -----
    Leaves some air path up to full saturation, where real soil has closed before. In wet soil
    the Brooks-Corey form gives several times less.

    References
    ----------
    Parker, Lenhard and Kuppusamy 1987, Water Resources Research 23, 618, from memory.

    Examples
    --------
    >>> round(gas_relative_permeability_parker(0.5, 2.68), 4)
    0.4272
    """
    _check("effective_saturation", effective_saturation, 0.0, 1.0)
    _check("n", n, 1.0, np.inf, open_low=True)
    m = 1.0 - 1.0 / n
    pore_share = 1.0 - effective_saturation ** (1.0 / m)
    return (1.0 - effective_saturation) ** 0.5 * pore_share ** (2.0 * m)


def gas_relative_permeability_brooks_corey(
    effective_saturation: FloatOrArray, pore_index: float
) -> FloatOrArray:
    """Compute how much of the dry permeability is left to air, by Burdine's pore model.

    krg = (1 - Se)^2 (1 - Se^((2 + lambda) / lambda))

    Parameters
    ----------
    effective_saturation : float or array
        Effective water saturation. [-]
    pore_index : float
        Pore-size distribution index lambda. [-]

    Returns
    -------
    float or array
        Permeability to air over permeability of the dry soil. [-]

    Raises
    ------
    OutOfRangeError
        Saturation outside 0 to 1, or the index not above 0.

    References
    ----------
    Brooks and Corey 1964, Hydrology Papers 3, Colorado State University, from memory.

    Examples
    --------
    >>> gas_relative_permeability_brooks_corey(0.5, 2.0)
    0.1875
    """
    _check("effective_saturation", effective_saturation, 0.0, 1.0)
    _check("pore_index", pore_index, 0.0, np.inf, open_low=True)
    exponent = (2.0 + pore_index) / pore_index
    return (1.0 - effective_saturation) ** 2 * (1.0 - effective_saturation**exponent)


def diffusion_coefficient_rogers_nielson(
    porosity: float, saturation: FloatOrArray, *, diffusion_air: float = 1.1e-5
) -> FloatOrArray:
    """Estimate how fast radon diffuses through the air in pores.

    De = D0 e exp(-6 S e - 6 S^(14 e))

    Parameters
    ----------
    porosity : float
        Pore volume over total volume. [-]
    saturation : float or array
        Water volume over pore volume. [-]
    diffusion_air : float
        Diffusion coefficient of radon in free air. [m2/s]

    Returns
    -------
    float or array
        Diffusion coefficient by concentration in the pore air. [m2/s]

    Raises
    ------
    OutOfRangeError
        Porosity or saturation outside 0 to 1.

    Notes
    -----
    Four definitions of this coefficient are in use. Times the porosity this one gives the flux
    through a whole area of dry soil. Trust it within a factor of two.

    References
    ----------
    Rogers and Nielson 1991, Health Physics 61(2), 225-230, from memory.

    Examples
    --------
    >>> float(f"{diffusion_coefficient_rogers_nielson(0.40, 0.30):.4g}")
    2.127e-06
    """
    _check("porosity", porosity, 0.0, 1.0)
    _check("saturation", saturation, 0.0, 1.0)
    decay = 6.0 * saturation * porosity + 6.0 * saturation ** (14.0 * porosity)
    return diffusion_air * porosity * np.exp(-decay)


def diffusion_ratio_millington_quirk_1961(
    air_porosity: FloatOrArray, porosity: float
) -> FloatOrArray:
    """Compute gas diffusion in soil relative to free air, the 1961 form.

    D/D0 = a^(10/3) / e^2

    Parameters
    ----------
    air_porosity : float or array
        Air volume over total volume. [-]
    porosity : float
        Pore volume over total volume. [-]

    Returns
    -------
    float or array
        Bulk diffusion coefficient over that of free air. [-]

    Raises
    ------
    OutOfRangeError
        Porosity not between 0 and 1, or more air than pores.

    References
    ----------
    Millington and Quirk 1961, Transactions of the Faraday Society 57, 1200, from memory.

    Examples
    --------
    >>> round(diffusion_ratio_millington_quirk_1961(0.25, 0.43), 5)
    0.05323
    """
    _check("porosity", porosity, 0.0, 1.0, open_low=True)
    _check("air_porosity", air_porosity, 0.0, porosity)
    return air_porosity ** (10.0 / 3.0) / porosity**2


def diffusion_ratio_millington_quirk_1960(
    air_porosity: FloatOrArray, porosity: float
) -> FloatOrArray:
    """Compute gas diffusion in soil relative to free air, the 1960 form.

    D/D0 = a^2 / e^(2/3)

    Parameters
    ----------
    air_porosity : float or array
        Air volume over total volume. [-]
    porosity : float
        Pore volume over total volume. [-]

    Returns
    -------
    float or array
        Bulk diffusion coefficient over that of free air. [-]

    Raises
    ------
    OutOfRangeError
        Porosity not between 0 and 1, or more air than pores.

    References
    ----------
    Millington and Quirk 1960, 7th International Congress of Soil Science, from memory.

    Examples
    --------
    >>> round(diffusion_ratio_millington_quirk_1960(0.25, 0.43), 4)
    0.1097
    """
    _check("porosity", porosity, 0.0, 1.0, open_low=True)
    _check("air_porosity", air_porosity, 0.0, porosity)
    return air_porosity**2 / porosity ** (2.0 / 3.0)


def cubic_law_transmissivity(
    aperture: FloatOrArray, contact_fraction: FloatOrArray | float = 0.0
) -> FloatOrArray:
    """Compute the transmissivity of an open gap.

    T = b^3 / 12 (1 - c) / (1 + c)

    Parameters
    ----------
    aperture : float or array
        Height of the gap. [m]
    contact_fraction : float or array
        Share of the area where slab and soil touch. [-]

    Returns
    -------
    float or array
        Permeability times thickness. [m3]

    Raises
    ------
    OutOfRangeError
        Negative aperture, or contact outside 0 to 1.

    Notes
    -----
    Slow flow between parallel faces; rough faces pass less. The contact factor is that of
    round, evenly spread spots.

    References
    ----------
    Snow 1965, dissertation, University of California; Witherspoon et al. 1980, Water Resources
    Research 16, 1016; contact: Walsh 1981, Int. J. Rock Mechanics 18, 429. From memory.

    Examples
    --------
    >>> float(f"{cubic_law_transmissivity(0.003):.4g}")
    2.25e-09
    """
    _check("aperture", aperture, 0.0, np.inf)
    _check("contact_fraction", contact_fraction, 0.0, 1.0)
    return aperture**3 / 12.0 * (1.0 - contact_fraction) / (1.0 + contact_fraction)


def slot_conductance(
    aperture: FloatOrArray, length_along_flow: float, viscosity: float
) -> FloatOrArray:
    """Compute the air conductance of a slot, per metre of its run.

    g = w^3 / (12 mu t)

    Parameters
    ----------
    aperture : float or array
        Width of the slot. [m]
    length_along_flow : float
        Way through the slot, the slab's thickness for a joint. [m]
    viscosity : float
        Dynamic viscosity of the air. [Pa s]

    Returns
    -------
    float or array
        Flow per pressure difference and metre of run. [m2/(Pa s)]

    Raises
    ------
    OutOfRangeError
        Negative aperture, or no length or viscosity.

    Notes
    -----
    Entry losses are left out; they matter once the Reynolds number nears a thousand.

    References
    ----------
    Snow 1965, dissertation, University of California, from memory.

    Examples
    --------
    >>> float(f"{slot_conductance(0.001, 0.1, 1.81e-5) * 5.0:.4g}")
    0.0002302
    """
    _check("aperture", aperture, 0.0, np.inf)
    _check("length_along_flow", length_along_flow, 0.0, np.inf, open_low=True)
    _check("viscosity", viscosity, 0.0, np.inf, open_low=True)
    return aperture**3 / (12.0 * viscosity * length_along_flow)


def _layers(
    thicknesses: Sequence[float] | NDArray[np.float64],
    permeabilities: Sequence[float] | NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    d, k = np.asarray(thicknesses, dtype=float), np.asarray(permeabilities, dtype=float)
    if d.shape != k.shape or d.size == 0:
        raise OutOfRangeError(f"{d.size} thicknesses for {k.size} permeabilities: one each needed")
    _check("thicknesses", d, 0.0, np.inf, open_low=True)
    return d, k


def layers_across(
    thicknesses: Sequence[float] | NDArray[np.float64],
    permeabilities: Sequence[float] | NDArray[np.float64],
) -> float:
    """Compute the permeability of layers to flow across them.

    k = sum(d) / sum(d / k)

    Parameters
    ----------
    thicknesses : array, shape (n,)
        Thickness of each layer. [m]
    permeabilities : array, shape (n,)
        Permeability of each layer. [m2]

    Returns
    -------
    float
        Permeability of the stack. [m2]

    Raises
    ------
    OutOfRangeError
        Unequal numbers, or a thickness or permeability not above zero.

    References
    ----------
    Wiener 1912, from memory: the lower bound for any arrangement of the same soils.

    Examples
    --------
    >>> float(f"{layers_across((0.3, 0.5, 0.2), (1e-11, 1e-12, 5e-12)):.4g}")
    1.754e-12
    """
    d, k = _layers(thicknesses, permeabilities)
    _check("permeabilities", k, 0.0, np.inf, open_low=True)
    return float(d.sum() / (d / k).sum())


def layers_along(
    thicknesses: Sequence[float] | NDArray[np.float64],
    permeabilities: Sequence[float] | NDArray[np.float64],
) -> float:
    """Compute the permeability of layers to flow along them.

    k = sum(d k) / sum(d)

    Parameters
    ----------
    thicknesses : array, shape (n,)
        Thickness of each layer. [m]
    permeabilities : array, shape (n,)
        Permeability of each layer; zero is allowed. [m2]

    Returns
    -------
    float
        Permeability of the stack. [m2]

    Raises
    ------
    OutOfRangeError
        Unequal numbers, a thickness not above zero, or a negative permeability.

    References
    ----------
    Wiener 1912, from memory: the upper bound for any arrangement of the same soils.

    Examples
    --------
    >>> float(f"{layers_along((0.3, 0.5, 0.2), (1e-11, 1e-12, 5e-12)):.4g}")
    4.5e-12
    """
    d, k = _layers(thicknesses, permeabilities)
    _check("permeabilities", k, 0.0, np.inf)
    return float((d * k).sum() / d.sum())
