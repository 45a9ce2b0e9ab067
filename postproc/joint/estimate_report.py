"""The closed-form answer as the terminal and JSON show it: a full verdict without a mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from headjoint.model.formulas import strength
from headjoint.model.formulas.estimate import Estimate, StateEstimate, estimate
from headjoint.model.joint import Joint, bearing_ring, washer_ring
from headjoint.postproc.present.document import CAUTION, estimate_part, head, plain
from headjoint.postproc.verdict.criteria import Criterion, StateFigures, Tightened, criteria, verdict_sentence


@dataclass(frozen=True)
class AssessedEstimate:
    """Estimates at least, nominal and greatest preload, and the requirements judged on them."""

    joint: Joint
    estimates: dict[str, Estimate]
    criteria: tuple[Criterion, ...]

    @property
    def holds(self) -> bool:
        """Whether every requirement is met."""
        return all(criterion.holds for criterion in self.criteria)


def assess_estimate(joint: Joint) -> AssessedEstimate:
    """Return the closed-form answer judged against the requirements."""
    tight = joint.tightening
    shares = {"least": 1.0 - tight.scatter, "nominal": 1.0, "greatest": 1.0 + tight.scatter}
    estimates = {name: estimate(joint, tight.preload * share) for name, share in shares.items()}
    tightened = {
        name: Tightened(name, one.preload, tuple(_figures(joint, state) for state in one.states))
        for name, one in estimates.items()
    }
    return AssessedEstimate(joint, estimates, criteria(joint, tightened))


def _figures(joint: Joint, state: StateEstimate) -> StateFigures:
    inner, outer = bearing_ring(joint)
    below = joint.washer.material if joint.washer is not None else joint.head.material
    seat = "nut" if joint.fastener.kind == "stud" else "bolt head"
    faces = [
        (
            f"{seat} on {'washer' if joint.washer else 'head'}",
            inner,
            outer,
            strength.bearing_limit(joint.seat.material, below),
        )
    ]
    if joint.washer is not None:
        limit = strength.bearing_limit(joint.washer.material, joint.head.material)
        faces.append(("washer on head", *washer_ring(joint), limit))
    needed = max(joint.requirements.sealing_ratio * state.case.gas_pressure, joint.requirements.sealing_minimum)
    laws = {zone.name: zone.law for zone in joint.gasket.zones}
    return StateFigures(
        name=state.name,
        kind=state.kind,
        fastener_temperature=state.case.temperatures["fastener"],
        block_temperature=state.case.temperatures["block"],
        gas_force=state.case.gas_force,
        fastener_force=state.fastener_force,
        sealing_pressure=state.sealing_pressure,
        sealing_needed=needed,
        separation_factor=state.separation_factor,
        lift_off_factor=state.lift_off_factor,
        force_amplitude=state.force_amplitude,
        zone_greatest=tuple((zone.name, zone.pressure, laws[zone.name].crush_pressure) for zone in state.zones),
        bearings=tuple(
            (name, state.fastener_force / (0.7853981633974483 * (big**2 - small**2)), limit)
            for name, small, big, limit in faces
        ),
    )


def estimate_document(result: AssessedEstimate) -> dict[str, Any]:
    """Return the JSON document of the closed-form answer."""
    return head(result.joint) | {
        "estimate": {name: estimate_part(one) for name, one in result.estimates.items()},
        "criteria": [plain(one) | {"holds": one.holds} for one in result.criteria],
        "verdict": {"holds": result.holds, "sentence": verdict_sentence(result.criteria)},
    }


def print_estimate(result: AssessedEstimate, units: str) -> None:
    """Print the closed-form answer."""
    from rich.markup import escape

    from headjoint.postproc.present.console import console
    from headjoint.postproc.present.rows import Row
    from headjoint.postproc.present.terminal import force_text, preload_line, print_criteria, print_rows, print_verdict

    screen, joint, one = console(), result.joint, result.estimates["nominal"]
    screen.print(
        f"\n[bold]{escape(joint.name)}[/bold], by closed formulas" + (f"  ({escape(joint.note)})" if joint.note else "")
    )
    print_verdict(screen, result.holds, verdict_sentence(result.criteria))
    print_criteria(screen, result.criteria)
    screen.print(preload_line(joint, {name: each.preload for name, each in result.estimates.items()}, units))
    for title, terms, total in (
        ("Resilience of the fastener delta_S", one.fastener_terms, one.delta_S),
        ("Resilience of the clamped parts delta_P", one.clamped_terms, one.delta_P),
    ):
        screen.print(f"{title} = {total * 1e6:.4g} um/kN: " + "; ".join(f"{t.name} {t.value * 1e6:.4g}" for t in terms))
    screen.print(
        f"Gasket {one.gasket_loading * 1e6:.4g} um/kN when tightened on, {one.gasket_relief * 1e6:.4g} when relieved. "
        f"Load factor Phi = {one.Phi:.4f} (rigid gasket {one.Phi_bare:.4f}), n = {one.load_introduction_factor:.3f} "
        f"({one.load_introduction_source}). Embedding {joint.tightening.embedding * 1e3:.3g} um "
        f"({joint.tightening.embedding_source}) costs {one.embedding_loss / 1e3:.2f} kN.\n"
    )
    none = (None,) * len(one.states)
    area = joint.fastener.smallest_area
    figures = [
        ("fastener force F_S", "kN", [s.fastener_force / 1e3 for s in one.states]),
        ("fastener tension F_S/A", "MPa", [s.fastener_force / area for s in one.states]),
        ("gasket force", "kN", [s.gasket_force / 1e3 for s in one.states]),
        ("sealing-zone pressure", "MPa", [s.sealing_pressure for s in one.states]),
        ("thermal change of clamp", "kN", [s.thermal_change / 1e3 for s in one.states]),
        ("separation: falls short at gas x", "", [s.separation_factor for s in one.states]),
        ("separation: lifts off at gas x", "", [s.lift_off_factor for s in one.states]),
    ]
    rows = [Row(name, unit, tuple(values), none) for name, unit, values in figures]
    title = f"Nominal preload {force_text(one.preload, units)}"
    print_rows(screen, rows, [state.name for state in one.states], units, title)
    screen.print(
        "\nThe estimate presses every zone by one closure. Where gas tilts the head, the sealing line bears less "
        "than its zone's mean here: `headjoint solve` shows how much."
    )
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")
