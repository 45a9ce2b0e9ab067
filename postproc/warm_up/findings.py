"""What a warm-up means: requirements at every instant, the dangerous moments, what a slower one would change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from headjoint.cases.warm_up.warm_up import Instant, WarmUp, WarmUpAtPreload
from headjoint.model.formulas import strength
from headjoint.model.joint import Joint
from headjoint.postproc.present.terminal import figure_text, force_text, unit_in
from headjoint.postproc.verdict.criteria import (
    Criterion,
    StateFigures,
    Tightened,
    criteria_on_the_way,
    sealing_needed,
    verdict_sentence,
)

COLD = 2.0  # K from assembly within which the end counts as cold again
SEEN = 1e-4  # plastic strain above which a fastener counts as yielded: the technical elastic limit, R_p0.01
Line = tuple[str, str]


@dataclass(frozen=True)
class WarmUpFindings:
    """A warm-up with its verdict; slower : the same at half the pace, as far as its greatest clamp."""

    warmed: WarmUp = field(repr=False)
    slower: WarmUp = field(repr=False)
    criteria: tuple[Criterion, ...]

    @property
    def joint(self) -> Joint:
        """The joint, or one stud's share of a cell."""
        return self.warmed.joint

    @property
    def holds(self) -> bool:
        """Whether all requirements are met at every instant."""
        return all(one.holds for one in self.criteria)

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        return verdict_sentence(self.criteria)


def assess_warm_up(warmed: WarmUp, slower: WarmUp) -> WarmUpFindings:
    """Return the findings of a warm-up over the scatter of tightening, and of its slower companion."""
    nominal = warmed.nominal
    runs = {"least": warmed.least or nominal, "nominal": nominal, "greatest": warmed.greatest or nominal}
    tightened = {name: _states(warmed, name, run) for name, run in runs.items()}
    return WarmUpFindings(warmed, slower, (*criteria_on_the_way(warmed.joint, tightened), *_melting(warmed)))


def _states(warmed: WarmUp, name: str, run: WarmUpAtPreload) -> Tightened:
    at = warmed.joint.assembly_temperature
    states = [
        StateFigures(
            "tightened, settled, cold", "settled", at, at, 0.0, run.tightened, 0.0, 0.0, None, None, None, (), ()
        )
    ]
    for instant in run.instants:
        states += _figures(warmed.joint, instant, instant is run.instants[-1])
    return Tightened(name, run.preload, tuple(states))


def _figures(joint: Joint, instant: Instant, last: bool) -> list[StateFigures]:
    """Return what the requirements need of an instant: without gas, and with it where it burns."""
    limits = {zone.name: zone.law.crush_pressure for zone in joint.gasket.zones}
    zones = tuple(
        (name, pressure, limits.get(name.removesuffix(" on liner"))) for name, pressure in instant.zone_greatest.items()
    )
    back = last and all(abs(value - joint.assembly_temperature) < COLD for value in instant.temperatures.values())
    kinds = [("cold" if back else "hot", 0.0, instant.sealing)]
    if instant.fired_sealing is not None:
        kinds.append(("firing", instant.gas_pressure, instant.fired_sealing))
    return [
        StateFigures(
            name=time_text(instant.time) + (", firing" if gas else ""),
            kind=kind,
            fastener_temperature=instant.temperatures["fastener mean"],
            block_temperature=instant.temperatures["block mean"],
            gas_force=gas * (joint.gas.force_area if joint.gas is not None else 0.0),
            fastener_force=instant.force if kind == "cold" else instant.greatest_force,
            sealing_pressure=sealing,
            sealing_needed=sealing_needed(joint, gas),
            separation_factor=None,
            lift_off_factor=None,
            force_amplitude=None,
            zone_greatest=zones,
            bearings=strength.bearing_pressures(joint, instant.greatest_force),
        )
        for kind, gas, sealing in kinds
    ]


def _melting(warmed: WarmUp) -> list[Criterion]:
    """Return the part that comes nearest to melting, where the material says when it begins to."""
    found = []
    for part in warmed.instants[0].hottest:
        material = warmed.march.heated.material(part)
        at = warmed.extreme(lambda one, part=part: one.hottest[part])
        reached = at.hottest[part]
        if material.solidus is None or reached <= 0.0:
            continue
        found.append(
            Criterion(
                "melting",
                f"{part}, {time_text(at.time)}",
                material.solidus / reached,
                1.0,
                f"{reached:.0f} degC in the {part} against {material.solidus:.0f} degC, where {material.name} begins "
                "to melt",
                "less gas film or gas temperature, more coolant film, or a second look at the heat data",
            )
        )
    return [min(found, key=lambda one: one.in_hand)] if found else []


def time_text(seconds: float) -> str:
    """Write a time since the start in s, or min and s."""
    whole = round(seconds)
    return f"{whole} s" if whole < 120 else f"{whole // 60} min {whole % 60} s"


def phase_at(warmed: WarmUp, time: float) -> str:
    """Return the name of the duty's step at a time, with a comma before it; nothing where the duty names none."""
    inside = [one.name for one in warmed.duty.steps if one.start <= time <= one.end]
    return f", {inside[0]}" if inside else ""


