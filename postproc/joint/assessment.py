"""The verdict: every requirement at its worst state and tightening, and each figure beside its estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.load_cases.load_history import History
from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.cases.models.condensed import OneFastener, chain_of, seal_of
from headjoint.cases.service.tightened import closed_form, tightened
from headjoint.model.formulas.estimate import Estimate
from headjoint.model.formulas.sealing import Seal
from headjoint.model.joint import Joint
from headjoint.postproc.joint.beside_estimate import comparison, joint_figures, preload_figure
from headjoint.postproc.joint.findings import StateFindings, state_findings
from headjoint.postproc.present.rows import JointFigure, Row
from headjoint.postproc.verdict.between_studs import undecided
from headjoint.postproc.verdict.model_seen import ModelSeen, one_fastener_seen
from headjoint.postproc.verdict.requirement import CoarseFigure, Judged, StateFigures, Tightened
from headjoint.postproc.verdict.state_figures import level_of, state_figures
from headjoint.postproc.verdict.verdict import Verdict, judge


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
    preloads : the same keys -> fastener force at assembly, N. coarse : what its engine says on a coarse mesh.
    """

    joint: Joint
    states: dict[str, tuple[StateFindings, ...]]
    estimates: dict[str, Estimate]
    preloads: dict[str, float]
    cut_compliance: float
    relief_compliance: float
    verdict: Verdict
    rows: tuple[Row, ...]
    joint_figures: tuple[JointFigure, ...]
    mesh_check: MeshCheck
    unknowns: int
    interface_unknowns: int
    solver: str
    seconds: dict[str, float] = field(compare=False)
    coarse: tuple[CoarseFigure, ...] = ()


def assess(solved: SolvedJoint, seen: ModelSeen | None = None, coarse: tuple[CoarseFigure, ...] = ()) -> Findings:
    """Return the findings of a solved joint; raises SolveError when a margin cannot be solved.

    seen : what is seen of the engine whose stud it is, None for a joint alone. coarse : what that engine says on a
    coarse mesh.
    """
    joint = solved.joint
    histories = solved.histories
    states = {name: state_findings(history, margins=name != "greatest") for name, history in histories.items()}
    estimates = {name: closed_form(joint, history.tightened) for name, history in histories.items()}
    levels = {
        name: judged_level(name, histories[name], states[name], separated=name != "greatest") for name in histories
    }
    return Findings(
        joint=joint,
        states=states,
        estimates=estimates,
        preloads={name: history.preload for name, history in histories.items()},
        cut_compliance=solved.nominal.cut_compliance,
        relief_compliance=solved.nominal.relief_compliance,
        verdict=judge(Judged(joint, seen or one_fastener_seen(joint), levels, blind=undecided(coarse), coarse=coarse)),
        rows=comparison(joint, states["nominal"], estimates["nominal"]),
        joint_figures=_joint_figures(solved, estimates["nominal"]),
        mesh_check=_mesh_check(solved),
        unknowns=solved.assembled.unknowns,
        interface_unknowns=len(solved.assembled.kept),
        solver=solver_name(),
        seconds=solved.seconds,
        coarse=coarse,
    )


def judged_level(
    name: str, history: History[OneFastener], states: Sequence[StateFindings], *, separated: bool
) -> Tightened:
    """Return what the requirements need of the states of one tightening."""
    figures = figures_of(history.joint, states, separated=separated)
    return level_of(name, history.tightened, figures, history.states[-1].strain)


def figures_of(joint: Joint, states: Sequence[StateFindings], *, separated: bool) -> tuple[StateFigures, ...]:
    """Return what the requirements need of the states; `separated` says whether head-room was searched for."""
    return tuple(
        state_figures(
            joint,
            name=state.name,
            kind=state.kind,
            fastener_temperature=state.temperatures["fastener"],
            head_temperature=state.temperatures["head"],
            block_temperature=state.temperatures["block"],
            gas_pressure=state.gas_pressure,
            fired=state.gas_force > 0.0,
            force=state.fastener_force,
            assembled=states[0].fastener_force,
            seal=Seal(state.sealing_pressure, state.line_load),
            stroke=state.stroke,
            separation_factor=state.separation_factor,
            separation_judged=separated,
            force_amplitude=state.force_amplitude,
            zones=[(zone.name, zone.greatest) for zone in state.zones],
        )
        for state in states
    )


def _joint_figures(solved: SolvedJoint, estimate: Estimate) -> tuple[JointFigure, ...]:
    """Return the figures of the whole joint; a preload that the joint itself decides is one of them."""
    nominal, joint = solved.nominal, solved.joint
    found = joint_figures(nominal.cut_compliance, nominal.relief_compliance, estimate)
    if joint.tightening.preload is not None:
        return found
    return (*found, preload_figure(joint, nominal.preload, tightened(chain_of(joint)).preload))


def _mesh_check(solved: SolvedJoint) -> MeshCheck:
    changes: dict[str, float] = {"cut compliance": solved.coarse.cut_compliance / solved.nominal.cut_compliance - 1.0}
    for fine, coarse in zip(solved.nominal.states, solved.coarse.states, strict=True):
        changes[f"fastener force, {fine.name}"] = float(coarse.force[0] / fine.force[0]) - 1.0
        pressure = seal_of(solved.nominal.model.lines(fine.equilibrium)).pressure
        if pressure > 0.0:
            rough = seal_of(solved.coarse.model.lines(coarse.equilibrium)).pressure
            changes[f"sealing-line pressure, {fine.name}"] = rough / pressure - 1.0
    return MeshCheck(
        elements=solved.assembled.joint_mesh.mesh.nelements,
        coarse_elements=solved.coarse_elements,
        changes=changes,
    )
