"""What is said of load cases whose temperatures come from heat conduction."""

from __future__ import annotations

from headjoint.model.joint import Joint
from headjoint.postproc.present.units import value_text

TOLD = ("head", "fastener", "block")
FIELDS = (
    "their whole fields act, with stiffness by temperature; strengths, gasket law and estimate take the means of parts"
)


def heat_words(joint: Joint, units: str) -> tuple[str, ...]:
    """Return a sentence on every load case by heat, and what acts; nothing where there is none."""
    texts = []
    for case in joint.load_cases:
        if case.heat is None:
            continue
        step = next((one for one in joint.heat.steps if one.start < case.heat.time <= one.end), None)
        when = f"{case.heat.time:g} s of the duty" + ("" if step is None else f" ('{step.name}')")
        what = "steady, what surrounds it staying as at" if case.heat.steady else "at"
        means = ", ".join(f"{part} {value_text(case.temperatures[part], 'degC', units)}" for part in TOLD)
        texts.append(f"'{case.name}' by heat conduction, {what} {when}: {means}")
    return (*texts, f"Temperatures by heat: {FIELDS}.") if texts else ()
