"""Heat transfer by plain formulas: properties in internal units, contact conductance by pressure, gas-side films.

Internal units are mm, s, W, degC. What users and the library state per metre is turned into them here and nowhere
else: conductivity W/(mm K), films and contacts W/(mm2 K), capacity J/(mm3 K).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.library.materials import Material

CONDUCTIVITY_UNIT = 1e-3  # W/(m K) in W/(mm K)
FILM_UNIT = 1e-6  # W/(m2 K) in W/(mm2 K); also W/m2 in W/mm2
CAPACITY_UNIT = 1e-9  # J/(m3 K) in J/(mm3 K)
ZERO_CELSIUS = 273.15  # K


@dataclass(frozen=True)
class ThermalProperties:
    """Conductivity W/(mm K) and volumetric heat capacity J/(mm3 K), each against temperature (degC)."""

    conductivity: PropertyTable
    capacity: PropertyTable

    def __post_init__(self) -> None:
        for field, table in (("conductivity", self.conductivity), ("heat capacity", self.capacity)):
            if not all(value > 0.0 and math.isfinite(value) for value in table.values):
                raise InputError(f"{field} must be above 0 at every temperature", field=field, value=table.values)


def properties(
    conductivity: PropertyTable | float, density: float, heat_capacity: PropertyTable | float
) -> ThermalProperties:
    """Return properties in internal units from W/(m K), kg/m3 and J/(kg K)."""

    def scaled(given: PropertyTable | float, factor: float) -> PropertyTable:
        table = given if isinstance(given, PropertyTable) else PropertyTable.from_rows(given)
        return PropertyTable(table.temperatures, tuple(factor * value for value in table.values))

    return ThermalProperties(scaled(conductivity, CONDUCTIVITY_UNIT), scaled(heat_capacity, density * CAPACITY_UNIT))


def thermal_properties(material: Material) -> ThermalProperties:
    """Return a material's properties in internal units; InputError when one is not known."""
    known = {name: getattr(material, name) for name in ("conductivity", "density", "heat_capacity")}
    for name, value in known.items():
        if value is None:
            raise InputError(f"the {name.replace('_', ' ')} of {material.name} is not known; state it", field=name)
    return properties(**known)


def film(coefficient: float) -> float:
    """Return a film coefficient or conductance in W/(mm2 K) from W/(m2 K); InputError when negative."""
    if not coefficient >= 0.0:
        raise InputError("a film coefficient must be 0 or more", field="coefficient", value=coefficient)
    return coefficient * FILM_UNIT


@dataclass(frozen=True)
class RoughContact:
    """Two nominally flat rough faces, for their conductance by pressure.

    roughness : combined rms height, sqrt(sigma_1^2 + sigma_2^2), mm. slope : combined mean absolute slope, 1.
    hardness : of the softer side, MPa. conductivity_lower, conductivity_upper : W/(mm K). gap_conductivity : of what
    fills the gaps, W/(mm K), 0 for none. jump_distance : temperature jump of a gas, alpha beta Lambda, mm.

    Solid spots, Cooper, Mikic and Yovanovich (IJHMT 12 (1969) 279; from memory, high confidence):

        h_c = 1.25 k_s (m/sigma) (p/H)^0.95,   k_s = 2 k_1 k_2 / (k_1 + k_2)

    for plastic contact of isotropic, conforming faces, 1e-6 < p/H < 2e-2. Gap, Yovanovich (from memory, medium
    confidence): h_g = k_g / (Y + M) with Y = 1.53 sigma (p/H)^-0.097, for 1e-5 < p/H < 2e-2. Waviness, coatings and
    oxide are not in it and lower the figure.
    """

    roughness: float
    slope: float
    hardness: float
    conductivity_lower: float
    conductivity_upper: float
    gap_conductivity: float = 0.0
    jump_distance: float = 0.0

    def __post_init__(self) -> None:
        for name in ("roughness", "slope", "hardness", "conductivity_lower", "conductivity_upper"):
            if not getattr(self, name) > 0.0:
                raise InputError(f"the {name.replace('_', ' ')} must be above 0", field=name, value=getattr(self, name))
        for name in ("gap_conductivity", "jump_distance"):
            if not getattr(self, name) >= 0.0:
                raise InputError(f"the {name.replace('_', ' ')} must be 0 or more", field=name)

    def spots(self, pressure: float) -> float:
        """Return the conductance of the solid spots in W/(mm2 K); 0 without pressure (MPa)."""
        if pressure <= 0.0:
            return 0.0
        k_1, k_2 = self.conductivity_lower, self.conductivity_upper
        k_s = 2.0 * k_1 * k_2 / (k_1 + k_2)
        return 1.25 * k_s * self.slope / self.roughness * (pressure / self.hardness) ** 0.95

    def gap(self, pressure: float, opening: float = 0.0) -> float:
        """Return the conductance of the gaps in W/(mm2 K), of faces that stand `opening` (mm) apart besides."""
        # the fit holds down to p/H = 1e-5; faces that barely touch are as far apart as there
        share = max(pressure / self.hardness, 1e-5)
        Y = 1.53 * self.roughness * share**-0.097
        return self.gap_conductivity / (Y + self.jump_distance + max(opening, 0.0))

    def conductance(self, pressure: float, opening: float = 0.0) -> float:
        """Return spots and gaps together, W/(mm2 K)."""
        return self.spots(pressure) + self.gap(pressure, opening)


