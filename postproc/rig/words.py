"""How findings of a rig read: units, figures with the digits that their interval allows, sentences of the verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence

from headjoint.cases.rig.comparison import Compared, Repeated, in_per_cent
from headjoint.cases.rig.evaluation import SHARES, Evaluated, Finding
from headjoint.cases.rig.prediction import Prediction
from headjoint.postproc.present.units import unit_in

ONE_LOG = (
    "One log a side tells these two runs apart, not yet the treatments: friction also differs from one tightening to "
    "the next. Repeat each and name several logs, and the scatter between them counts."
)
BY_CHANCE = (
    "'Can tell' means that the interval leaves out zero. At about 95 % each, one comparison in twenty of what does not "
    "differ at all will still seem to tell."
)
# internal unit -> (unit shown, factor)
SHOWN = {"N": ("kN", 1e-3), "N.mm": ("N.m", 1e-3), "mm/N": ("um/kN", 1e6), "1": ("", 1.0)}


def shown_unit(key: str, unit: str, units: str) -> tuple[str, float]:
    """Return the unit that a quantity is shown in, and the factor to it from the internal one."""
    if key in SHARES:
        return "%", 100.0
    base, factor = SHOWN.get(unit, (unit, 1.0))
    other, more = unit_in(base, units)
    return other, factor * more


def rounded(value: float, deviation: float) -> str:
    """Write a figure to the second digit of its interval, at most five digits."""
    size = max(abs(value), deviation, 1e-300)
    digits = 2 if deviation <= 0.0 else 1 - math.floor(math.log10(2.0 * deviation))
    digits = max(0, min(digits, 4 - math.floor(math.log10(size)), 5))
    return f"{value:.{digits}f}"


def short_name(name: str) -> str:
    """Return the name of a quantity without its formula."""
    return name.split(" K = ")[0]


def figures(one: Finding, units: str) -> tuple[str, str, str]:
    """Return value, interval and unit of a finding as text."""
    unit, factor = shown_unit(one.key, one.unit, units)
    half = factor * (one.high - one.low) / 2.0
    value, low, high = (rounded(factor * each, half / 2.0) for each in (one.value, one.low, one.high))
    return value, f"{low} to {high}", unit


def said(one: Finding, units: str) -> str:
    """Return value with unit and interval in one go."""
    value, interval, unit = figures(one, units)
    return f"{value}{f' {unit}' if unit else ''} ({interval})"


def full_stop(sentence: str) -> str:
    """End a sentence with a full stop where it has no end yet."""
    return sentence if sentence.endswith((".", "?")) else f"{sentence}."


def verdict(one: Evaluated, units: str) -> list[str]:
    """Return what the log says, in sentences, the most wanted first."""
    unit, factor = unit_in("kN", units)
    load = f"{factor * one.load / 1e3:.4g} {unit}"
    made = []
    if (torque := one.get("torque_at_load")) is not None:
        made.append(f"{load} takes {said(torque, units)}")
    if (K := one.get("nut_factor")) is not None:
        made.append(f"nut factor {said(K, units)}")
    thread, bearing = one.get("thread_friction"), one.get("bearing_friction")
    if thread is not None and bearing is not None:
        made.append(
            f"thread friction {said(thread, units)}, bearing friction {said(bearing, units)}, by {thread.method}"
        )
    elif (alike := one.get("mean_friction")) is not None:
        made.append(f"friction {said(alike, units)} if thread and bearing are alike; apart they are not identified")
    if (stretch := one.get("stretch_at_load")) is not None:
        text = f"the fastener stretches {said(stretch, units)} at {load}"
        if (length := one.get("effective_length")) is not None:
            value, _, length_unit = figures(length, units)
            text += f", as a bar of its shank would over {value} {length_unit}"
        made.append(text)
    if (force := one.get("yield_force")) is not None:
        stress = one.get("proof_stress")
        made.append(f"yields at {said(force, units)}" + (f", {said(stress, units)}" if stress is not None else ""))
    if (most := one.get("ultimate_force")) is not None:
        made.append(f"bears {said(most, units)} at most")
    if (day := one.get("lost_in_a_day")) is not None:
        soon, decade = one.get("settled"), one.get("per_decade")
        text = f"loses {said(day, units)} of its clamp in a day"
        if soon is not None and decade is not None:
            text += f": {said(soon, units)} soon, {said(decade, units)} per tenfold time"
        made.append(text)
    if (blow := one.get("struck")) is not None:
        text = f"a hammer changed clamp by {said(blow, units)}"
        give, stretch = one.get("setup_compliance"), one.get("stretch_compliance")
        if give is not None and stretch is not None:
            travel = abs(blow.value) * one.greatest * (give.value + stretch.value)
            text += f", as {360.0 * travel / one.rig.thread.pitch:.1f} deg of turn would"
        made.append(text)
    if (heat := one.get("per_degree")) is not None:
        made.append(f"clamp follows temperature by {said(heat, units)}")
    return [sentence[0].upper() + sentence[1:] for sentence in made]


def difference_text(one: Compared, units: str) -> tuple[str, str]:
    """Return difference and interval as text with their unit."""
    if in_per_cent(one):
        unit, factor = "%" if one.relative else "% of clamp", 100.0
    else:
        unit, factor = shown_unit(one.key, one.unit, units)
    half = factor * one.smallest
    value, low, high = (rounded(factor * each, half / 2.0) for each in (one.difference, one.low, one.high))
    signed = value if value.startswith("-") else f"+{value}"
    return f"{signed} {unit}".strip(), f"{low} to {high}"


def compared_sentence(one: Compared, units: str) -> str:
    """Return the statistical verdict of one comparison."""
    difference, interval = difference_text(one, units)
    return f"{one.name.split(' K = ')[0]} differs by {difference} ({interval}): {one.verdict}"


def repeated_rows(repeated: Sequence[Repeated], units: str) -> list[tuple[str, str, str, str, str, str]]:
    """Return quantity, number of logs, mean, scatter between logs, its interval and unit."""
    rows = []
    for one in repeated:
        unit, factor = shown_unit(one.key, one.unit, units)
        mean, spread, low, high = (
            rounded(factor * each, factor * one.deviation) for each in (one.mean, one.deviation, one.low, one.high)
        )
        rows.append((short_name(one.name), str(one.logs), mean, spread, f"{low} to {high}", unit))
    return rows


def compared_rows(compared: Sequence[Compared], units: str) -> list[tuple[str, str, str, str, str]]:
    """Return question, quantity, difference, interval and verdict of every comparison, each question once."""
    rows, before = [], ""
    for one in compared:
        question = one.question if one.question != before else ""
        before = one.question
        rows.append((question, short_name(one.name), *difference_text(one, units), one.verdict))
    return rows


def repeat_note(compared: Sequence[Compared]) -> str:
    """Return how to read the verdicts, and what one log a side cannot say."""
    if any(one.between_logs and min(one.logs) < 2 for one in compared):
        return f"{BY_CHANCE} {ONE_LOG}"
    return BY_CHANCE


def predicted_rows(one: Evaluated, prediction: Prediction, units: str) -> list[tuple[str, str, str, str, str, str]]:
    """Return quantity, unit, measured, interval, finite elements and closed form of what the rig should read."""
    rows = []
    pairs = [
        ("stretch_compliance", prediction.stretch, prediction.stretch_estimate),
        ("setup_compliance", prediction.setup, prediction.setup_estimate),
        ("stretch_at_load", prediction.stretch * one.load, prediction.stretch_estimate * one.load),
    ]
    for key, by_elements, by_hand in pairs:
        found = one.get(key)
        if found is None:
            continue
        value, interval, unit = figures(found, units)
        _, factor = shown_unit(key, found.unit, units)
        half = factor * found.deviation
        rows.append(
            (found.name, unit, value, interval, rounded(factor * by_elements, half), rounded(factor * by_hand, half))
        )
    return rows
