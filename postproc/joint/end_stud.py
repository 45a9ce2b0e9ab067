"""What is said of the engine's farthest stud: bending by beam theory, which neither one stud nor a cell shows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from headjoint.model.formulas.stud_bending import BeamBending, end_stud, friction_range
from headjoint.model.joint import Joint
from headjoint.postproc.present.units import figure_text, unit_in

State = tuple[str, dict[str, float], float]
NOT_SEEN = (
    "Bending of studs by the head's growth across the block is not seen here; an engine file with `in_row` in [layout] "
    "estimates it."
)


def end_stud_states(joint: Joint, states: Iterable[State]) -> dict[str, BeamBending]:
    """Return the bending of the farthest stud by name of the state; empty where the file does not say where it is.

    states : name, temperatures (degC) of the parts and force (N) of each.
    """
    found = {name: end_stud(joint, temperatures, force) for name, temperatures, force in states}
    return {name: one for name, one in found.items() if one is not None}


def end_stud_words(joint: Joint, states: Iterable[State], units: str) -> str:
    """Return the sentence on the farthest stud in the state that bends it most."""
    found = end_stud_states(joint, states)
    if not found or joint.from_middle is None:
        return NOT_SEEN
    name, worst = max(found.items(), key=lambda item: item[1].stress)
    pressure, per_pressure = unit_in("MPa", units)
    force, per_force = unit_in("kN", units)
    length, per_length = unit_in("mm", units)
    offset, per_offset = unit_in("um", units)
    nut = "sticks" if worst.sticks else "slides"
    away = figure_text(joint.from_middle, per_length)
    shears = [figure_text(one / 1e3, per_force) for one in (worst.shear, worst.friction)]
    stress, sticking, sliding = (figure_text(one, per_pressure) for one in (worst.stress, worst.sticking, worst.limit))
    return (
        f"Farthest stud of the engine, {away} {length} from the middle, '{name}': "
        f"free growth of head over block moves its nut by {figure_text(1e3 * worst.offset, per_offset)} {offset}; it "
        f"{nut} (shear {shears[0]} {force}, friction {friction_range(joint)[1]:.2g} bears {shears[1]}) and bends by at "
        f"most {stress} {pressure} (sticking {sticking}, of which tension adds "
        f"{100.0 * (worst.stiffening - 1.0):.0f} %; sliding {sliding}). Beam theory with rigid ends, an upper limit: "
        "the verdict adds what of it this model does not show."
    )


def end_stud_part(joint: Joint, states: Iterable[State]) -> dict[str, Any]:
    """Return the same for documents: mm, N and MPa by name of the state."""
    return {
        "from_middle": joint.from_middle,
        "states": {
            name: {
                "offset": one.offset,
                "shear_to_stick": one.shear,
                "greatest_friction": one.friction,
                "nut": "sticks" if one.sticks else "slides",
                "sticking": one.sticking,
                "sliding_limit": one.limit,
                "stress": one.stress,
                "stiffening_by_tension": one.stiffening - 1.0,
            }
            for name, one in end_stud_states(joint, states).items()
        },
    }
