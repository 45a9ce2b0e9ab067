"""From a cleaned log to findings: every fit with its interval, what gauges add to it, and what could not be told.

Scatter of readings comes with each fit. Gauge errors, the ram's area, Young's modulus and stiffnesses are known within
limits: a limit a counts as an even chance within it, standard deviation a/sqrt(3) (GUM, JCGM 100:2008, 4.3.7). Readings
are shifted by each in turn and everything is fitted again, so that errors which cancel do cancel. The interval is 2.3
standard deviations: at least 95 % (`tests/test_rig_coverage.py` counts).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from headjoint.cases.rig.checks import check_log
from headjoint.cases.rig.cleaning import Cleaned, cleaned
from headjoint.cases.rig.faults import STANDING
from headjoint.cases.rig.fits import (
    EVEN,
    SPLIT_DOUBT,
    Assumptions,
    FittedValue,
    Values,
    greatest,
    key_of,
    setup_fit,
    stretch_fits,
    thread_friction,
    torque_fits,
)
from headjoint.cases.rig.least_squares import COVERAGE, Line, Points
from headjoint.cases.rig.not_identified import Missing, missing_from
from headjoint.cases.rig.rows import uses_tightened
from headjoint.cases.rig.seals import seal_share
from headjoint.cases.rig.split import pitch_fit, split_fits
from headjoint.cases.rig.standing import standing_fits
from headjoint.cases.rig.strength_fits import strength_fits
from headjoint.cases.rig.yielded_fits import open_of_yielded, yielded_fits
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.rig import Rig

# key -> (name, internal unit)
QUANTITIES: dict[str, tuple[str, str]] = {
    "nut_factor": ("nut factor K = T/(F d)", "1"),
    "mean_friction": ("friction, thread and bearing alike", "1"),
    "thread_friction": ("thread friction", "1"),
    "bearing_friction": ("bearing friction", "1"),
    "torque_at_load": ("torque at the load", "N.mm"),
    "pitch": ("pitch as torque both ways says", "mm"),
    "stretch_compliance": ("stretch per force", "mm/N"),
    "effective_length": ("effective length", "mm"),
    "stretch_zero": ("indicator at no force", "mm"),
    "stretch_at_load": ("stretch at the load", "mm"),
    "setup_compliance": ("compliance of the set-up", "mm/N"),
    "yield_force": ("yield force, offset", "N"),
    "proof_stress": ("proof stress, offset", "MPa"),
    "ultimate_force": ("ultimate force", "N"),
    "ultimate_strength": ("ultimate strength", "MPa"),
    "settled": ("settled soon", "1"),
    "per_decade": ("lost per tenfold time", "1"),
    "lost_in_a_day": ("lost in a day", "1"),
    "struck": ("change by hammer", "1"),
    "per_degree": ("clamp per degree", "N/K"),
    "lost_by_heat": ("lost by the heat cycle", "1"),
    "torsion_kept": ("torsion kept", "1"),
    "hot_strength": ("strength when hot, of that when cold", "1"),
}
SHARES = ("settled", "per_decade", "lost_in_a_day", "struck", "lost_by_heat")  # shown in per cent


@dataclass(frozen=True)
class Finding:
    """One finding. value in the internal `unit`; scatter, gauges : its standard deviations by readings and by gauges.

    shifts : source of error -> by how much one standard deviation of it moves the value.
    """

    key: str
    name: str
    use: int
    value: float
    unit: str
    scatter: float
    shifts: dict[str, float]
    method: str
    points: Points | None = field(default=None, repr=False)

    @property
    def gauges(self) -> float:
        """Standard deviation by gauges and what is taken for granted."""
        return math.sqrt(sum(shift**2 for shift in self.shifts.values()))

    @property
    def deviation(self) -> float:
        """Standard deviation by everything."""
        return math.hypot(self.scatter, self.gauges)

    @property
    def low(self) -> float:
        """Lower end of the interval."""
        return self.value - COVERAGE * self.deviation

    @property
    def high(self) -> float:
        """Upper end of the interval."""
        return self.value + COVERAGE * self.deviation

    @property
    def foremost(self) -> str:
        """The source that the interval owes most to."""
        sources = {"scatter of readings": self.scatter, **{name: abs(shift) for name, shift in self.shifts.items()}}
        return max(sources, key=lambda name: sources[name])


@dataclass(frozen=True)
class Evaluated:
    """All that one log says on one rig.

    load : force (N) that stretch and torque are reported at. faults : what makes figures untrustworthy. missing : what
    this log cannot tell, and what would.
    """

    rig: Rig
    clean: Cleaned = field(repr=False)
    load: float
    findings: tuple[Finding, ...]
    missing: tuple[Missing, ...]
    faults: tuple[str, ...]

    def get(self, key: str, use: int = 1) -> Finding | None:
        """Return a finding, None where there is none."""
        return next((finding for finding in self.findings if finding.key == key and finding.use == use), None)

    @property
    def lubricant(self) -> str:
        """What was on thread and bearing face, as the log says or else the rig file; empty where neither does."""
        return self.clean.log.lubricant or self.rig.stated.lubricant

    @property
    def greatest(self) -> float:
        """Greatest force of the log, N."""
        return greatest(self.clean, np.isfinite(self.clean.force))


def evaluate(log: RigLog, rig: Rig) -> Evaluated:
    """Return the findings of a log. Raises InputError where nothing at all can be fitted."""
    clean = cleaned(log, rig)
    most = greatest(clean, np.isfinite(clean.force))
    if most <= 0.0:
        raise InputError("reads no force at all", file=log.file)
    assumed = Assumptions(load=rig.stated.load or 0.9 * most)
    values = fit_all(clean, rig, assumed)
    if not values:
        raise InputError(
            "nothing can be fitted: a tightening or pull needs torque, angle or stretch beside the force in at least "
            "six rows, a hold needs time",
            file=log.file,
        )
    shifts: dict[str, dict[str, float]] = {key: {} for key in values}
    for name, shift in sources(clean, rig, values):
        moved = fit_all(*shift(clean, rig, assumed), unmoved=(clean, values))
        for key, fitted in values.items():
            by = float(moved[key].value - fitted.value) if key in moved else 0.0
            if abs(by) > 1e-12 * abs(fitted.value):
                shifts[key][name] = by
    findings = tuple(_finding(key, fitted, shifts[key]) for key, fitted in values.items())
    found, notes = check_log(clean, rig, values, shifts)
    faults = (*clean.faults, *found)
    clean = replace(clean, notes=(*clean.notes, *notes))
    missing = (*missing_from(clean, rig, values), *open_of_yielded(clean, values))
    return Evaluated(rig, clean, assumed.load, findings, missing, faults)


def _finding(key: str, fitted: FittedValue, shifts: dict[str, float]) -> Finding:
    plain, _, use = key.partition(", use ")
    name, unit = QUANTITIES[plain]
    scatter = math.sqrt(max(fitted.variance, 0.0))
    return Finding(plain, name, int(use or 1), float(fitted.value), unit, scatter, shifts, fitted.method, fitted.points)


def fit_all(clean: Cleaned, rig: Rig, assumed: Assumptions, unmoved: tuple[Cleaned, Values] | None = None) -> Values:
    """Return every value that the log allows.

    unmoved : the log before a shift, and its values: where the shift moves nothing that stands, these are as they were.
    """
    values: Values = {}
    uses = uses_tightened(clean.log) or clean.log.uses[:1]
    stretch: Line | None = None
    friction: FittedValue | None = None
    for use in uses:
        made, torque = torque_fits(clean, rig, use, assumed)
        values |= made
        values |= split_fits(clean, rig, use, assumed, torque)
        apart = values.get(key_of("thread_friction", use))
        alike = values.get(key_of("mean_friction", use))
        known = apart or alike
        if alike is not None:
            values |= pitch_fit(clean, rig, use, torque, alike.value)
        made, line = stretch_fits(clean, rig, use, assumed)
        values |= made
        values |= setup_fit(clean, rig, use, assumed, line, known, apart=apart is not None)
        factor = None if unmoved is None else _times_as_much(clean, unmoved[0])
        if unmoved is not None and factor is not None:
            values |= _standing_scaled(unmoved[1], use, factor)
        else:
            values |= standing_fits(clean, rig, use)
        if use == uses[0]:
            stretch, friction = line, thread_friction(values, use)
    values |= strength_fits(clean, rig, stretch, friction)
    return values | yielded_fits(clean, rig, values, assumed)


def _times_as_much(one: Cleaned, other: Cleaned) -> float | None:
    """Return by what factor all forces of a log are those of another, None where there is no such factor."""
    first, second = one.log.channels, other.log.channels
    if first.get("temperature") is not second.get("temperature"):
        return None
    if first["force"] is second["force"]:
        return 1.0
    loaded = np.isfinite(second["force"]) & (second["force"] != 0.0)
    ratio = first["force"][loaded] / second["force"][loaded]
    return float(ratio[0]) if len(ratio) and np.ptp(ratio) < 1e-12 else None


def _standing_scaled(values: Values, use: int, factor: float) -> Values:
    """Return what a standing clamp told where all forces are some factor greater: shares stay as they are."""
    keys = {key_of(name, use) for name in STANDING} & values.keys()
    per_force = key_of("per_degree", use)
    return {key: replace(values[key], value=values[key].value * (factor if key == per_force else 1.0)) for key in keys}


Shift = Callable[[Cleaned, Rig, Assumptions], tuple[Cleaned, Rig, Assumptions]]


def _channel(names: tuple[str, ...], factor: float = 1.0, offset: float = 0.0, step: str = "") -> Shift:
    def shifted(clean: Cleaned, rig: Rig, assumed: Assumptions) -> tuple[Cleaned, Rig, Assumptions]:
        channels = dict(clean.log.channels)
        for name in names:
            if name in channels:
                rows = clean.log.at(step) if step else np.ones(clean.log.rows, dtype=bool)
                channels[name] = np.where(rows, factor * channels[name] + offset, channels[name])
        return replace(clean, log=replace(clean.log, channels=channels)), rig, assumed

    return shifted


def _seals(share: float) -> Shift:
    """Return the shift of forces where seals carry a share of them: more clamp than pressure says on the way up."""

    def shifted(clean: Cleaned, rig: Rig, assumed: Assumptions) -> tuple[Cleaned, Rig, Assumptions]:
        factor = np.where(clean.log.at("tighten"), 1.0 + share, 1.0 - share)
        channels = clean.log.channels | {"force": factor * clean.force}
        return replace(clean, log=replace(clean.log, channels=channels)), rig, assumed

    return shifted


def _assumption(**changed: float) -> Shift:
    return lambda clean, rig, assumed: (clean, rig, replace(assumed, **changed))


def sources(clean: Cleaned, rig: Rig, values: Values) -> list[tuple[str, Shift]]:
    """Return what besides scatter makes values uncertain, each as a shift by one standard deviation."""
    stated, gauges = rig.stated, rig.stated.gauges
    made: list[tuple[str, Shift]] = []
    if "pressure" in clean.log.channels:
        gauge = gauges.pressure
        assert gauge is not None
        made.append(("ram area", _channel(("force",), 1.0 + stated.ram.area_accuracy / EVEN)))
        # a class allows the same error everywhere; half of it is taken as slope, half as zero
        made.append(("pressure gauge", _channel(("force",), 1.0 + gauge.accuracy / 2.0 / EVEN)))
        zero = stated.ram.area * clean.tare.get("pressure", gauge.accuracy * gauge.range / 2.0 / EVEN)
        made.append(("zero of the pressure", _channel(("force",), offset=zero)))
        made.append(("seals of the ram", _seals(max(seal_share(clean, rig, use) for use in clean.log.uses))))
    else:
        cell = gauges.force
        assert cell is not None
        made.append(("load cell", _channel(("force",), 1.0 + cell.accuracy / 2.0 / EVEN)))
        zero = clean.tare.get("force", cell.accuracy * cell.range / 2.0 / EVEN)
        made.append(("zero of the load cell", _channel(("force",), offset=zero)))
    if gauges.torque is not None and "torque" in clean.log.channels:
        made.append(("torque wrench", _channel(("torque", "shank torque"), 1.0 + gauges.torque.accuracy / EVEN)))
        zero = clean.tare.get("torque", gauges.torque.zero / EVEN)
        if zero > 0.0:
            made.append(("zero of the torque", _channel(("torque", "shank torque"), offset=zero)))
    if "stretch" in clean.log.channels:
        made.append(("indicator", _channel(("stretch",), 1.0 + gauges.stretch.accuracy / EVEN)))
        made.append(("Young's modulus", _assumption(modulus=1.0 + stated.modulus_accuracy / EVEN)))
    if "angle" in clean.log.channels:
        made.append(
            ("slack of the angle gauge", _channel(("angle",), offset=-gauges.angle.accuracy / EVEN, step="loosen"))
        )
        made.append(("stiffness in torsion", _assumption(torsion=1.0 + stated.torsion_accuracy / EVEN)))
        if "thread_friction" not in values:
            made.append(("split of friction", _assumption(split=SPLIT_DOUBT)))
    if stated.bearing is not None:
        made.append(("friction of the thrust bearing", _assumption(bearing=stated.bearing.accuracy / EVEN)))
    warm = clean.log.at("heat")
    if "per_degree" in values and warm.any():
        temperature = clean.log.channels["temperature"]
        near = warm if warm.sum() > 2 else warm | np.append(warm[1:], False)
        span = float(np.nanmax(temperature[near]) - np.nanmin(temperature[near]))
        made.append(
            (
                "thermometer",
                _channel(("temperature",), 1.0 + math.sqrt(2.0) * gauges.temperature.accuracy / EVEN / span),
            )
        )
    return made
