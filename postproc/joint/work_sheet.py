"""One page for the bench: torque and angle, order of nuts, passes, wait, retorque, and when a fastener is done with."""

from __future__ import annotations

import math
import textwrap

from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.fastener_law import lengths_of
from headjoint.cases.service.tightened import tightened
from headjoint.model.base.figure import Figure, force
from headjoint.model.cell import Bank, Cell, Ring
from headjoint.model.joint import Joint
from headjoint.model.service import Hold, Repeat, Retorque, Tighten
from headjoint.postproc.joint.nut_order import crosswise, from_the_middle, plan_of_nuts, studs_of
from headjoint.postproc.verdict.verdict import Verdict

WIDTH = 78
USUAL_PASSES = (1.0 / 3.0, 2.0 / 3.0, 1.0)  # common practice, no source


def work_sheet(stated: Joint | Cell, verdict: Verdict, units: str) -> str:
    """Return the sheet as plain text, at most 78 columns wide unless a long engine needs more.

    verdict : that of the closed-form estimate. units : "si" or "workshop".
    """
    joint = stated.joint if isinstance(stated, Cell) else stated
    lines = [f"WORK SHEET  {joint.name}", "", *_judged(verdict, units)]
    lines += _wrapped("The instructions of the fastener, gasket and engine makers go before this sheet.")
    lines += ["", "FASTENER", *_fastener(joint, units), "", "TURN", *_turns(stated, units), ""]
    lines += ["ORDER OF NUTS, seen from above", *_order(stated), "", "AFTERWARDS", *_afterwards(joint, units)]
    lines += ["", "USED AGAIN?", *_used_again(joint, units)]
    return "\n".join(lines) + "\n"


def _judged(verdict: Verdict, units: str) -> list[str]:
    lines = _wrapped(f"By closed formulas alone: {verdict.judgement.upper()}: {verdict.sentence.written(units)}.")
    return lines + _wrapped(
        "Run `headjoint solve` before a wrench is set: a head that bends seals worse than this says."
    )


def _wrapped(text: str, first: str = "", later: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=later or " " * len(first))


def _turned(joint: Joint) -> str:
    return "nut" if joint.fastener.kind == "stud" else "bolt"


def _duration(seconds: float) -> str:
    return f"{seconds / 3600.0:.3g} h" if seconds >= 3600.0 else f"{seconds / 60.0:.3g} min"


def _torque(torque: float, units: str) -> str:
    """Write a torque (N.mm) as a wrench has it."""
    return Figure(torque / 1e3, "N.m", ".1f" if torque < 20e3 else ".0f").written(units)


def _angle(angle: float) -> str:
    return f"{math.degrees(angle):.0f} deg"


def _fastener(joint: Joint, units: str) -> list[str]:
    fastener, tight = joint.fastener, joint.tightening
    levels = tightened(chain_of(joint)).over(tight)
    least, clamp, most = (force(levels[name].preload).written(units) for name in ("least", "nominal", "greatest"))
    return [
        f"  {fastener.kind} {fastener.thread.designation}, {fastener.property_class or fastener.material.name}, "
        f"{Figure(fastener.engagement, 'mm').written(units)} in the block",
        f"  lubricated to friction {tight.thread_friction:g} in the thread, {tight.bearing_friction:g} under the "
        f"{'nut' if fastener.kind == 'stud' else 'head'}",
        *_wrapped(f"clamp to be had: {clamp}, {least} to {most} by scatter", "  "),
    ]  # fmt: skip


