"""Nitrogen as a test gas, alone or with a trace of refrigerant: how it departs from the gas law.

Public functions take and return pint quantities; `Gas` is their plain SI body.
"""

from __future__ import annotations

from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Value
from startkit.units import quantities

GAS_CONSTANT = 8.31446261815324  # J/mol K, CODATA
MOLAR_MASS = 28.0134e-3  # kg/mol
REFERENCE = 298.15  # K
# Where the virial coefficients were fitted [K], [K], [Pa].
COLDEST, HOTTEST, HIGHEST = 250.0, 335.0, 5.0e6

# Virial coefficients of nitrogen, fitted to the equation of Span et al., J. Phys. Chem. Ref. Data
# 29 (2000) 1361, in powers of 298.15 K/T - 1: the second within 0.003 cm3/mol, the third within
# 12 cm6/mol2.
SECOND = (-4.9109e-6, -57.867e-6, -10.419e-6)  # m3/mol
THIRD = (1418.8e-12, 730.8e-12)  # m6/mol2

# The effect of a trace of refrigerant is calculated for R-134a: the share is known so badly that
# the kind of refrigerant matters less. Critical temperature, pressure, acentric factor and critical
# compressibility of both.
OF_NITROGEN = (126.192, 3.3958e6, 0.0372, 0.289)
OF_TRACE = (374.21, 4.0593e6, 0.3268, 0.26)


def _power_series(coefficients: tuple[float, ...], x: float) -> float:
    return sum(c * x**n for n, c in enumerate(coefficients))


def _second_by_critical_point(temperature: float, critical: tuple[float, ...]) -> float:
    """B by Pitzer's correlation. Source: Smith, Van Ness, Abbott, ch. 3 (from memory)."""
    at, pressure, acentric = critical[:3]
    reduced = temperature / at
    return (
        GAS_CONSTANT
        * at
        / pressure
        * (0.083 - 0.422 / reduced**1.6 + acentric * (0.139 - 0.172 / reduced**4.2))
    )


def _between(first: tuple[float, ...], second: tuple[float, ...]) -> tuple[float, ...]:
    """Critical point of the unlike pair. Source: Prausnitz's combining rules (from memory)."""
    (t1, p1, w1, z1), (t2, p2, w2, z2) = first, second
    volumes = (z1 * GAS_CONSTANT * t1 / p1, z2 * GAS_CONSTANT * t2 / p2)
    temperature, z = (t1 * t2) ** 0.5, (z1 + z2) / 2
    volume = ((volumes[0] ** (1 / 3) + volumes[1] ** (1 / 3)) / 2) ** 3
    return temperature, z * GAS_CONSTANT * temperature / volume, (w1 + w2) / 2


UNLIKE = _between(OF_NITROGEN, OF_TRACE)


@dataclass(frozen=True)
class Gas:
    """Nitrogen with a share of refrigerant by volume, in plain SI.

    p = rho R T (1 + B rho + C rho^2)
    """

    trace: float = 0.0

    def second(self, temperature: float) -> float:
        """B [m3/mol]."""
        pure = _power_series(SECOND, REFERENCE / temperature - 1)
        if not self.trace:
            return pure
        y = self.trace
        unlike = _second_by_critical_point(temperature, UNLIKE)
        like = _second_by_critical_point(temperature, OF_TRACE)
        return (1 - y) ** 2 * pure + 2 * y * (1 - y) * unlike + y**2 * like

    def pressure(self, density: float, temperature: float) -> float:
        """Pressure [Pa] of a molar density [mol/m3]."""
        return (
            density
            * GAS_CONSTANT
            * temperature
            * (1 + self.second(temperature) * density + self.third(temperature) * density**2)
        )

    @staticmethod
    def third(temperature: float) -> float:
        """C [m6/mol2]; that of nitrogen."""
        return _power_series(THIRD, REFERENCE / temperature - 1)

    def stiffness(self, density: float, temperature: float) -> float:
        """dp/drho at constant temperature [Pa m3/mol]."""
        return (
            GAS_CONSTANT
            * temperature
            * (
                1
                + 2 * self.second(temperature) * density
                + 3 * self.third(temperature) * density**2
            )
        )

    def slope(self, density: float, temperature: float) -> float:
        """dp/dT at constant density [Pa/K], by central difference over 0.2 K."""
        return (
            self.pressure(density, temperature + 0.1) - self.pressure(density, temperature - 0.1)
        ) / 0.2

    def density(self, pressure: float, temperature: float) -> float:
        """Molar density [mol/m3] at a pressure, by Newton's method from the gas law."""
        if pressure <= 0 or temperature <= 0:
            raise ScienceError(
                "an absolute pressure or temperature is zero or below",
                "pressure hold",
                "check the readings and the site's barometer",
            )
        if not COLDEST <= temperature <= HOTTEST or pressure > HIGHEST:
            raise ScienceError(
                f"{pressure / 1000:.0f} kPa absolute at {temperature - 273.15:.0f} °C is outside"
                f" {COLDEST - 273.15:.0f} to {HOTTEST - 273.15:.0f} °C and {HIGHEST / 1000:.0f}"
                " kPa, for which nitrogen data are available",
                "pressure hold",
                "check pressure and temperature",
            )
        density = pressure / (GAS_CONSTANT * temperature)
        for _ in range(5):  # each step squares the error, and the first is below a hundredth
            density += (pressure - self.pressure(density, temperature)) / self.stiffness(
                density, temperature
            )
        return density


@quantities("mole/meter**3", pressure="pascal", temperature="kelvin")
def molar_density(pressure: Value, temperature: Value, trace: float = 0.0) -> Value:
    """Molar density of nitrogen, alone or with a trace of refrigerant.

    p = rho R T (1 + B rho + C rho^2)

    Parameters
    ----------
    pressure : Quantity
        Absolute [Pa], up to 5 MPa.
    temperature : Quantity
        [K], 250 to 335 K.
    trace : float
        Share of refrigerant by volume; B by the critical points of nitrogen and R-134a.

    Returns
    -------
    Quantity
        [mol/m3].

    Raises
    ------
    ScienceError
        Outside the range.

    Source: virial coefficients fitted to Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361; the
    trace by Pitzer's correlation and Prausnitz's combining rules (from memory).

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(molar_density(Q(1, "MPa"), Q(20, "degC")).magnitude, 1)
    411.2
    """
    return Gas(trace).density(pressure, temperature)