@dataclass(frozen=True)
class IdealCycle:
    """Four-stroke cycle for a gas-side film: polytropes, heat at constant volume to a stated peak pressure.

    bore, stroke : mm. compression_ratio. speed : 1/min. intake_pressure, exhaust_pressure, peak_pressure : MPa
    absolute. intake_temperature : degC at the start of compression. exponent : of both polytropes. rod_ratio : crank
    radius over rod length. Blow-down is at once at bottom dead centre; the exhaust keeps the temperature that
    polytropic expansion to exhaust pressure gives.

    Good for the level of a cycle-averaged film, within some 30 % (common practice, no source): where on the chamber
    the heat goes, knock, swirl and deposits are not in it. Where late combustion holds the peak pressure of a boosted
    engine down, the cycle has less heat in it than the engine, and its gas temperature comes out low.
    """

    bore: float
    stroke: float
    compression_ratio: float
    speed: float
    intake_pressure: float
    intake_temperature: float
    peak_pressure: float
    exhaust_pressure: float = 0.105
    exponent: float = 1.32
    rod_ratio: float = 0.3

    def __post_init__(self) -> None:
        for name in ("bore", "stroke", "speed", "intake_pressure", "exhaust_pressure"):
            if not getattr(self, name) > 0.0:
                raise InputError(f"the {name.replace('_', ' ')} must be above 0", field=name, value=getattr(self, name))
        if not self.compression_ratio > 1.0:
            raise InputError("the compression ratio must be above 1", field="compression_ratio")
        end = self.intake_pressure * self.compression_ratio**self.exponent
        if self.peak_pressure < end:
            raise InputError(
                f"the peak pressure must be at least that of compression, {end:.3g} MPa",
                field="peak_pressure",
                value=self.peak_pressure,
            )

    @property
    def swept_volume(self) -> float:
        """Swept volume of one cylinder, mm3."""
        return math.pi / 4.0 * self.bore**2 * self.stroke

    @property
    def piston_speed(self) -> float:
        """Mean piston speed, m/s."""
        return 2.0 * self.stroke * 1e-3 * self.speed / 60.0

    def volume(self, angle: float) -> float:
        """Return the volume in mm3 at a crank angle (rad from firing top dead centre)."""
        r = self.stroke / 2.0
        drop = r * (1.0 - math.cos(angle)) + r / self.rod_ratio * (
            1.0 - math.sqrt(1.0 - (self.rod_ratio * math.sin(angle)) ** 2)
        )
        return self.swept_volume / (self.compression_ratio - 1.0) + math.pi / 4.0 * self.bore**2 * drop

    def gas(self, angle: float) -> tuple[float, float, float]:
        """Return pressure (MPa), temperature (K) and motored pressure (MPa) at an angle in [-2 pi, 2 pi).

        Intake from -2 pi, compression from -pi, expansion from 0, exhaust from pi.
        """
        n, V, V_1 = self.exponent, self.volume(angle), self.volume(math.pi)
        T_1 = self.intake_temperature + ZERO_CELSIUS
        motored = self.intake_pressure * (V_1 / V) ** n
        if angle < -math.pi:
            return self.intake_pressure, T_1, self.intake_pressure
        if angle < 0.0:
            return motored, T_1 * (V_1 / V) ** (n - 1.0), motored
        V_2 = self.volume(0.0)
        T_3 = T_1 * (V_1 / V_2) ** (n - 1.0) * self.peak_pressure / (self.intake_pressure * (V_1 / V_2) ** n)
        if angle < math.pi:
            return self.peak_pressure * (V_2 / V) ** n, T_3 * (V_2 / V) ** (n - 1.0), motored
        return (
            self.exhaust_pressure,
            T_3 * (self.exhaust_pressure / self.peak_pressure) ** ((n - 1.0) / n),
            self.exhaust_pressure,
        )


