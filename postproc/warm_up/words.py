"""A warm-up in words: the dangerous moments, the fastener's lag, the gasket, half the pace."""

from __future__ import annotations

from headjoint.cases.warm_up.instant import Instant, WarmUpAtPreload
from headjoint.cases.warm_up.warm_up import WarmUp
from headjoint.model.base.figure import temperature, warming
from headjoint.model.formulas.sealing import Seal, seal_need
from headjoint.postproc.present.units import figure_text, force_text, unit_in
from headjoint.postproc.warm_up.findings import WarmUpFindings, time_text

SEEN = 1e-4  # plastic strain above which a fastener counts as yielded: the technical elastic limit, R_p0.01
Line = tuple[str, str]


def kelvin_text(value: float, units: str) -> str:
    """Write a difference of temperatures (K)."""
    return warming(value).written(units)


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
            f"head's mean is {temperature(end.temperatures['head mean']).written(units)}",
        )
    )
    slower = findings.slower
    lines.append(("At half the pace", _pace(warmed, slower, units)))
    return lines


def _extremes(warmed: WarmUp, units: str) -> list[Line]:
    lines = []
    greatest, least = warmed.extreme(lambda one: one.force), warmed.extreme(lambda one: -one.force)
    for heading, at in (("Greatest clamp", greatest), ("Least clamp", least)):
        lag = at.temperatures["head mean"] - at.temperatures["fastener mean"]
        if abs(lag) < 1.0:
            what = "when head and fastener are equally warm"
        else:
            stands = "lags behind" if lag > 0.0 else "is hotter than"
            what = f"when the fastener {stands} the head by {kelvin_text(abs(lag), units)}"
        text = (
            f"{force_text(at.force, units)} at {time_text(at.time)}{phase_at(warmed, at.time)}, {what}; by the "
            f"estimate {force_text(at.estimate, units)}"
        )
        lines.append((heading, text))
    return lines


def _least_sealing(warmed: WarmUp, units: str) -> list[Line]:
    fired = [
        (seal_need(warmed.joint, one.gas_pressure), Seal(one.fired_sealing, one.fired_line_load), one.time)
        for one in warmed.instants
        if one.fired_sealing is not None and one.fired_line_load is not None
    ]
    if not fired:
        return []
    need, seal, time = min(fired, key=lambda one: one[0].met(one[1]))
    unit, factor = unit_in("MPa", units)
    parts = [f"{figure_text(seal.pressure, factor)} {unit}"]
    if need.pressure > 0.0:
        parts[-1] += f", {figure_text(need.pressure, factor)} {unit} needed"
    if need.line_load > 0.0:
        unit, factor = unit_in("N/mm", units)
        line, needed = (figure_text(value, factor) for value in (seal.line_load, need.line_load))
        parts.append(f"{line} {unit} along the bead, {needed} {unit} needed")
    return [("Least sealing while firing", f"{'; '.join(parts)}; at {time_text(time)}{phase_at(warmed, time)}")]


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
        f"at most {kelvin_text(lag(most), units)} colder than the head, at {time_text(most.time)}; at most "
        f"{kelvin_text(max(-lag(least), 0.0), units)} hotter, at {time_text(least.time)}"
    )


def _gasket(warmed: WarmUp, units: str) -> str:
    unit, factor = unit_in("um", units)
    grown = warmed.instants[-1].gasket_set - warmed.instants[0].gasket_set
    pressed = {
        name: max(warmed.instants, key=lambda one: one.zone_greatest[name]) for name in warmed.instants[0].zone_greatest
    }
    name, at = max(pressed.items(), key=lambda item: item[1].zone_greatest[item[0]])
    pressure, pressure_factor = unit_in("MPa", units)
    return (
        f"sets {1e3 * grown * factor:.2g} {unit} more on the way, by pressure and by creep; pressed most on '{name}', "
        f"{figure_text(at.zone_greatest[name], pressure_factor)} {pressure} at {time_text(at.time)}"
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
