"""The verdict: every requirement at its worst state and tightening, and each figure beside its estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.load_cases.load_history import History
from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.cases.models.condensed import OneFastener, chain_of
from headjoint.cases.service.tightened import closed_form, tightened
from headjoint.model.base.rich import Rich
from headjoint.model.formulas.estimate import Estimate
from headjoint.model.formulas.sealing import Seal
from headjoint.model.joint import Joint
from headjoint.postproc.joint.beside_estimate import comparison, joint_figures, preload_figure
from headjoint.postproc.joint.findings import StateFindings, state_findings
from headjoint.postproc.present.mesh_errors import compared, doubted
from headjoint.postproc.present.rows import JointFigure, Row, with_errors, with_mesh_errors
from headjoint.postproc.verdict.between_studs import undecided
from headjoint.postproc.verdict.model_seen import ModelSeen, one_fastener_seen
from headjoint.postproc.verdict.requirement import CoarseFigure, Judged, StateFigures, Tightened
from headjoint.postproc.verdict.state_figures import level_of, state_figures
from headjoint.postproc.verdict.verdict import Verdict, judge


@dataclass(frozen=True)
class Findings(Rich):
    """All findings of one solved joint.

    states, estimates : tightening ("least", "nominal", "greatest") -> findings by finite elements, estimate.
    preloads : the same keys -> fastener force at assembly, N. unbounded : why mesh errors are not known, "" where they
    are. coarse : what its engine says on a coarse mesh.
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
    unbounded: str
    elements: int
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
    histories = solved.histories
    estimates = {name: closed_form(solved.joint, history.tightened) for name, history in histories.items()}

    def on_mesh(one: SolvedJoint) -> JointOnMesh:
        return joint_on_one_mesh(one, estimates["nominal"], seen, coarse)

    fine = on_mesh(solved)
    rough, unbounded = compared(solved.coarse, on_mesh, solved.unbounded)
    return Findings(
        joint=solved.joint,
        states=fine.states,
        estimates=estimates,
        preloads={name: history.preload for name, history in histories.items()},
        cut_compliance=solved.nominal.cut_compliance,
        relief_compliance=solved.nominal.relief_compliance,
        verdict=judge(doubted(fine.judged, unbounded), coarse=None if rough is None else rough.judged),
        rows=fine.rows if rough is None else with_mesh_errors(fine.rows, rough.rows, solid=False),
        joint_figures=fine.figures if rough is None else with_errors(fine.figures, rough.figures),
        unbounded=unbounded,
        elements=solved.assembled.joint_mesh.mesh.nelements,
        unknowns=solved.assembled.unknowns,
        interface_unknowns=len(solved.assembled.kept),
        solver=solver_name(),
        seconds=solved.seconds,
        coarse=coarse,
    )


@dataclass(frozen=True)
class JointOnMesh:
    """Figures of a joint on one mesh, without their mesh errors."""

    states: dict[str, tuple[StateFindings, ...]]
    rows: tuple[Row, ...]
    figures: tuple[JointFigure, ...]
    judged: Judged


def joint_on_one_mesh(
    solved: SolvedJoint,
    estimate: Estimate,
    seen: ModelSeen | None = None,
    coarse: tuple[CoarseFigure, ...] = (),
) -> JointOnMesh:
    """Return the figures of a joint as one mesh has them; `estimate` stands beside those at the nominal preload."""
    joint, histories = solved.joint, solved.histories
    states = {name: state_findings(one, margins=name != "greatest") for name, one in histories.items()}
    levels = {
        name: judged_level(name, history, states[name], separated=name != "greatest")
        for name, history in histories.items()
    }
    judged = Judged(joint, seen or one_fastener_seen(joint), levels, blind=undecided(coarse), coarse=coarse)
    rows = comparison(joint, states["nominal"], estimate)
    return JointOnMesh(states, rows, _joint_figures(solved, estimate), judged)


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
            sealing_without_gas=state.sealing_without_gas,
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
