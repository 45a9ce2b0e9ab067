"""What a study evaluates and what comes of it: source, task, outcome."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass, field
from functools import cached_property
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.reading.overrides import Content, Value, changed
from headjoint.model.reading.reading import joint_of, parse_content, read_text
from headjoint.postproc.verdict.criteria import Criterion, Tightened
from headjoint.postproc.verdict.criteria import criteria as judged


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


LEVELS = ("least", "nominal", "greatest")


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
