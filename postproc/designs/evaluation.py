"""One design after another, judged: from changes of a file, or a draw of its scatter, to figures per requirement.

Designs with equal mesh and stiffness share one condensed joint; those of a bore cell are solved side by side.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from headjoint.cases.condensed.stiffness_key import fitted, stiffness_key
from headjoint.cases.condensed.store import user_store
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.formulas.sampled_joint import drawn_cell, drawn_joint
from headjoint.model.joint import Joint
from headjoint.postproc.designs.outcome import Outcome, Source, Task, design_outcome, drawn_outcome
from headjoint.postproc.verdict.requirement import LEVELS, Tightened

KEPT_BASES = 3  # condensed joints that a process keeps


class Evaluator:
    """Evaluates tasks of one source, keeping the condensed joints that they share."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self._bases: dict[str, Any] = {}

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
            except JointError as error:
                found[number] = Outcome(problem=str(error))
                continue
            alike.setdefault(stiffness_key(design), []).append((number, design))
        for designs in alike.values():
            numbers = [number for number, _ in designs]
            try:
                base = self.base(designs[0][1])
                own = [_judge_joint(base, one, tasks[n].draw) for n, one in designs if isinstance(one, Joint)]
                cells = [(one, tasks[n].draw) for n, one in designs if isinstance(one, Cell)]
                outcomes = own or _judge_cells(base, cells)
            except JointError as error:
                outcomes = [Outcome(problem=str(error))] * len(numbers)
            for number, outcome in zip(numbers, outcomes, strict=True):
                found[number] = outcome
        return [one for one in found if one is not None]


def make_base(design: Joint | Cell) -> Any:
    """Return what designs of one stiffness share: a `ReducedJoint`, or a `CellBase`.

    Raises SolveError, MeshError or InputError where it cannot be meshed or condensed.
    """
    if isinstance(design, Cell):
        from headjoint.postproc.designs.cell_designs import cell_base

        return cell_base(design, user_store())
    from headjoint.cases.condensed.condensation import condense, full_model
    from headjoint.meshes.one_fastener import single_stud

    return condense(design, full_model(design, single_stud.build(design)))


def _judge_cells(base: Any, designs: list[tuple[Cell, dict[str, float] | None]]) -> list[Outcome]:
    from headjoint.postproc.designs.cell_designs import judge_cells, judge_drawn_cells

    if designs[0][1] is None:
        return judge_cells(base, [cell for cell, _ in designs])
    return judge_drawn_cells(base, [drawn_cell(cell, draw or {}) for cell, draw in designs])


def _judge_joint(reduced: Any, joint: Joint, draw: dict[str, float] | None) -> Outcome:
    try:
        if draw is None:
            return _design_outcome(reduced, joint)
        return _drawn_outcome(reduced, drawn_joint(joint, draw))
    except JointError as error:
        return Outcome(problem=str(error))


def _design_outcome(reduced: Any, joint: Joint) -> Outcome:
    """Judge a joint as `headjoint solve` does, without coarse mesh and estimate."""
    from headjoint.cases.load_cases.load_history import run
    from headjoint.cases.models.condensed import OneFastener
    from headjoint.postproc.joint.assessment import figures_of
    from headjoint.postproc.joint.findings import gas_factor, state_findings

    model, scatter = OneFastener(joint, fitted(reduced, joint)), joint.tightening.scatter
    tightened = {}
    for level, share in zip(LEVELS, (1.0 - scatter, 1.0, 1.0 + scatter), strict=True):
        history = run(model, joint.tightening.preload * share)
        figures = [figures_of(joint, one) for one in state_findings(history, margins=False)]
        if level == "least":  # the only tightening whose separation is judged
            for number, state in enumerate(history.states):
                if state.case.gas_force > 0.0:
                    factor = gas_factor(history, state, required=True)
                    figures[number] = dataclasses.replace(figures[number], separation_factor=factor)
        tightened[level] = Tightened(level, history.preload, tuple(figures))
    return design_outcome(joint, tightened)


def _drawn_outcome(reduced: Any, joint: Joint) -> Outcome:
    from headjoint.cases.load_cases.load_history import run
    from headjoint.cases.models.condensed import OneFastener
    from headjoint.postproc.joint.assessment import figures_of
    from headjoint.postproc.joint.findings import state_findings

    history = run(OneFastener(joint, fitted(reduced, joint)))
    figures = tuple(figures_of(joint, one) for one in state_findings(history, margins=False))
    return drawn_outcome(joint, Tightened("drawn", history.preload, figures))
