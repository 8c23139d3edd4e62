"""Published formulas of soil and air."""

from __future__ import annotations

import math
from collections.abc import Iterator

from checks.row import MEMORY, Group, Row
from soilflow import air, soil
from soilflow.air import Air
from soilflow.conditions import Condition
from soilflow.data import soil_classes

# of radon 222, older value; the newer one is 3.8232 d [1/s]
_DECAY = math.log(2.0) / (3.8235 * 86400.0)
_SATURATIONS = (0.2, 0.5, 0.8)


def _exact(check: str, source: str, value: float, ours: float, tolerance: float = 1e-6) -> Row:
    return Row(check=check, source=source, value=value, ours=float(ours), tolerance=tolerance)


def _last_figure(value: float, figures: int) -> float:
    """One unit of the last of so many figures, over the value."""
    return 10.0 ** (math.floor(math.log10(value)) + 1 - figures) / value


def _rogers_nielson() -> Iterator[Row]:
    source = "Rogers & Nielson 1991, Health Phys. 61:225" + MEMORY
    for porosity, wet, microns, diffusion, permeability in (
        (0.40, 0.30, 200.0, 2.126600e-6, 6.792139e-12),
        (0.40, 0.75, 200.0, 2.194790e-7, 1.679802e-13),
        (0.35, 0.90, 20.0, 1.620569e-8, 1.013014e-16),
    ):
        where = f"porosity {porosity:g}, {wet:.0%} wet"
        found = soil.diffusion_coefficient_rogers_nielson(porosity, wet)
        yield _exact(f"radon diffusion, {where}", source, diffusion, found)
        found = soil.permeability_rogers_nielson(porosity, wet, microns * 1e-6)
        yield _exact(f"permeability, {where}, {microns:g} um", source, permeability, found)
    yield Row(
        check="diffusion length of radon, dry, porosity 0.40",
        source="Sogaard-Hansen & Damkjaer, abstract: 1.6 to 1.9 m measured",
        value=1.60,
        ours=math.sqrt(soil.diffusion_coefficient_rogers_nielson(0.40, 0.0) / _DECAY),
        tolerance=0.10,
    )


def _packed_beds() -> Iterator[Row]:
    source = "Carman 1937" + MEMORY
    found = soil.permeability_kozeny_carman(200e-6, 0.40)
    yield _exact("Kozeny-Carman, 200 um, porosity 0.40", source, 3.950617e-11, found)
    source = "Ergun 1952, Chem. Eng. Prog. 48:89" + MEMORY
    k, beta = soil.permeability_ergun(0.010, 0.40), soil.inertia_ergun(0.010, 0.40)
    yield _exact("Ergun permeability, 10 mm, porosity 0.40", source, 1.185185e-7, k)
    yield _exact("Ergun inertia, 10 mm, porosity 0.40", source, 1640.625, beta)
    gradient = 1.81e-5 / k * 0.1 + beta * 1.204 * 0.1**2
    yield _exact("Ergun gradient at 0.1 m/s", source, 35.02500, gradient)


def _classes() -> Iterator[Row]:
    for word, permeability in (
        ("sand", 8.44125e-12),
        ("loamy sand", 4.14720e-12),
        ("sandy loam", 1.25648e-12),
        ("loam", 2.95586e-13),
        ("silt", 7.10543e-14),
        ("silt loam", 1.27898e-13),
        ("sandy clay loam", 3.72325e-13),
        ("clay loam", 7.38965e-14),
        ("silty clay loam", 1.98952e-14),
        ("sandy clay", 3.41061e-14),
        ("silty clay", 5.68435e-15),
        ("clay", 5.68435e-14),
    ):
        yield _exact(
            f"permeability of {word} from its conductivity",
            "Carsel & Parrish 1988, WRR 24:755, seen in a secondary source; six figures",
            permeability,
            soil.permeability_hydraulic(soil_classes()[word].conductivity),
            max(1e-6, 0.5 * _last_figure(permeability, 6)),
        )


