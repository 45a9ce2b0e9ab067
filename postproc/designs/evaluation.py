"""One design after another, judged: from changes of a file, or a draw of its scatter, to figures per requirement.

Designs with equal mesh and stiffness share one condensed joint; those of a bore cell are solved side by side.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar

from headjoint.cases.condensed.stiffness_key import fitted, stiffness_key
from headjoint.cases.condensed.store import user_store
from headjoint.model.base.errors import BrokenFastenerError, JointError, SolveError
from headjoint.model.cell import Cell
from headjoint.model.formulas.sampled_joint import drawn_cell, drawn_joint
from headjoint.model.joint import Joint
from headjoint.postproc.designs.outcome import (
    JudgedDesign,
    OnMesh,
    Outcome,
    Source,
    Task,
    begun_outcome,
    broken_outcome,
    design_outcome,
    drawn_outcome,
    heat_refused,
)
from headjoint.postproc.verdict.model_seen import one_fastener_seen
from headjoint.postproc.verdict.requirement import Tightened

if TYPE_CHECKING:
    from headjoint.cases.condensed.reduced_joint import Equilibrium, ReducedJoint
    from headjoint.cases.load_cases.load_history import History, State
    from headjoint.cases.models.condensed import OneFastener
    from headjoint.cases.warm_up.heat_of_cases import CaseFields
    from headjoint.model.base.arrays import FloatArray
    from headjoint.postproc.designs.near_limit import Limit

Fields = Callable[[Joint, float], "CaseFields"]  # of a joint's load cases by heat, on a mesh refined by so much
S = TypeVar("S")
KEPT_BASES = 3  # condensed joints that a process keeps


@dataclass(frozen=True)
class JointBase:
    """What designs of one fastener of one stiffness share. coarse : on doubled elements; `unbounded` says why not."""

    reduced: ReducedJoint = field(repr=False)
    coarse: ReducedJoint | None = field(repr=False)
    unbounded: str

    def beside(self, solve: Callable[[ReducedJoint], S]) -> tuple[S | None, str]:
        """Return what a solve gives on doubled elements, or why it gives nothing."""
        from headjoint.cases.models.from_mesh import or_why_not

        coarse = self.coarse
        return (None, self.unbounded) if coarse is None else or_why_not(lambda: solve(coarse))


class Evaluator:
    """Evaluates tasks of one source, keeping the condensed joints that they share."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self._bases: dict[str, Any] = {}
        self._purposes: dict[str, bool] = {}
        self._own_fields: dict[float, CaseFields] = {}

    def design(self, task: Task) -> Joint | Cell:
        """Return the design of a task, its draw not yet made."""
        return self.source.design(task.changes)

    def keep(self, key: str, base: Any) -> None:
        """Take a base that was made elsewhere."""
        while len(self._bases) >= KEPT_BASES:
            self._bases.pop(next(iter(self._bases)))
        self._bases[key] = base

    def has(self, key: str) -> bool:
        """Say whether the base of a stiffness is kept."""
        return key in self._bases

    def base(self, design: Joint | Cell) -> Any:
        """Return what all designs with the stiffness of this one share; condensed where it is not kept."""
        key = stiffness_key(design)
        if key not in self._bases:
            self.keep(key, make_base(design))
        return self._bases[key]

    def evaluate(self, tasks: Sequence[Task]) -> list[Outcome]:
        """Return the outcome of every task; designs that cannot be built or solved say so in theirs."""
        found: list[Outcome | None] = [None] * len(tasks)
        alike: dict[str, list[tuple[int, Joint | Cell]]] = {}
        for number, task in enumerate(tasks):
            try:
                design = self.design(task)
                _refuse_heat(design, task)
            except JointError as error:
                found[number] = Outcome.lost(error)
                continue
            alike.setdefault(stiffness_key(design), []).append((number, design))
        for designs in alike.values():
            numbers = [number for number, _ in designs]
            try:
                base = self.base(designs[0][1])
                own = [self._judge_joint(base, one, tasks[n]) for n, one in designs if isinstance(one, Joint)]
                cells = [(one, tasks[n].draw) for n, one in designs if isinstance(one, Cell)]
                outcomes = own or _judge_cells(base, cells)
            except JointError as error:
                outcomes = [Outcome.lost(error)] * len(numbers)
            for number, outcome in zip(numbers, outcomes, strict=True):
                found[number] = outcome
        return [one for one in found if one is not None]

    def _judge_joint(self, base: JointBase, joint: Joint, task: Task) -> Outcome:
        try:
            if task.draw is None:
                return judged_joint(base, joint, self._fields if joint.by_heat else None).outcome
            return _drawn_outcome(base, drawn_joint(joint, task.draw), self._past_yield(base.reduced, joint, task))
        except JointError as error:
            return Outcome.lost(error)

    def _fields(self, joint: Joint, refinement: float) -> CaseFields:
        """Return the temperature fields of a design's load cases: those of the file where only its tightening differs.

        Which of the two never depends on what was evaluated before.
        """
        from headjoint.cases.warm_up.heat_of_cases import case_fields

        own = self.source.design({})
        assert isinstance(own, Joint)
        if _heat_key(own) != _heat_key(joint):
            return case_fields(joint, refinement=refinement)
        if refinement not in self._own_fields:
            self._own_fields[refinement] = case_fields(own, refinement=refinement)
        return self._own_fields[refinement]

    def _past_yield(self, reduced: Any, joint: Joint, task: Task) -> bool:
        """Return whether a design is past yield on purpose; a draw of it may be so by chance, or not quite."""
        if joint.tightening.preload is not None:
            return False
        from headjoint.cases.models.condensed import OneFastener
        from headjoint.cases.service.tightened import tightened

        key = repr(task.changes)
        if key not in self._purposes:
            self._purposes[key] = tightened(OneFastener(joint, fitted(reduced, joint))).past_yield
        return self._purposes[key]


