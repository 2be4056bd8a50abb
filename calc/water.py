"""Water and air as published equations give them: density, refractive index, weighing in air."""

from typing import Any

import numpy as np

from calc.arguments import positive, within

SODIUM_D = 589.3e-9  # m, mean of the sodium doublet, on which nD is defined
STANDARD_PRESSURE = 101_325.0  # Pa, exact by definition of the standard atmosphere
ZERO_CELSIUS = 273.15  # K, exact
COLDEST, WARMEST = 0.0, 40.0  # °C, range of the density equation (Tanaka et al. 2001)
IN_RANGE = "0 to 40 °C"

# Tanaka et al., Metrologia 38 (2001) 301, table 1: °C, °C, °C², °C, kg/m³.
DENSITY_TERMS = (-3.983035, 301.797, 522_528.9, 69.34881, 999.974950)

# IAPWS R9-97, table 1: dimensionless, on 1000 kg/m³, 273.15 K and 0.589 µm.
INDEX_TERMS = (
    *(0.244257733, 9.74634476e-3, -3.73234996e-3, 2.68678472e-4),
    *(1.58920570e-3, 2.45934259e-3, 0.900704920, -1.66626219e-2),
)
ULTRAVIOLET, INFRARED = 0.2292020, 5.432937  # -, resonances over 0.589 µm, IAPWS R9-97, table 1
REFERENCE_WAVELENGTH = 0.589e-6  # m, IAPWS R9-97

WEIGHTS = 8000.0  # kg/m³, conventional density of weights, OIML R 111


def water_density(temperature_c: Any) -> Any:
    """Density of air-free water at 101.325 kPa.

    Parameters
    ----------
    temperature_c : array_like, 0 to 40 °C.

    Returns
    -------
    kg/m³, same shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: ρ = a5 (1 - (t + a1)² (t + a2)/(a3 (t + a4))). Fresh water; salt makes it denser.
    Source: Tanaka et al., Metrologia 38 (2001) 301. Check:
    fixtures/reference/check-values.json D-01.
    """
    t = within("temperature_c", temperature_c, COLDEST, WARMEST, IN_RANGE)
    a1, a2, a3, a4, a5 = DENSITY_TERMS
    return a5 * (1 - (t + a1) ** 2 * (t + a2) / (a3 * (t + a4)))


def air_density(
    temperature_c: Any, pressure: Any = STANDARD_PRESSURE, humidity_percent: Any = 50.0
) -> Any:
    """Density of moist air.

    Parameters
    ----------
    temperature_c : array_like, 0 to 40 °C.
    pressure : array_like, 60,000 to 110,000 Pa.
    humidity_percent : array_like, 0 to 100. Relative humidity.

    Returns
    -------
    kg/m³, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: ρ = (0.34848 p - 0.009 h exp(0.061 t))/(t + 273.15), p in hPa, h in %.
    Source: OIML R 111-1 (2004), equation E.3-1 (from memory). Check:
    fixtures/reference/check-values.json D-02.
    """
    t = within("temperature_c", temperature_c, COLDEST, WARMEST, IN_RANGE)
    p = within("pressure", pressure, 60e3, 110e3, "60,000 to 110,000 Pa") / 100
    h = within("humidity_percent", humidity_percent, 0, 100, "0 to 100 percent")
    return (0.34848 * p - 0.009 * h * np.exp(0.061 * t)) / (t + ZERO_CELSIUS)


def volume_per_weight(
    temperature_c: Any, pressure: Any = STANDARD_PRESSURE, humidity_percent: Any = 50.0
) -> Any:
    """Volume of water for each kilogram that a balance shows: how a flask or syringe is checked.

    Parameters
    ----------
    temperature_c, pressure, humidity_percent : as for `air_density`; water at air temperature.

    Returns
    -------
    m³/kg, broadcast shape; times 1000 it is the factor Z in µL/mg.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: Z = (1 - ρa/ρb)/(ρw - ρa) with weights of 8000 kg/m³.
    Source: ISO 8655-6:2002, ISO/TR 20461. Check: fixtures/reference/check-values.json D-02.
    """
    air = air_density(temperature_c, pressure, humidity_percent)
    return (1 - air / WEIGHTS) / (water_density(temperature_c) - air)


