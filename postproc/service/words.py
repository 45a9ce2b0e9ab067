"""What a service answers, in words: clamp kept, cycles, tightening, retorque, friction, use again, fatigue."""

from __future__ import annotations

import math

from headjoint.cases.service.tightening import CurveReading, read_curve
from headjoint.model.library.plasticity import TESTED_RATIO
from headjoint.postproc.present.units import force_text, unit_in
from headjoint.postproc.service.findings import ServiceFindings

Line = tuple[str, str]


def answers(findings: ServiceFindings, units: str) -> list[Line]:
    """Return the answers in words: kept and range, cycles, tightening, retorque, friction, reuse, fatigue."""
    lines: list[Line] = []
    end, low, high = findings.kept_range
    if findings.ranges and findings.chain_clamp > 0.0:
        text = ", ".join(
            f"{one.name} {100 * (one.low / findings.chain_clamp - 1):+.1f} to "
            f"{100 * (one.high / findings.chain_clamp - 1):+.1f} % ({one.values})"
            for one in findings.ranges
        )
        lines.append(
            (
                "Clamp at the end",
                f"{force_text(end, units)} cold, {force_text(low, units)} to {force_text(high, units)} with the range "
                f"of its inputs, combined as independent (shares by the closed-form chain): {text}",
            )
        )
    for block in findings.blocks:
        if block.shaken:
            state = "it has shaken down"
        elif block.next_loss is None:
            state = "too few cycles to tell whether it goes on"
        else:
            state = f"it goes on losing: as many cycles again would cost about {100 * block.next_loss:.2f} %"
        full = "every one was run as it is"
        if block.run_in_full < block.times:
            full = f"{block.run_in_full} cycles were run as they are, the rest as longer ones between them"
        lines.append(
            (
                f"After {block.times} cycle{'' if block.times == 1 else 's'} ({block.name})",
                f"{100 * block.kept:.1f} % of the clamp before is left; {state}; {full}",
            )
        )
    lines += _turning_lines(findings, units)
    for one in findings.retorques:
        text = f"{force_text(one.with_it, units)} in the end against {force_text(one.without, units)} without"
        if not one.moved:
            text = (
                "does nothing: the torque does not break the nut away again, static friction being "
                f"{findings.joint.ageing.breakaway:g} of the sliding"
            )
        lines.append((one.what[0].upper() + one.what[1:], text))
    if findings.dry is not None:
        dry, share = findings.dry, []
        for name, value in (("threads dry", dry.dry_threads), ("threads and face dry", dry.dry)):
            text = "breaks the fastener" if value is None else f"{100 * (value / dry.oiled - 1):+.0f} %"
            share.append(f"{name} {text}")
        lines.append(
            ("Dry, at the same torque and angle", f"{', '.join(share)} clamp (friction {dry.friction:g} where dry)")
        )
    lines += _reuse_lines(findings, units)
    fatigue = findings.fatigue
    text = f"Miner sum {fatigue.miner:.2g}"
    if fatigue.factor is not None:
        text += f"; endurance limit over the greatest often-repeated amplitude {min(fatigue.factor, 99):.1f}"
    if not fatigue.trusted:
        text += "; some cycles are so large that the life formula (over 10,000 cycles) does not hold for them"
    lines.append(("Fatigue", text + "; bending of the fastener not included"))
    return lines


def _turning_lines(findings: ServiceFindings, units: str) -> list[Line]:
    lines = []
    for record in findings.service.records:
        if record.kind not in ("tighten", "reuse", "retorque") or record.turning is None or record.cycle > 1:
            continue
        turning = record.turning
        greatest = float(turning.force.max())
        stress = greatest / findings.joint.fastener.smallest_area
        unit, factor = unit_in("um", units)
        stress_unit, stress_factor = unit_in("MPa", units)
        text = (
            f"{force_text(greatest, units)} at the peak ({stress * stress_factor:.0f} {stress_unit} in the smallest "
            "section), "
            f"fastener {1e3 * turning.stretch * factor:.0f} {unit} longer, "
            f"{math.degrees(float(turning.angle[-1])):.0f} deg from first touch"
        )
        if turning.torque[-1] > 0.0:
            torque = float(turning.torque[-1])
            torque_unit, torque_factor = unit_in("N.m", units)
            shown = f"{torque / 1e3 * torque_factor:.0f} {torque_unit}"
            text += f", last torque {shown}"
        if turning.force[-1] < 0.999 * greatest:
            text += f", {force_text(float(turning.force[-1]), units)} once the tensioner has let go"
        if stress > TESTED_RATIO * findings.service.model.law.flow.ultimate:
            text += f"; its relaxation is extrapolated beyond {100 * TESTED_RATIO:.0f} % of R_m, its range wider"
        reading = read_curve(turning)
        if reading is not None and record.kind in ("tighten", "reuse"):
            text += _curve_text(reading, findings, units)
        lines.append((f"Step {record.step + 1}, {record.name}", text))
    return lines


def _curve_text(reading: CurveReading, findings: ServiceFindings, units: str) -> str:
    """Return snug point, slope beside the one from resilience, and yield point of a tightening in words."""
    unit, factor = unit_in("kN", units)
    degree = math.pi / 180.0
    estimate = findings.closed_form_slope
    text = (
        f"; snug from {reading.snug_angle / degree:.0f} deg and {force_text(reading.snug_force, units)}, then "
        f"{reading.slope * degree / 1e3 * factor:.3g} {unit}/deg ({estimate * degree / 1e3 * factor:.3g} by resilience)"
    )
    if reading.yield_angle is None or reading.yield_force is None or reading.slope_after is None:
        return text + "; no yield"
    return text + (
        f"; yields at {reading.yield_angle / degree:.0f} deg and {force_text(reading.yield_force, units)}, then "
        f"{reading.slope_after * degree / 1e3 * factor:.2g} {unit}/deg"
    )


def _reuse_lines(findings: ServiceFindings, units: str) -> list[Line]:
    reuse = findings.reuse
    if reuse is None:
        return []
    unit, factor = unit_in("um", units)
    times = f"more than {len(reuse.clamp)} times" if reuse.times is None else f"{reuse.times} times"
    if reuse.strain > reuse.limit:
        verdict = "do not use it again"
    elif reuse.times == 0:
        verdict = "do not use it again: the next tightening " + ("breaks it" if reuse.breaks else "passes the limit")
    else:
        verdict = f"may be tightened the same way again {times} until the limit of {100 * reuse.limit:.2g} % strain"
    text = (
        f"{verdict}; {1e3 * reuse.longer * factor:.1f} {unit} longer for good, by yield and creep, and "
        f"{100 * reuse.strain:.3g} % plastic strain in its weakest length ({reuse.weakest}) of "
        f"{100 * reuse.uniform:.2g} % before it necks"
    )
    if reuse.stretch_again is not None and reuse.clamp:
        text += (
            f"; stretch at {force_text(reuse.load, units)}: {1e3 * reuse.stretch_new * factor:.0f} {unit} new, "
            f"{1e3 * reuse.stretch_again * factor:.0f} {unit} in the next use, "
            f"{1e3 * (reuse.stretch_in_all or 0.0) * factor:.0f} {unit} longer than it was new"
        )
    return [("Using the fastener again", text)]