def make_base(design: Joint | Cell, stage: Callable[[str], None] = lambda name: None) -> Any:
    """Return what designs of one stiffness share: a `JointBase`, or a `CellBase`.

    stage : hears the name of every stage as it begins.

    Raises SolveError, MeshError or InputError where it cannot be meshed or condensed.
    """
    if isinstance(design, Cell):
        from headjoint.postproc.designs.cell_designs import cell_base

        return cell_base(design, user_store(), stage)
    from headjoint.cases.models.from_mesh import COARSE, one_fastener, or_why_not

    reduced = one_fastener(design)[1].reduced
    return JointBase(reduced, *or_why_not(lambda: one_fastener(design, COARSE)[1].reduced))


def _judge_cells(base: Any, designs: list[tuple[Cell, dict[str, float] | None]]) -> list[Outcome]:
    from headjoint.postproc.designs.cell_designs import judge_cells
    from headjoint.postproc.designs.drawn_cells import judge_drawn_cells

    if designs[0][1] is None:
        return judge_cells(base, [cell for cell, _ in designs])
    return judge_drawn_cells(base, [drawn_cell(cell, draw or {}) for cell, draw in designs])


def _refuse_heat(design: Joint | Cell, task: Task) -> None:
    """Refuse heat of load cases where it is not followed: in cells side by side, in draws of expansion and warmth."""
    joint = design.joint if isinstance(design, Cell) else design
    if joint.by_heat and (isinstance(design, Cell) or task.draw is not None):
        scatter = "scatter, which draws temperatures and expansion of parts"
        raise heat_refused(scatter if task.draw is not None else "studies and the live page of cells")


def _heat_key(joint: Joint) -> str:
    """Name all that a temperature field, and what a duty does to a joint by then, follow from besides the preload."""
    tight = joint.tightening
    without = ("name", "note", "tightening", "requirements", "history", "measured", "load_introduction_factor")
    alike = [getattr(joint, one.name) for one in dataclasses.fields(joint) if one.name not in without]
    return repr((alike, tight.embedding, tight.twisted, tight.step.thread_friction))