def woschni(cycle: IdealCycle, angle: float) -> float:
    """Return Woschni's film at a crank angle, W/(mm2 K).

    h = 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8 (m, kPa, K, m/s), w = C_1 c_m + C_2 V_s T_1/(p_1 V_1) (p - p_motored);
    C_1 = 6.18 in gas exchange, else 2.28; C_2 = 3.24e-3 m/(s K) in expansion, else 0. G. Woschni, SAE 670931 (1967),
    in the units of Heywood (from memory, high confidence). Fitted on diesel engines; used for spark ignition, too.
    """
    p, T, motored = cycle.gas(angle)
    C_1 = 2.28 if -math.pi <= angle < math.pi else 6.18
    C_2 = 3.24e-3 if 0.0 <= angle < math.pi else 0.0
    T_1, V_1 = cycle.intake_temperature + ZERO_CELSIUS, cycle.volume(math.pi)
    w = C_1 * cycle.piston_speed
    w += C_2 * cycle.swept_volume * T_1 / (cycle.intake_pressure * V_1) * max(p - motored, 0.0)
    return 3.26 * (cycle.bore * 1e-3) ** -0.2 * (p * 1e3) ** 0.8 * T**-0.55 * w**0.8 * FILM_UNIT


def hohenberg(cycle: IdealCycle, angle: float) -> float:
    """Return Hohenberg's film at a crank angle, W/(mm2 K).

    h = 130 V^-0.06 p^0.8 T^-0.4 (c_m + 1.4)^0.8 (m3, bar, K, m/s). G. Hohenberg, SAE 790825 (1979) (from memory, high
    confidence). Fitted on direct-injection diesel engines.
    """
    p, T, _ = cycle.gas(angle)
    V = cycle.volume(angle) * 1e-9
    return 130.0 * V**-0.06 * (p * 10.0) ** 0.8 * T**-0.4 * (cycle.piston_speed + 1.4) ** 0.8 * FILM_UNIT


LAWS = {"woschni": woschni, "hohenberg": hohenberg}


@dataclass(frozen=True)
class GasFilm:
    """Cycle-averaged film: coefficient W/(mm2 K) and the gas temperature degC, weighted with the coefficient."""

    coefficient: float
    temperature: float


def gas_film(cycle: IdealCycle, law: str = "woschni", steps: int = 1440) -> GasFilm:
    """Return the cycle-averaged gas side: mean(h), and mean(h T)/mean(h), which give the mean flux to any wall.

    Raises InputError for an unknown law.
    """
    if law not in LAWS:
        raise InputError(f"unknown film law; known: {', '.join(LAWS)}", field="law", value=law)
    h_sum = hT_sum = 0.0
    for step in range(steps):
        # midpoints, so that no point sits on a jump of the ideal cycle
        angle = -2.0 * math.pi + (step + 0.5) * 4.0 * math.pi / steps
        h = LAWS[law](cycle, angle)
        h_sum += h
        hT_sum += h * cycle.gas(angle)[1]
    return GasFilm(h_sum / steps, hT_sum / h_sum - ZERO_CELSIUS)