def _wet_soil() -> Iterator[Row]:
    source = "Parker et al. 1987, WRR 23:618" + MEMORY
    for n, values in (
        (2.68, (0.8092363, 0.4272112, 0.09864275)),
        (1.89, (0.8667837, 0.5531733, 0.1786315)),
        (1.31, (0.8939561, 0.6889620, 0.3540731)),
    ):
        for wet, value in zip(_SATURATIONS, values, strict=True):
            found = soil.gas_relative_permeability_parker(wet, n)
            yield _exact(f"gas permeability, n = {n:g}, Se = {wet:g}", source, value, found)
    loam = soil_classes()["sandy loam"]
    wet = soil.effective_saturation_van_genuchten(1.0, loam.alpha, loam.n)
    water = loam.residual_water + wet * (loam.saturated_water - loam.residual_water)
    where = "sandy loam at 1 m of suction"
    source = "Carsel & Parrish 1988, Parker et al. 1987" + MEMORY
    yield _exact(f"effective saturation, {where}", source, 0.1647052, wet)
    yield _exact(f"water content, {where}", source, 0.1218233, water)
    found = soil.gas_relative_permeability_parker(wet, loam.n)
    yield _exact(f"gas permeability, {where}", source, 0.8952483, found)
    source = "Brooks & Corey 1964, Burdine's integral" + MEMORY
    for index, values in (
        (2.0, (0.6144, 0.1875, 0.0144)),
        (0.5, (0.6397952, 0.2421875, 0.0268928)),
    ):
        for wet, value in zip(_SATURATIONS, values, strict=True):
            found = soil.gas_relative_permeability_brooks_corey(wet, index)
            yield _exact(f"gas permeability, index {index:g}, Se = {wet:g}", source, value, found)
    source = "Brooks & Corey 1964" + MEMORY
    found = soil.effective_saturation_brooks_corey(1.0, 0.5, 2.0)
    yield _exact("effective saturation, twice the entry head, index 2", source, 0.25, found)
    source = "Millington & Quirk 1961" + MEMORY
    found = soil.diffusion_ratio_millington_quirk_1961(0.25, 0.43)
    yield _exact("diffusion ratio of 1961, air 0.25 of 0.43", source, 0.05323490, found)
    source = "Millington & Quirk 1960" + MEMORY
    found = soil.diffusion_ratio_millington_quirk_1960(0.25, 0.43)
    yield _exact("diffusion ratio of 1960, air 0.25 of 0.43", source, 0.1097070, found)


def _layers_and_slots() -> Iterator[Row]:
    thick, k = (0.3, 0.5, 0.2), (1e-11, 1e-12, 5e-12)
    source = "series and parallel, any text; fractions worked twice"
    across, along = soil.layers_across(thick, k), soil.layers_along(thick, k)
    yield _exact("three layers, across", source, 1e-12 / 0.57, across, 1e-10)
    yield _exact("three layers, along", source, 4.5e-12, along, 1e-10)
    source = "Snow 1965; Witherspoon et al. 1980" + MEMORY
    found = soil.cubic_law_transmissivity(3e-3)
    yield _exact("transmissivity of a 3 mm gap", source, 2.25e-9, found)
    found = 5.0 * soil.slot_conductance(1e-3, 0.1, 1.81e-5)
    yield _exact("slot of 1 mm by 1 m, 0.1 m through, 5 Pa", source, 2.302026e-4, found)


def soil_rows() -> Iterator[Row]:
    yield from _rogers_nielson()
    yield from _packed_beds()
    yield from _classes()
    yield from _wet_soil()
    yield from _layers_and_slots()


# CoolProp's dry air: celsius, viscosity [Pa s], density [kg/m3]
_DRY_AIR = (
    (-10.0, 1.67137e-5, 1.342391),
    (0.0, 1.72184e-5, 1.293066),
    (10.0, 1.77156e-5, 1.247248),
    (15.0, 1.79615e-5, 1.225539),
    (20.0, 1.82057e-5, 1.204575),
    (25.0, 1.84481e-5, 1.184318),
)


def air_rows() -> Iterator[Row]:
    source = "Lemmon & Jacobsen by CoolProp"
    for celsius, viscosity, density in _DRY_AIR:
        found = Air(temperature=celsius + 273.15)
        check = f"of air at {celsius:g} C"
        yield _exact(f"viscosity {check}", source, viscosity, found.viscosity, 5e-3)
        yield _exact(f"density {check}", source, density, found.density, 1e-3)
    damp = Air(temperature=283.15).viscosity
    source = "humid air by CoolProp"
    yield _exact("viscosity of saturated soil air, 10 C", source, 1.765664e-5, damp, 5e-3)
    source = "U.S. Standard Atmosphere 1976" + MEMORY
    yield _exact(
        "viscosity at 15 C, five figures", source, 1.7894e-5, air.viscosity_sutherland(288.15), 3e-5
    )
    warmth = (288.15 - 0.0065 * 1600.0 * 6356766.0 / (6356766.0 + 1600.0)) / 288.15
    thin = air.pressure_atm_at_altitude(1600.0) / air.P_ATM / warmth
    yield _exact("density of air at 1600 m over that at sea level", source, 0.855213, thin)
    source = "ASHRAE Fundamentals ch. 16" + MEMORY
    for height, value in ((1.0, 1.346194), (2.5, 3.365486), (7.0, 9.423359)):
        cold = Condition(
            name="cold",
            below_neutral_level=height,
            outdoor_temperature=263.15,
            room_temperature=293.15,
        )
        yield _exact(
            f"stack pressure of {height:g} m, -10 against 20 C", source, value, cold.outdoors
        )
    source = "half rho U^2, any text"
    found = air.wind_pressure(5.0, 1.0, 1.2)
    yield _exact("wind pressure at 5 m/s, 1.2 kg/m3", source, 15.0, found)


SOIL = Group(
    name="soil formulas",
    proves="Permeability, diffusion and wetness come out of the published formulas as printed.",
    rows=soil_rows,
)
AIR = Group(
    name="air and driving pressures",
    proves="What pushes and resists is that of real air: viscosity, density, stack and wind.",
    rows=air_rows,
)
