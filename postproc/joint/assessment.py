"""The verdict: every requirement at its worst state and tightening, and each figure beside its estimate."""

from __future__ import annotations

from dataclasses import dataclass, field

from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.load_cases.one_fastener import SolvedJoint
from headjoint.model.formulas.estimate import Estimate, estimate
from headjoint.model.joint import Joint
from headjoint.postproc.joint.beside_estimate import comparison, joint_figures
from headjoint.postproc.joint.findings import StateFindings, sealing_line, state_findings
from headjoint.postproc.present.rows import JointFigure, Row
from headjoint.postproc.verdict.criteria import Criterion, StateFigures, Tightened, criteria, verdict_sentence


@dataclass(frozen=True)
class MeshCheck:
    """How much figures change when every element doubles in size (relative, by figure)."""

    elements: int
    coarse_elements: int
    changes: dict[str, float]

    @property
    def largest(self) -> tuple[str, float]:
        """Name and size of the largest relative change."""
        name = max(self.changes, key=lambda key: abs(self.changes[key]))
        return name, self.changes[name]


@dataclass(frozen=True)
class Findings:
    """All findings of one solved joint.

    states, estimates : tightening ("least", "nominal", "greatest") -> findings by finite elements, estimate.
    preloads : the same keys -> fastener force at assembly, N.
    """

    joint: Joint
    states: dict[str, tuple[StateFindings, ...]]
    estimates: dict[str, Estimate]
    preloads: dict[str, float]
    cut_compliance: float
    relief_compliance: float
    criteria: tuple[Criterion, ...]
    rows: tuple[Row, ...]
    joint_figures: tuple[JointFigure, ...]
    mesh_check: MeshCheck
    unknowns: int
    interface_unknowns: int
    solver: str
    seconds: dict[str, float] = field(compare=False)

    @property
    def holds(self) -> bool:
        """Whether every requirement is met."""
        return all(criterion.holds for criterion in self.criteria)

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        return verdict_sentence(self.criteria)


def assess(solved: SolvedJoint) -> Findings:
    """Return the findings of a solved joint; raises SolveError when a margin cannot be solved."""
    joint = solved.joint
    histories = dict(zip(("least", "nominal", "greatest"), solved.histories, strict=True))
    states = {name: state_findings(history, margins=name != "greatest") for name, history in histories.items()}
    estimates = {name: estimate(joint, history.preload) for name, history in histories.items()}
    tightened = {
        name: Tightened(name, history.preload, tuple(map(state_figures, states[name])))
        for name, history in histories.items()
    }
    return Findings(
        joint=joint,
        states=states,
        estimates=estimates,
        preloads={name: history.preload for name, history in histories.items()},
        cut_compliance=solved.nominal.cut_compliance,
        relief_compliance=solved.nominal.relief_compliance,
        criteria=criteria(joint, tightened),
        rows=comparison(joint, states["nominal"], estimates["nominal"]),
        joint_figures=joint_figures(
            solved.nominal.cut_compliance, solved.nominal.relief_compliance, estimates["nominal"]
        ),
        mesh_check=_mesh_check(solved),
        unknowns=solved.model.unknowns,
        interface_unknowns=len(solved.model.kept),
        solver=solver_name(),
        seconds=solved.seconds,
    )


def state_figures(state: StateFindings) -> StateFigures:
    """Return what the criteria need of one state."""
    return StateFigures(
        name=state.name,
        kind=state.kind,
        fastener_temperature=state.temperatures["fastener"],
        block_temperature=state.temperatures["block"],
        gas_force=state.gas_force,
        fastener_force=state.fastener_force,
        sealing_pressure=state.sealing_pressure,
        sealing_needed=state.sealing_needed,
        separation_factor=state.separation_factor,
        lift_off_factor=state.lift_off_factor,
        force_amplitude=state.force_amplitude,
        zone_greatest=tuple((zone.name, zone.greatest, zone.crush_pressure) for zone in state.zones),
        bearings=tuple((face.name, face.mean, face.limit) for face in state.bearings),
    )


def _mesh_check(solved: SolvedJoint) -> MeshCheck:
    changes: dict[str, float] = {"cut compliance": solved.coarse.cut_compliance / solved.nominal.cut_compliance - 1.0}
    for fine, coarse in zip(solved.nominal.states, solved.coarse.states, strict=True):
        changes[f"fastener force, {fine.name}"] = coarse.force / fine.force - 1.0
        pressure = sealing_line(solved.nominal, fine.equilibrium)[0]
        if pressure > 0.0:
            rough = sealing_line(solved.coarse, coarse.equilibrium)[0]
            changes[f"sealing-line pressure, {fine.name}"] = rough / pressure - 1.0
    return MeshCheck(
        elements=solved.model.joint_mesh.mesh.nelements,
        coarse_elements=solved.coarse_elements,
        changes=changes,
    )