def moments(findings: WarmUpFindings, units: str) -> list[Line]:
    """Return the dangerous moments in words."""
    warmed = findings.warmed
    lines = [("Cold and settled", f"{force_text(warmed.tightened, units)} clamp before the engine starts")]
    lines += _extremes(warmed, units)
    lines += _least_sealing(warmed, units)
    if warmed.ends is not None:
        lines.append(("Scatter of tightening", _scatter(*warmed.ends, units)))
    lines.append(("Fastener lag", _lag(warmed, units)))
    strain = warmed.instants[-1].plastic
    yielded = "none" if strain < SEEN else f"{100 * strain:.2g} % in its weakest length"
    lines.append(("Yield of the fastener", yielded))
    lines.append(("Gasket", _gasket(warmed, units)))
    end = warmed.instants[-1]
    lines.append(
        (
            "At the end",
            f"{force_text(end.force, units)}, {100 * end.force / warmed.tightened:.1f} % of the clamp before; the "
            f"head's mean is {degrees_text(end.temperatures['head mean'], units)} {degree_unit(units)}",
        )
    )
    slower = findings.slower
    lines.append(("At half the pace", _pace(warmed, slower, units)))
    return lines


def _extremes(warmed: WarmUp, units: str) -> list[Line]:
    lines = []
    for heading, sign in (("Greatest clamp", 1.0), ("Least clamp", -1.0)):
        at = warmed.extreme(lambda one, sign=sign: sign * one.force)
        lag = at.temperatures["head mean"] - at.temperatures["fastener mean"]
        if abs(lag) < 1.0:
            what = "when head and fastener are equally warm"
        else:
            stands = "lags behind" if lag > 0.0 else "is hotter than"
            what = f"when the fastener {stands} the head by {_kelvin(abs(lag), units)}"
        text = (
            f"{force_text(at.force, units)} at {time_text(at.time)}{phase_at(warmed, at.time)}, {what}; by the "
            f"estimate {force_text(at.estimate, units)}"
        )
        lines.append((heading, text))
    return lines


def _least_sealing(warmed: WarmUp, units: str) -> list[Line]:
    fired = [one for one in warmed.instants if one.fired_sealing is not None]
    if not fired:
        return []

    def in_hand(one: Instant) -> float:
        return (one.fired_sealing or 0.0) / sealing_needed(warmed.joint, one.gas_pressure)

    worst = min(fired, key=in_hand)
    unit, factor = unit_in("MPa", units)
    text = (
        f"{figure_text(worst.fired_sealing, factor)} {unit} at {time_text(worst.time)}{phase_at(warmed, worst.time)}, "
        f"{figure_text(sealing_needed(warmed.joint, worst.gas_pressure), factor)} {unit} needed"
    )
    return [("Least sealing while firing", text)]


def _scatter(least: WarmUpAtPreload, greatest: WarmUpAtPreload, units: str) -> str:
    most = max(one.force for one in greatest.instants)
    text = (
        f"greatest clamp {force_text(most, units)} where the preload is {force_text(greatest.preload, units)}; least "
        f"clamp {force_text(min(one.force for one in least.instants), units)}"
    )
    fired = [one.fired_sealing for one in least.instants if one.fired_sealing is not None]
    unit, factor = unit_in("MPa", units)
    sealing = f" and least sealing while firing {figure_text(min(fired), factor)} {unit}" if fired else ""
    strain = greatest.instants[-1].plastic
    yielded = "" if strain < SEEN else f"; at the greatest the fastener yields, {100 * strain:.2g} %"
    return f"{text}{sealing} where it is {force_text(least.preload, units)}{yielded}"


def _lag(warmed: WarmUp, units: str) -> str:
    def lag(one: Instant) -> float:
        return one.temperatures["head mean"] - one.temperatures["fastener mean"]

    most, least = warmed.extreme(lag), warmed.extreme(lambda one: -lag(one))
    return (
        f"at most {_kelvin(lag(most), units)} colder than the head, at {time_text(most.time)}; at most "
        f"{_kelvin(max(-lag(least), 0.0), units)} hotter, at {time_text(least.time)}"
    )


def _gasket(warmed: WarmUp, units: str) -> str:
    unit, factor = unit_in("um", units)
    grown = warmed.instants[-1].gasket_set - warmed.instants[0].gasket_set
    zones: dict[str, Callable[[Instant], float]] = {
        name: (lambda one, name=name: one.zone_greatest[name]) for name in warmed.instants[0].zone_greatest
    }
    name, read = max(zones.items(), key=lambda item: item[1](warmed.extreme(item[1])))
    at = warmed.extreme(read)
    pressure, pressure_factor = unit_in("MPa", units)
    return (
        f"sets {1e3 * grown * factor:.2g} {unit} more on the way, by pressure and by creep; pressed most on '{name}', "
        f"{figure_text(read(at), pressure_factor)} {pressure} at {time_text(at.time)}"
    )


def _pace(warmed: WarmUp, slower: WarmUp, units: str) -> str:
    mine, other = warmed.extreme(lambda one: one.force), slower.extreme(lambda one: one.force)
    text = f"greatest clamp {force_text(other.force, units)}, {100 * (other.force / mine.force - 1.0):+.1f} %"
    fired = [
        min((one.fired_sealing for one in run.instants if one.fired_sealing is not None), default=None)
        for run in (warmed, slower)
    ]
    if fired[0] is None or fired[1] is None:
        return text
    unit, factor = unit_in("MPa", units)
    return text + (
        f"; least sealing while firing {figure_text(fired[1], factor)} {unit} instead of "
        f"{figure_text(fired[0], factor)} {unit} (followed to {time_text(slower.instants[-1].time)})"
    )


def _kelvin(value: float, units: str) -> str:
    return f"{value:.0f} K" if units == "si" else f"{1.8 * value:.0f} degF"


def degree_unit(units: str) -> str:
    """Return the unit of temperature of a table."""
    return "degC" if units == "si" else "degF"


def degrees_text(value: float, units: str) -> str:
    """Write a temperature (degC) in the unit of a table."""
    return f"{value:.0f}" if units == "si" else f"{1.8 * value + 32.0:.0f}"