def begun_joint(base: JointBase, joint: Joint, near: JudgedDesign | None = None) -> JudgedDesign:
    """Return a joint solved on its own mesh at its three tightenings, what needs other gas or another mesh left out.

    near : a like joint, begun or judged, to start from.
    """
    from headjoint.postproc.joint.assessment import judged_level
    from headjoint.postproc.joint.findings import state_findings

    if joint.by_heat:
        raise heat_refused("the live page")
    done = OnMesh()
    for level, history in _histories(base.reduced, joint, None, None if near is None else near.fine):
        states = list(state_findings(history, [None] * len(history.states), margins=False))
        done.levels[level] = judged_level(level, history, states, separated=False)
        done.histories[level], done.states[level] = history, states
    return JudgedDesign(joint, begun_outcome(joint, one_fastener_seen(joint), done.levels), done, None, False)


def judged_joint(
    base: JointBase,
    joint: Joint,
    fields: Fields | None = None,
    near: JudgedDesign | None = None,
    begun: JudgedDesign | None = None,
    between: Callable[[], None] = lambda: None,
    beside: Callable[[], OnMesh | None] | None = None,
) -> JudgedDesign:
    """Judge a joint as `headjoint solve` does, without the estimate.

    fields : gives the temperature fields of load cases by heat, where it has such. near : a like joint judged before,
    to start from. begun : this one, as `begun_joint` has it. between : called between stages, and may raise to end it.
    beside : gives this joint on doubled elements where it is solved elsewhere meanwhile, None where that failed.
    """
    from headjoint.cases.models.from_mesh import COARSE, why_failed

    if joint.by_heat and fields is None:
        raise heat_refused("the live page")

    def on_mesh(reduced: ReducedJoint, refinement: float, start: OnMesh | None, own: OnMesh | None = None) -> OnMesh:
        if fields is None:
            return _on_plain_mesh(reduced, joint, start, between, own)
        heat = fields(joint, refinement)
        return _on_mesh(_histories(reduced, heat.told(joint), heat, start), start, between)

    starts = (None, None) if near is None else (near.fine, near.coarse)
    fine = on_mesh(base.reduced, 1.0, starts[0], None if begun is None else begun.fine)
    told = None if beside is None else beside()
    if told is None:
        coarse, unbounded = base.beside(lambda reduced: on_mesh(reduced, COARSE, starts[1]))
    else:
        coarse, unbounded = (None, why_failed(told.problem)) if told.problem else (told, "")
    levels = None if coarse is None else coarse.levels
    outcome = design_outcome(joint, one_fastener_seen(joint), fine.levels, levels, unbounded)
    return JudgedDesign(joint, outcome, fine, coarse)


def on_one_mesh_of_joint(
    reduced: ReducedJoint, joint: Joint, near: OnMesh | None, between: Callable[[], None]
) -> OnMesh:
    """Return a joint solved on one mesh at its three tightenings, or the problem why it is not.

    near : a like joint on the same mesh, to start from. between : called between stages, and may raise to end it.
    """
    from headjoint.cases.models.from_mesh import NO_COMPARISON

    try:
        return _on_plain_mesh(reduced, joint, near, between)
    except NO_COMPARISON as error:
        return OnMesh(str(error))


def _on_plain_mesh(
    reduced: ReducedJoint,
    joint: Joint,
    near: OnMesh | None,
    between: Callable[[], None],
    own: OnMesh | None = None,
) -> OnMesh:
    """Return a joint without heat on one mesh. near : a like one. own : its own histories, where they are known."""
    solved = _histories(reduced, joint, None, near) if own is None else own.histories.items()
    return _on_mesh(solved, near, between, {} if own is None else own.states)


