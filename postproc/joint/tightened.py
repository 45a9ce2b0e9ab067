"""What the tightening gives, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from headjoint.model.base.figure import force
from headjoint.model.joint import Joint
from headjoint.model.peak_cycles import peak_words
from headjoint.postproc.present.report import Paragraphs
from headjoint.postproc.present.units import figure_text, unit_in


def preload_paragraph(joint: Joint, preloads: dict[str, float], units: str) -> Paragraphs:
    """Return how it is tightened, preload and its range (forces in N), and where measured values come from."""
    unit, factor = unit_in("kN", units)
    shown = {name: figure_text(value / 1e3, factor) for name, value in preloads.items()}
    tight = joint.tightening
    measured = tuple(f"{', '.join(one.carried)}: {one.source} ({one.file})." for one in joint.measured)
    text = (
        f"{method_words(joint, units)}Preload {shown['nominal']} {unit} nominal, {shown['least']} to "
        f"{shown['greatest']} by scatter: {tight.scatter_name}. Sealing is judged at the least, stress at the greatest."
    )
    gas = () if joint.gas is None else (f"Gas: {peak_words(joint.gas.peaks)}.",)
    fired = any(case.gas_force > 0.0 for case in joint.load_cases)
    most = ("headjoint size says how much gas pressure it stands at most, at this and at the best tightness.",)
    return Paragraphs("", (text, *(most if fired else ()), *measured, *gas))


def method_words(joint: Joint, units: str) -> str:
    """Return in a sentence what is done to tighten; nothing where the preload itself is stated."""
    step = joint.tightening.step
    if step.preload is not None:
        return ""
    if step.pull is not None:
        return f"Pulled by a tensioner with {force(step.pull).written(units)} and let go, without torsion. "
    if step.stretch is not None:
        unit, factor = unit_in("mm", units)
        return f"Turned until the fastener is {step.stretch * factor:.3g} {unit} longer. "
    stages = []
    if step.torques:
        workshop = f" ({step.torques[-1] / 1e3 * unit_in('N.m', 'workshop')[1]:.4g} lbf.ft)"
        stages.append(f"Torque {_stages([torque / 1e3 for torque in step.torques])} N.m{workshop}")
    elif step.snug is not None:
        typical = ", a tenth of that at yield (common practice, no source)" if joint.tightening.typical_snug else ""
        stages.append(f"Snug at {force(step.snug).written(units)}{typical}")
    if step.angles:
        stages.append(f"turned on by {_stages([math.degrees(angle) for angle in step.angles])} deg")
    if step.gradient is not None:
        stages.append(f"turned on until the torque-angle slope is {step.gradient:.2g} of its steepest")
    return ", then ".join(stages) + ". "


def _stages(values: Sequence[float]) -> str:
    return ", ".join(f"{value:.4g}" for value in values)
