"""One design after another, judged: from changes of a file, or a draw of its scatter, to figures per requirement.

Designs with equal mesh and stiffness share one condensed joint; those of a bore cell are solved side by side.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.cases.condensed_store import user_store
from headjoint.cases.stiffness_key import fitted, stiffness_key
from headjoint.model.cell import Cell
from headjoint.model.draws import drawn_cell, drawn_joint
from headjoint.model.errors import JointError
from headjoint.model.joint import Joint
from headjoint.model.overrides import Content, Value, changed
from headjoint.model.reading import joint_of, parse_content, read_text
from headjoint.postproc.criteria import Criterion, Tightened
from headjoint.postproc.criteria import criteria as judged

LEVELS = ("least", "nominal", "greatest")
KEPT_BASES = 3  # condensed joints that a process keeps


@dataclass(frozen=True)
class Source:
    """A joint or cell file: its content as parsed, its name, and the folder of files that it names."""

    content: Content = field(repr=False)
    file: str
    folder: Path

    def design(self, changes: dict[str, Value]) -> Joint | Cell:
        """Return the joint or cell with changes made; InputError for one that cannot be built."""
        return joint_of(changed(self.content, changes), self.file, self.folder, past_yield=True)

    @cached_property
    def identity(self) -> str:
        """A name for all that the file says, laws in files and own meshes included."""
        stated = self.design({})
        mesh = stated.mesh.file if isinstance(stated, Cell) else None
        own = b"" if mesh is None else mesh.read_bytes()
        text = repr((version("headjoint"), self.content, stated)).encode()
        return hashlib.blake2b(text + own, digest_size=16).hexdigest()


def source_of(path: Path) -> Source:
    """Return the source of a file; InputError where it is no usable joint or cell file."""
    source = Source(parse_content(read_text(path), path.name), path.name, path.parent)
    source.design({})
    return source


@dataclass(frozen=True)
class Task:
    """One evaluation: changes by path, judged at least, nominal and greatest tightening; or with a `draw`, as drawn."""

    changes: dict[str, Value]
    draw: dict[str, float] | None = None

    def key(self, source: Source) -> str:
        """Return the name under which its outcome is kept."""
        text = json.dumps([source.identity, self.changes, self.draw], sort_keys=True)
        return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


@dataclass(frozen=True)
class StateLine:
    """One state: clamp (N) of the nominal tightening, pressure (MPa) at the sealing line of the least, and its need."""

    name: str
    kind: str
    clamp: float
    sealing: float
    needed: float


@dataclass(frozen=True)
class Outcome:
    """What came of a task: requirements, figures (N, MPa) and states, or the problem why there are none."""

    criteria: tuple[Criterion, ...] = ()
    figures: dict[str, float | None] = field(default_factory=dict)
    problem: str = ""
    states: tuple[StateLine, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether every requirement is met."""
        return not self.problem and all(one.holds for one in self.criteria)

    @property
    def limiting(self) -> Criterion | None:
        """The requirement with the least in hand, None where there is none."""
        return min(self.criteria, key=lambda one: one.in_hand) if self.criteria else None

    def criterion(self, name: str) -> Criterion | None:
        """Return a requirement by its name."""
        return next((one for one in self.criteria if one.name == name), None)

    def plain(self) -> dict[str, Any]:
        """Return what JSON knows."""
        return {
            "criteria": [dataclasses.asdict(one) for one in self.criteria],
            "figures": self.figures,
            "problem": self.problem,
            "states": [dataclasses.asdict(one) for one in self.states],
        }


def outcome_of(plain: dict[str, Any]) -> Outcome:
    """Return the outcome that `Outcome.plain` wrote."""
    criteria = tuple(Criterion(**one) for one in plain["criteria"])
    states = tuple(StateLine(**one) for one in plain["states"])
    return Outcome(criteria, plain["figures"], plain["problem"], states)


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
        from headjoint.postproc.study_cell import cell_base

        return cell_base(design, user_store())
    from headjoint.cases.condensation import condense, full_model
    from headjoint.meshes import single_stud

    return condense(design, full_model(design, single_stud.build(design)))


