"""What a study evaluates and what comes of it: source, task, outcome."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.cases.command.stated_files import Seen, by_model
from headjoint.model.base.errors import InputError, JointError, MemoryShortError
from headjoint.model.base.figure import text_of
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.reading.overrides import Change, Content, changed
from headjoint.model.reading.reading import joint_of, parse_content, read_text
from headjoint.postproc.present.mesh_errors import doubted
from headjoint.postproc.verdict.fastener import NECKING
from headjoint.postproc.verdict.model_seen import ModelSeen
from headjoint.postproc.verdict.requirement import (
    LEVELS,
    Criterion,
    Factors,
    Judged,
    NotJudged,
    Tightened,
    least_error,
)
from headjoint.postproc.verdict.table import REQUIREMENTS
from headjoint.postproc.verdict.verdict import Verdict, judge


@dataclass(frozen=True)
class Source:
    """A joint or engine file: its content as parsed, its name, the folder of files that it names.

    model : "stud" where one stud of an engine is wanted instead of the whole.
    """

    content: Content = field(repr=False)
    file: str
    folder: Path
    model: Seen = "whole"

    def design(self, changes: Mapping[str, Change]) -> Joint | Cell:
        """Return the joint or cell with changes made; InputError for one that cannot be built."""
        stated = joint_of(changed(self.content, changes), self.file, self.folder, past_yield=True)
        design = by_model(stated, self.model)
        if isinstance(design, Joint) and design.mean_of_sides:
            raise InputError(
                "sides differ, and one stud bears their mean, by which nothing is judged; leave --model out",
                field="exhaust_side",
            )
        return design

    @cached_property
    def identity(self) -> str:
        """A name for all that the file says, laws in files and own meshes included."""
        stated = self.design({})
        mesh = stated.mesh.file if isinstance(stated, Cell) else None
        own = b"" if mesh is None else mesh.read_bytes()
        text = repr((version("headjoint"), self.content, stated)).encode()
        return hashlib.blake2b(text + own, digest_size=16).hexdigest()


def source_of(path: Path, model: Seen = "whole") -> Source:
    """Return the source of a file, or of one stud of it; InputError where it is no usable joint or engine file."""
    # other processes may run in other folders
    source = Source(parse_content(read_text(path), path.name), path.name, path.absolute().parent, model)
    source.design({})
    return source


@dataclass(frozen=True)
class Task:
    """One evaluation: changes by path, judged at least, nominal and greatest tightening; or with a `draw`, as drawn."""

    changes: Mapping[str, Change]
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
    """What came of a task: verdict, figures (N, MPa) and states, or the problem why there are none.

    unbounded : why its mesh errors are not known, "" where they are. passing : whether the problem is the machine's of
    that moment and no property of the design.
    """

    verdict: Verdict = Verdict()
    figures: dict[str, float | None] = field(default_factory=dict)
    problem: str = ""
    states: tuple[StateLine, ...] = ()
    unbounded: str = ""
    passing: bool = False

    @classmethod
    def lost(cls, error: JointError) -> Outcome:
        """Return the outcome of a task that ended in an error."""
        return cls(problem=str(error), passing=isinstance(error, MemoryShortError))

    @property
    def met(self) -> bool:
        """Whether every requirement is met that the model can judge; what it cannot judge stands in the verdict."""
        return not self.problem and self.verdict.met

    @property
    def holds(self) -> bool | None:
        """Whether every requirement is met, None where what decides was not judged."""
        return False if self.problem else self.verdict.holds

    @property
    def word(self) -> str:
        """The same in a word: "holds", "FAILS", "not judged", or "?" where there is no solution."""
        return "?" if self.problem else {True: "holds", False: "FAILS", None: "not judged"}[self.verdict.holds]

    @property
    def limiting(self) -> Criterion | None:
        """The requirement with the least in hand, None where there is none."""
        return self.verdict.limiting

    @property
    def criteria(self) -> tuple[Criterion, ...]:
        """All requirements that were judged."""
        return self.verdict.criteria

    def criterion(self, key: str) -> Criterion | None:
        """Return a requirement by its key."""
        return self.verdict.criterion(key)

    def document(self) -> dict[str, Any]:
        """Return what documents say of it."""
        return {
            "criteria": [one.plain() | {"holds": one.holds} for one in self.criteria],
            "not_judged": [one.plain() for one in self.verdict.not_judged],
        } | self._rest()

    def plain(self) -> dict[str, Any]:
        """Return all of it as JSON knows it; `outcome_of` reads it."""
        criteria = [
            [
                one.key,
                one.name,
                one.where.plain(),
                one.value,
                one.needed,
                one.detail.plain(),
                one.remedy.plain(),
                one.in_hand,
                one.mesh_error,
            ]  # fmt: skip
            for one in self.criteria
        ]
        not_judged = [dataclasses.asdict(one) for one in self.verdict.not_judged]
        seen = None if self.verdict.seen is None else dataclasses.asdict(self.verdict.seen)
        return {"criteria": criteria, "not_judged": not_judged, "seen": seen} | self._rest()

    def _rest(self) -> dict[str, Any]:
        return {
            "figures": self.figures,
            "problem": self.problem,
            "states": [dataclasses.asdict(one) for one in self.states],
            "unbounded": self.unbounded,
        }


@dataclass(frozen=True)
class OnMesh:
    """A design solved on one mesh: by tightening what is judged, history and states; empty where there is a problem.

    rests : every state without its gas, None where it has none. limits : the states of the least tightening at the gas
    that just seals, None for none. Both are empty of one that is only begun.
    """

    problem: str = ""
    levels: dict[str, Tightened] = field(default_factory=dict, repr=False)
    histories: dict[str, Any] = field(default_factory=dict, repr=False)
    states: dict[str, Any] = field(default_factory=dict, repr=False)
    rests: dict[str, Any] = field(default_factory=dict, repr=False)
    limits: list[Any] = field(default_factory=list, repr=False)


@dataclass(frozen=True)
class JudgedDesign:
    """A design, its outcome, and what it follows from; coarse : on doubled elements, None where there is none.

    judged : False of one that is only begun, whose outcome has what surely fails and nothing else.
    """

    design: Joint | Cell = field(repr=False)
    outcome: Outcome
    fine: OnMesh = field(repr=False)
    coarse: OnMesh | None = field(repr=False)
    judged: bool = True

    @property
    def histories(self) -> dict[str, Any]:
        """Return the history of every tightening; empty where there is no solution."""
        return self.fine.histories

    @property
    def states(self) -> dict[str, Any]:
        """Return the states of every tightening; empty where there is no solution."""
        return self.fine.states


def heat_refused(where: str) -> InputError:
    """Return what is said where load cases by heat are not followed."""
    return InputError(f"of load cases is not for {where}; state temperatures", field="load_cases.heat")


def judged_by(outcomes: Iterable[Outcome]) -> list[str]:
    """Return the keys of all requirements that any outcome was judged by."""
    return list(dict.fromkeys(one.key for outcome in outcomes for one in outcome.criteria))


def outcome_of(plain: dict[str, Any]) -> Outcome:
    """Return the outcome that `Outcome.plain` wrote."""
    criteria = tuple(
        Criterion(key, name, text_of(where), value, needed, text_of(detail), text_of(remedy), in_hand, error)
        for key, name, where, value, needed, detail, remedy, in_hand, error in plain["criteria"]
    )
    states = tuple(StateLine(**one) for one in plain["states"])
    not_judged = tuple(NotJudged(**one) for one in plain["not_judged"])
    seen = None if plain["seen"] is None else ModelSeen(**plain["seen"])
    verdict = Verdict(criteria, not_judged, seen=seen)
    return Outcome(verdict, plain["figures"], plain["problem"], states, plain["unbounded"])


def design_outcome(
    joint: Joint,
    seen: ModelSeen,
    tightened: dict[str, Tightened],
    coarse: dict[str, Tightened] | None,
    unbounded: str = "",
) -> Outcome:
    """Return requirements and figures of a design at its three tightenings.

    coarse : the same on a coarser mesh; where there is none, `unbounded` says why.
    """
    least, nominal = tightened["least"].states, tightened["nominal"].states
    fired = [state for state in least if state.fired]
    sealed = [
        None if state.separation_factor is None else state.separation_factor * state.gas_pressure for state in fired
    ]
    known = [one for one in sealed if one is not None]
    figures: dict[str, float | None] = {
        "torque": joint.tightening.torque,
        "preload": tightened["nominal"].preload,
        "least clamp": min(state.force for state in nominal),
        "clamp after cooling": next((s.force for s in reversed(nominal) if s.kind == "cold"), None),
        "sealing-line pressure under gas": min((state.seal.pressure for state in fired), default=None),
        "sealed gas pressure": min(known) if known else None,
        "force amplitude": max((s.force_amplitude or 0.0 for s in tightened["greatest"].states), default=None),
    }
    states = tuple(
        StateLine(mean.name, mean.kind, mean.force, low.seal.pressure, low.need.pressure)
        for low, mean in zip(least, nominal, strict=True)
    )
    judged = doubted(Judged(joint, seen, tightened), unbounded)
    verdict = judge(judged, coarse=None if coarse is None else Judged(joint, seen, coarse))
    return Outcome(verdict, figures, states=states, unbounded=unbounded)


def begun_outcome(joint: Joint, seen: ModelSeen, tightened: dict[str, Tightened]) -> Outcome:
    """Return the requirements that fail by what is known of a design so far; what more is known only makes them worse.

    Nothing that is met is among them: mesh errors, bending and trials with other gas are still to come.
    """
    judged = Judged(joint, seen, tightened)
    found = [one.judge(judged) for one in REQUIREMENTS.values()]
    failing = tuple(one for one in found if isinstance(one, Criterion) and one.holds is False)
    return Outcome(Verdict(failing, seen=seen))


def broken_outcome(used: float) -> Outcome:
    """Return the figures of one drawn joint whose fastener breaks: strain at which it necks over its own."""
    return Outcome(figures={NECKING.title: 1.0 / used})


def drawn_outcome(
    joint: Joint, seen: ModelSeen, tightened: Tightened, coarse: Tightened | None, unbounded: str = ""
) -> Outcome:
    """Return the figures of one drawn joint: factors of requirements by title, pressures MPa, forces N.

    coarse : the same on a coarser mesh; where there is none, `unbounded` says why. Factors and sealing
    pressures are less their mesh errors.
    """
    states = tightened.states
    other = None if coarse is None else Judged(joint, seen, dict.fromkeys(LEVELS, coarse))
    judged = doubted(Judged(joint, seen, dict.fromkeys(LEVELS, tightened)), unbounded)
    verdict = judge(judged, coarse=other)
    found: dict[str, float | None] = {one.name: one.at_least for one in verdict.criteria}
    fired = [state for state in states if state.gas_pressure > 0.0]
    found |= {
        "preload": tightened.preload,
        "least sealing-line pressure": _less_error(tightened, coarse, _pressures, judged, of_factors=False),
        "seal over gas": _less_error(tightened, coarse, _seals_over_gas, judged),
        "clamp under gas": min((state.force for state in fired), default=None),
        "clamp after cooling": next((s.force for s in reversed(states) if s.kind == "cold"), None),
    }
    return Outcome(figures=found, unbounded=unbounded)


def _less_error(
    tightened: Tightened,
    coarse: Tightened | None,
    figures: Callable[[Tightened], Factors],
    judged: Judged,
    *,
    of_factors: bool = True,
) -> float | None:
    """Return the least of some figures less its mesh error, where there is no coarse mesh less what is assumed."""
    found, other = figures(tightened), [] if coarse is None else figures(coarse)
    if not found:
        return None
    least = min(value for value, _ in found)
    error = least_error(found, other, of_factors=of_factors, solid=judged.seen.solid)
    return least - (error or 0.0) if other else least * (1.0 - judged.unsure)


def _pressures(tightened: Tightened) -> Factors:
    return [(state.seal.pressure, None) for state in tightened.states]


def _seals_over_gas(tightened: Tightened) -> Factors:
    fired = [state for state in tightened.states if state.gas_pressure > 0.0]
    return [(state.seal.pressure / state.gas_pressure, None) for state in fired]