def index_against_vacuum(temperature_c: Any, density: Any, wavelength: Any = SODIUM_D) -> Any:
    """Refractive index of water or steam against vacuum.

    Parameters
    ----------
    temperature_c : array_like, -12 to 500 °C.
    density : array_like, kg/m³, above 0 and at most 1060.
    wavelength : array_like, m, 0.2e-6 to 1.1e-6, in vacuum.

    Returns
    -------
    Index, no unit, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: (n² - 1)/(n² + 2)/ρ = a0 + a1 ρ + a2 T + a3 λ² T + a4/λ² + a5/(λ² - λuv²)
    + a6/(λ² - λir²) + a7 ρ², each in units of the release.
    Source: IAPWS R9-97, equation 1 and table 1. Check:
    fixtures/reference/check-values.json B-01, B-07.
    """
    t = within("temperature_c", temperature_c, -12, 500, "-12 to 500 °C") / ZERO_CELSIUS + 1
    rho = within("density", positive("density", density), 0, 1060, "at most 1060 kg/m³") / 1000
    square = within("wavelength", wavelength, 0.2e-6, 1.1e-6, "0.2e-6 to 1.1e-6 m")
    square = (square / REFERENCE_WAVELENGTH) ** 2
    a = INDEX_TERMS
    bracket = (
        a[0]
        + a[1] * rho
        + a[2] * t
        + a[3] * square * t
        + a[4] / square
        + a[5] / (square - ULTRAVIOLET**2)
        + a[6] / (square - INFRARED**2)
        + a[7] * rho * rho
    )
    refraction = rho * bracket
    return np.sqrt((1 + 2 * refraction) / (1 - refraction))


def air_index(
    temperature_c: Any, pressure: Any = STANDARD_PRESSURE, wavelength: Any = SODIUM_D
) -> Any:
    """Refractive index of dry air against vacuum.

    Parameters
    ----------
    temperature_c : array_like, 0 to 40 °C.
    pressure : array_like, 60,000 to 110,000 Pa.
    wavelength : array_like, m, 0.35e-6 to 0.65e-6, in vacuum.

    Returns
    -------
    Index, no unit, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: dispersion at 15 °C in σ = 1/λ, then density by temperature and pressure.
    Source: Birch and Downs, Metrologia 31 (1994) 315 (constants from memory). Check:
    fixtures/reference/check-values.json B-02.
    """
    t = within("temperature_c", temperature_c, COLDEST, WARMEST, IN_RANGE)
    p = within("pressure", pressure, 60e3, 110e3, "60,000 to 110,000 Pa")
    length = within("wavelength", wavelength, 0.35e-6, 0.65e-6, "0.35e-6 to 0.65e-6 m")
    square = (1e-6 / length) ** 2  # µm⁻²
    standard = (8342.54 + 2_406_147 / (130 - square) + 15_998 / (38.9 - square)) * 1e-8
    dense = p / 96_095.43 * (1 + 1e-8 * (0.601 - 0.00972 * t) * p) / (1 + 0.003661 * t)
    return 1 + standard * dense


def water_index(temperature_c: Any) -> Any:
    """Refractive index nD of pure water against air, as refractometer scales count it.

    Parameters
    ----------
    temperature_c : array_like, 0 to 40 °C. Water, and the air beside it.

    Returns
    -------
    nD, no unit, same shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: index against vacuum over the index of air, both at this temperature and 101.325 kPa;
    against vacuum it would be 3.6e-4 higher.
    Source: IAPWS R9-97, with air of Birch and Downs, Metrologia 31 (1994) 315. Check:
    fixtures/reference/check-values.json B-02, B-03, B-08.
    """
    vacuum = index_against_vacuum(temperature_c, water_density(temperature_c))
    return vacuum / air_index(temperature_c)