def _turns(stated: Joint | Cell, units: str) -> list[str]:
    joint = stated.joint if isinstance(stated, Cell) else stated
    first = next(step for step in joint.history if isinstance(step, Tighten))
    turns = [_torque(one, units) for one in first.torques]
    why = ""
    if isinstance(stated, Cell) and stated.order and len(first.torques) == 1:
        turns = [_torque(share * first.torques[0], units) for share, _ in stated.order]
    elif len(turns) == 1:
        turns = [_torque(share * first.torques[0], units) for share in USUAL_PASSES]
        why = "Passes in thirds: common practice, no source; the file states none."
    if first.snug is not None:
        turns.append(f"snug, {force(first.snug).written(units)}")
    turns += [f"{_angle(one)} further" for one in first.angles]
    if first.gradient is not None:
        turns.append(f"on, until torque rises {first.gradient:g} times as fast as at its steepest")
    if first.stretch is not None:
        turns.append(f"until the fastener is {Figure(first.stretch, 'mm', '.3f').written(units)} longer")
    if first.pull is not None:
        turns.append(f"pull with {Figure(first.pull / 1e3, 'kN').written(units)}, run the nut down, let go")
    if first.preload is not None:
        turns.append(f"to {Figure(first.preload / 1e3, 'kN').written(units)}, by whatever means")
    return [
        *(f"  [ ] {number}. every {_turned(joint)}: {turn}" for number, turn in enumerate(turns, 1)),
        *_wrapped(why, "  "),
    ]


def _order(stated: Joint | Cell) -> list[str]:
    if isinstance(stated, Joint):
        return _wrapped("From the middle of the head outward, crosswise (common practice, no source). A file of one "
                        "fastener has no plan of nuts.", "  ")  # fmt: skip
    layout = stated.layout
    if isinstance(layout, Ring):
        order = " - ".join(str(nut + 1) for nut in crosswise(layout.number))
        return [f"  {order}", *_wrapped("Nuts numbered clockwise. Crosswise: common practice, no source.", "  ")]
    if layout.in_row is None:
        return _wrapped("From the middle of the head outward, crosswise (common practice, no source). With [layout] "
                        "in_row, the number of bores of the whole engine, this sheet draws it.", "  ")  # fmt: skip
    return [*_bank_plan(layout, layout.in_row), *_wrapped("O: bores. From the middle outward, crosswise: common "
            "practice, no source. Passes of a solved cell go round the modelled studs alone.", "  ")]  # fmt: skip


def _bank_plan(layout: Bank, in_row: int) -> list[str]:
    places = studs_of(layout, in_row)
    return plan_of_nuts(places, from_the_middle(places), [bore * layout.pitch for bore in range(in_row)])


def _afterwards(joint: Joint, units: str) -> list[str]:
    """Return the first wait after the first tightening, and every retorque."""
    history = [part for step in joint.history for part in (step.steps if isinstance(step, Repeat) else (step,))]
    after = history[next(i for i, step in enumerate(history) if isinstance(step, Tighten)) + 1 :]
    waits = [step for step in after if isinstance(step, Hold) and step.kind == "wait"]
    lines = [f"  [ ] wait {_duration(waits[0].duration)}" if waits else "  no wait: the file's service has none"]
    for step in (one for one in after if isinstance(one, Retorque)):
        turn = _torque(step.torque, units) if step.torque is not None else f"{_angle(step.angle or 0.0)} further"
        lines.append(f"  [ ] {step.name}: every {_turned(joint)}, same order: {turn}")
    if len(lines) == 1:
        lines.append("  no retorque: the file's service has none")
    return [*lines, *_wrapped("As [[history]] of the file says; a typical service where it says nothing.", "  ")]


def _used_again(joint: Joint, units: str) -> list[str]:
    """Return by how much longer than new a fastener may be.

    The limit of plastic strain holds for the weakest length. All growth is laid into the shortest of those as weak,
    which is the safe side: spread over more, the same strain would show as more growth.
    """
    lengths, limit = lengths_of(joint), joint.ageing.permanent_limit
    weakest = lengths.length[lengths.area <= lengths.area.min() * (1.0 + 1e-9)].min()
    growth, where = Figure(limit * weakest, "mm", ".3f"), Figure(weakest, "mm")
    text = (
        "Measure every fastener's length before it is first used. Not again if more than "
        f"{growth.written(units)} longer than new: {100.0 * limit:g} % ([ageing] permanent_limit) of the "
        f"{where.written(units)} that yield first. Nor if nicked, corroded or necked. `headjoint history` says how far "
        "it yields."
    )
    return [*_wrapped(text, "  "), "  length new: ____________   length now: ____________"]