def _judge_cells(base: Any, designs: list[tuple[Cell, dict[str, float] | None]]) -> list[Outcome]:
    from headjoint.postproc.study_cell import judge_cells, judge_drawn_cells

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
    from headjoint.cases.history import run
    from headjoint.postproc.assessment import state_figures
    from headjoint.postproc.findings import gas_factor, state_findings

    own, scatter = fitted(reduced, joint), joint.tightening.scatter
    tightened = {}
    for level, share in zip(LEVELS, (1.0 - scatter, 1.0, 1.0 + scatter), strict=True):
        history = run(joint, own, joint.tightening.preload * share)
        figures = [state_figures(one) for one in state_findings(history, margins=False)]
        if level == "least":  # the only tightening whose separation is judged
            for number, state in enumerate(history.states):
                if state.case.gas_force > 0.0:
                    factor = gas_factor(history, state, required=True)
                    figures[number] = dataclasses.replace(figures[number], separation_factor=factor)
        tightened[level] = Tightened(level, history.preload, tuple(figures))
    return design_outcome(joint, tightened)


def design_outcome(joint: Joint, tightened: dict[str, Tightened]) -> Outcome:
    """Return requirements and figures of a design at its three tightenings."""
    least, nominal = tightened["least"].states, tightened["nominal"].states
    pressure = {case.name: case.gas_pressure for case in joint.load_cases}
    fired = [state for state in least if state.gas_force > 0.0]
    sealed = [
        None if state.separation_factor is None else state.separation_factor * pressure[state.name] for state in fired
    ]
    known = [one for one in sealed if one is not None]
    figures: dict[str, float | None] = {
        "torque": joint.tightening.torque,
        "preload": joint.tightening.preload,
        "least clamp": min(state.fastener_force for state in nominal),
        "clamp after cooling": next((s.fastener_force for s in reversed(nominal) if s.kind == "cold"), None),
        "sealing-line pressure under gas": min((state.sealing_pressure for state in fired), default=None),
        "sealed gas pressure": min(known) if known else None,
        "force amplitude": max((s.force_amplitude or 0.0 for s in tightened["greatest"].states), default=None),
    }
    states = tuple(
        StateLine(mean.name, mean.kind, mean.fastener_force, low.sealing_pressure, low.sealing_needed)
        for low, mean in zip(least, nominal, strict=True)
    )
    return Outcome(judged(joint, tightened), figures, states=states)


def _drawn_outcome(reduced: Any, joint: Joint) -> Outcome:
    from headjoint.cases.history import run
    from headjoint.postproc.assessment import state_figures
    from headjoint.postproc.findings import state_findings

    history = run(joint, fitted(reduced, joint))
    figures = tuple(state_figures(one) for one in state_findings(history, margins=False))
    return drawn_outcome(joint, Tightened("drawn", history.preload, figures))


def drawn_outcome(joint: Joint, tightened: Tightened) -> Outcome:
    """Return the figures of one drawn joint: factors of requirements by name, pressures MPa, forces N."""
    pressure = {case.name: case.gas_pressure for case in joint.load_cases}
    states = tightened.states
    found: dict[str, float | None] = {
        one.name: one.value
        for one in judged(joint, dict.fromkeys(LEVELS, tightened))
        if one.name != "separation under combustion"  # its factor is not searched for
    }
    fired = [(state, pressure[state.name]) for state in states if pressure.get(state.name, 0.0) > 0.0]
    found |= {
        "preload": tightened.preload,
        "least sealing-line pressure": min(state.sealing_pressure for state in states),
        "seal over gas": min((state.sealing_pressure / gas for state, gas in fired), default=None),
        "clamp under gas": min((state.fastener_force for state, _ in fired), default=None),
        "clamp after cooling": next((s.fastener_force for s in reversed(states) if s.kind == "cold"), None),
    }
    return Outcome(figures=found)