def _histories(
    reduced: ReducedJoint, joint: Joint, fields: CaseFields | None, near: OnMesh | None
) -> Iterator[tuple[str, History]]:
    """Yield the history of every tightening; near : a like joint to start from."""
    from headjoint.cases.load_cases.load_history import run
    from headjoint.cases.models.condensed import OneFastener
    from headjoint.cases.service.tightened import tightened

    model = OneFastener(joint, fitted(reduced, joint))
    model = model if fields is None else fields.heating(model)
    for level, found in tightened(model).over(joint.tightening).items():
        yield level, run(model, found, () if near is None else tuple(near.histories.values()))


def _on_mesh(
    solved: Iterable[tuple[str, History]],
    near: OnMesh | None,
    between: Callable[[], None],
    begun: Mapping[str, Sequence[Any]] = MappingProxyType({}),
) -> OnMesh:
    """Return what is judged of histories by tightening.

    near : a like joint, to search from. begun : findings that are known by tightening, without those by gas.
    """
    from headjoint.cases.load_cases.load_history import without_gas
    from headjoint.postproc.joint.assessment import judged_level
    from headjoint.postproc.joint.findings import beside_rests, state_findings

    done = OnMesh()
    for level, history in solved:
        between()
        rests = without_gas(history)
        if level in begun:
            states = list(beside_rests(history, begun[level], rests, margins=False))
        else:
            states = list(state_findings(history, rests, margins=False))
        if level == "least":  # the only tightening whose separation is judged
            limits = done.limits
            limits += _limits(history, rests, near)
            states = [
                one if limit is None else dataclasses.replace(one, separation_factor=limit.factor)
                for one, limit in zip(states, limits, strict=True)
            ]
        done.levels[level] = judged_level(level, history, states, separated=level == "least")
        done.histories[level], done.states[level], done.rests[level] = history, states, rests
    return done


def _limits(
    history: History[OneFastener], rests: Sequence[Equilibrium | None], near: OnMesh | None
) -> list[Limit | None]:
    """Return every state at the gas that it just seals, None where there is none; near : a like joint."""
    from headjoint.cases.load_cases.head_room import sealed_at
    from headjoint.cases.load_cases.load_history import gas_trial
    from headjoint.postproc.designs.near_limit import limit_at, limit_near

    def trials(state: State, factors: Sequence[float], starts: Sequence[FloatArray]) -> list[Equilibrium]:
        solved: list[Equilibrium] = []
        for factor, start in zip(factors, starts, strict=True):  # as far from its start as the one before from its own
            solved.append(gas_trial(model, state, factor, start + (solved[-1].q - starts[0] if solved else 0.0)))
        return solved

    model, like = history.model, [] if near is None else near.limits
    found: list[Limit | None] = []
    for index, (state, rest) in enumerate(zip(history.states, rests, strict=True)):
        before, limit = like[index] if len(like) == len(rests) else None, None
        if rest is not None and before is not None:
            with suppress(SolveError):
                limit = limit_near(model, state, rest, before, partial(trials, state))
        if rest is not None and limit is None:
            factor, tried, q = sealed_at(model, state, rest)
            limit = None if factor is None else limit_at(model, state, rest, factor, tried, q)
        found.append(limit)
    return found


def _drawn_outcome(base: JointBase, joint: Joint, past_yield: bool) -> Outcome:
    from headjoint.cases.load_cases.load_history import run
    from headjoint.cases.models.condensed import OneFastener
    from headjoint.cases.service.tightened import tightened
    from headjoint.postproc.joint.assessment import judged_level
    from headjoint.postproc.joint.findings import state_findings

    def level(reduced: ReducedJoint) -> Tightened:
        model = OneFastener(joint, fitted(reduced, joint))
        history = run(model, tightened(model, past_yield))
        return judged_level("drawn", history, state_findings(history, margins=False), separated=False)

    try:
        return drawn_outcome(joint, one_fastener_seen(joint), level(base.reduced), *base.beside(level))
    except BrokenFastenerError as error:
        return broken_outcome(error.used)
