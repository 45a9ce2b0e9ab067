"""Each finite-element figure beside its closed-form estimate, and why the two should differ."""

from __future__ import annotations

from typing import TYPE_CHECKING

from headjoint.model.formulas import strength
from headjoint.model.formulas.estimate import Estimate, StateEstimate
from headjoint.model.joint import Joint
from headjoint.postproc.present.rows import JointFigure, Row

if TYPE_CHECKING:
    from headjoint.postproc.joint.findings import StateFindings


LOCAL = (
    "The chain presses all zones by one closure; the elastic head and block spread the clamp unevenly, more "
    "under the nut and less at the rim."
)


def comparison(joint: Joint, states: tuple[StateFindings, ...], estimate: Estimate) -> tuple[Row, ...]:
    """Return the table of a joint at one tightening, states as columns."""
    est = estimate.states
    area = joint.fastener.smallest_area
    none = (None,) * len(states)
    rows = [
        Row(
            "fastener force F_S",
            "kN",
            tuple(s.fastener_force / 1e3 for s in states),
            tuple(e.fastener_force / 1e3 for e in est),
            "Assembly is prescribed. Later cases differ by the resilience of the clamped parts, where a cone stands "
            "for the stress field, and by the free sideways growth of head and block, which the chain has not.",
        ),
        Row(
            "fastener tension F_S/A",
            "MPa",
            tuple(s.fastener_force / area for s in states),
            tuple(e.fastener_force / area for e in est),
        ),
        _utilisation(joint, states, estimate),
        Row(
            "gasket force",
            "kN",
            tuple(s.gasket_force / 1e3 for s in states),
            tuple(e.gasket_force / 1e3 for e in est),
        ),
    ]
    total_area = sum(zone.area for zone in joint.gasket.zones)
    rows += [
        Row(
            "gasket pressure, mean",
            "MPa",
            tuple(s.gasket_force / total_area for s in states),
            tuple(e.gasket_force / total_area for e in est),
        ),
        Row("gasket pressure, least", "MPa", tuple(min(z.least for z in s.zones) for s in states), none),
        Row(
            "gasket pressure, greatest",
            "MPa",
            tuple(max(z.greatest for z in s.zones) for s in states),
            tuple(max(z.pressure for z in e.zones) for e in est),
            LOCAL,
        ),
        Row(
            "sealing-line pressure",
            "MPa",
            tuple(s.sealing_pressure for s in states),
            tuple(e.sealing_pressure for e in est),
            LOCAL,
        ),
        Row("sealing-line pressure needed", "MPa", tuple(s.sealing_needed for s in states), none),
        Row(
            "closure at the sealing line",
            "um",
            tuple(s.sealing_closure * 1e3 for s in states),
            tuple(_sealing_closure(joint, e) * 1e3 for e in est),
        ),
        *_bearing_rows(states, estimate),
    ]
    gas = [s.gas_force > 0.0 for s in states]
    if any(gas):
        rows += [
            Row(
                "load factor dF_S/F_A",
                "",
                tuple(s.load_factor for s in states),
                tuple(e.load_factor for e in est),
                "The gas ring bends the head beside the nut, which the chain sees only through the load "
                "introduction factor n of a table; a small figure either way.",
            ),
            Row(
                "separation: falls short at gas x",
                "",
                tuple(s.separation_factor for s in states),
                tuple(e.separation_factor for e in est),
                "Gas acts at the rim beside the sealing line and tilts the head, so the line is relieved more or "
                "less than the mean of the gasket.",
            ),
            Row(
                "separation: lifts off at gas x",
                "",
                tuple(s.lift_off_factor for s in states),
                tuple(e.lift_off_factor for e in est),
            ),
            Row(
                "stress amplitude",
                "MPa",
                tuple(
                    None if s.force_amplitude is None else s.force_amplitude / joint.fastener.thread.stress_area
                    for s in states
                ),
                tuple(
                    None if e.force_amplitude is None else e.force_amplitude / joint.fastener.thread.stress_area
                    for e in est
                ),
            ),
            _endurance(joint, states, estimate),
        ]
    rows.append(
        Row(
            "clamp kept",
            "%",
            tuple(
                100.0 * s.fastener_force / states[0].fastener_force if s.kind in ("cold", "settled") else None
                for s in states
            ),
            tuple(
                100.0 * e.fastener_force / est[0].fastener_force if e.kind in ("cold", "settled") else None for e in est
            ),
        )
    )
    return tuple(rows)


def _bearing_rows(states: tuple[StateFindings, ...], estimate: Estimate) -> list[Row]:
    rows = []
    for index, face in enumerate(states[0].bearings):
        area = states[0].fastener_force / face.mean
        rows.append(
            Row(
                f"bearing pressure, {face.name}",
                "MPa",
                tuple(state.bearings[index].mean for state in states),
                tuple(state.fastener_force / area for state in estimate.states),
            )
        )
    return rows


def _endurance(joint: Joint, states: tuple[StateFindings, ...], estimate: Estimate) -> Row:
    def factor(force: float, amplitude: float | None) -> float | None:
        return strength.fatigue(joint, force, force - 2.0 * amplitude).factor if amplitude else None

    return Row(
        "endurance limit over amplitude",
        "",
        tuple(factor(state.fastener_force, state.force_amplitude) for state in states),
        tuple(factor(state.fastener_force, state.force_amplitude) for state in estimate.states),
    )


def _utilisation(joint: Joint, states: tuple[StateFindings, ...], estimate: Estimate) -> Row:
    def used(force: float, kind: str, temperature: float) -> float | None:
        if kind == "assembly":
            use = strength.tightening_utilisation(joint, estimate.preload)
        else:
            use = strength.service_utilisation(joint, estimate.preload, force, temperature)
        return None if use.strength is None else 100.0 * use.stress / use.strength

    return Row(
        "utilisation of yield",
        "%",
        tuple(used(s.fastener_force, s.kind, s.temperatures["fastener"]) for s in states),
        tuple(used(e.fastener_force, e.kind, e.case.temperatures["fastener"]) for e in estimate.states),
        "Tension with torsion; at assembly all of it, later half the torsion (VDI 2230), against yield at temperature.",
    )


def _sealing_closure(joint: Joint, state: StateEstimate) -> float:
    name = joint.gasket.sealing_zone.name
    return next(zone.closure for zone in state.zones if zone.name == name)


def joint_figures(cut_compliance: float, relief_compliance: float, estimate: Estimate) -> tuple[JointFigure, ...]:
    """Return the figures of the whole joint beside their estimates."""
    why = (
        "The cone formula is a fit, good to some 10 %; nut, washer and thread also bend and squash where the chain "
        "has one term each."
    )
    relief = estimate.delta_S + estimate.delta_P + estimate.gasket_relief
    return (
        JointFigure(
            "compliance of the joint, tightening on",
            "um/kN",
            cut_compliance * 1e6,
            estimate.cut_compliance * 1e6,
            why,
        ),
        JointFigure("compliance of the joint, relieved", "um/kN", relief_compliance * 1e6, relief * 1e6, why),
    )
