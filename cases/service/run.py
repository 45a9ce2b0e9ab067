"""A service from its first tightening to its last step, resumable after every step and every cycle of a repeat.

Cycles of a repeat differ less and less from each other, for yield and set stop growing and creep follows the logarithm
of time. After the first few, many cycles are run as one whose holds last as long as all of theirs together: creep by
strain hardening depends on the time spent at each pressure and temperature, hardly on how it was dealt out. Then one
cycle is run as it is again; the last one always is.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.models.condensed import pressed, seal_of, stroke_of
from headjoint.cases.service.memory import Memory, fresh
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.steps import FractureError, Reached, Trace, cold_force, embedded_by_heat, hold, settle
from headjoint.cases.service.tightening import Turning, change, retorque, tighten
from headjoint.model.base.arrays import FloatArray
from headjoint.model.load_case import LoadCase
from headjoint.model.service import Change, Hold, Repeat, Retorque, Step, Tighten

FIRST_CYCLES = 3  # run as they are before any are run as one
LONGEST_JUMP = 1.0  # of the cycles so far
SHAKEN = 1e-4  # share of clamp that as many cycles again would still change: below, the repeat has shaken down


@dataclass(frozen=True)
class Record:
    """What one step did, at its end. Forces (f,) N, pressures MPa, times s.

    step : number of the top-level step, from 0. cycle : of a repeat, from 1; 0 outside. force : at the step's
    temperatures, without gas; fired_force with it; first_ the same at the step's beginning. cold_force : at assembly
    temperature without gas, None within a cycle of a repeat. sealing, line_load : least along the sealing lines, MPa
    and N/mm; fired_ the same with gas, the lesser of beginning and end. stroke : how far these open at most under gas,
    mm. pressed : greatest pressure of every gasket zone, with gas or without. trace : (t, 2) time and mean force within
    the step.
    """

    step: int
    name: str
    kind: str
    cycle: int
    case: LoadCase | None
    force: FloatArray
    first_force: FloatArray
    first_fired_force: FloatArray | None
    fired_force: FloatArray | None
    cold_force: FloatArray | None
    sealing: float
    line_load: float
    fired_sealing: float | None
    fired_line_load: float | None
    stroke: float | None
    pressed: dict[str, float]
    turning: Turning | None
    trace: FloatArray = field(repr=False)
    memory: Memory = field(repr=False)
    pressure_cycles: float = 0.0

    @property
    def time(self) -> float:
        """Time since the first tightening, s."""
        return float(self.memory.time[0])


@dataclass(frozen=True)
class Position:
    """Where a service stands: what `advance` needs to go on, and nothing else.

    step : number of the next top-level step. cycle : cycles of it that are behind. last_cycle, last_force : number of
    the latest cycle run as it is, and the cold forces (f,) N after it. shaken : whether its repeat has shaken down.
    broken : number of the fastener that broke, None while all hold.
    """

    step: int
    cycle: int
    memory: Memory = field(repr=False)
    last_cycle: int = 0
    last_force: FloatArray | None = None
    shaken: bool = False
    broken: int | None = None


@dataclass(frozen=True)
class Service:
    """A finished service. positions of repeats that had shaken down : numbers of their steps."""

    model: ServiceModel = field(repr=False)
    steps: tuple[Step, ...]
    records: tuple[Record, ...]
    broken: int | None
    shaken: tuple[int, ...]

    def last_of(self, step: int) -> Record:
        """Return the last record of a top-level step."""
        return [record for record in self.records if record.step == step][-1]


Unit = tuple[Position, tuple[Record, ...]]


def run_service(
    model: ServiceModel,
    steps: Sequence[Step],
    finished: Sequence[Unit] = (),
    keep: Callable[[Unit], None] = lambda unit: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Service:
    """Return the service of a joint through all its steps.

    finished : units of an earlier run to go on from; the result is the same to the last bit. keep : told of every unit
    as it is finished. stage : told what is at work.

    Raises SolveError naming the step that does not converge or balance. A fastener that breaks ends the service.
    """
    position = finished[-1][0] if finished else Position(0, 0, fresh(model))
    records = [record for _, some in finished for record in some]
    shaken = {unit.step - 1 for unit, _ in finished if unit.shaken and unit.cycle == 0}
    for unit in advance(model, steps, position, stage):
        keep(unit)
        position = unit[0]
        records += unit[1]
        if position.shaken and position.cycle == 0:
            shaken.add(position.step - 1)
    return Service(model, tuple(steps), tuple(records), position.broken, tuple(sorted(shaken)))


def advance(
    model: ServiceModel, steps: Sequence[Step], position: Position, stage: Callable[[str], None] = lambda name: None
) -> Iterator[Unit]:
    """Yield position and records after every step and every cycle that is run in full."""
    while position.step < len(steps) and position.broken is None:
        step = steps[position.step]
        # nothing that follows may depend on the solver's memory: a resumed run has none
        model.reduced.solver.forget()
        if isinstance(step, Repeat):
            stage(f"{step.name}: cycle {position.cycle + 1} of {step.times}")
            unit = _cycle(model, step, position)
        else:
            stage(step.name)
            made, memory, broken = _run(model, step, position, 0)
            unit = Position(position.step + 1, 0, memory, broken=broken), (made,)
        position = unit[0]
        yield unit


def _cycle(model: ServiceModel, repeat: Repeat, position: Position) -> Unit:
    """Return what one more cycle of a repeat, and the jump after it, lead to."""
    memory, number = position.memory, position.cycle + 1
    records = []
    for index, step in enumerate(repeat.steps):
        ends = index == len(repeat.steps) - 1
        made, memory, broken = _run(model, step, dataclasses.replace(position, memory=memory), number, ends)
        records.append(made)
        if broken is not None:
            return Position(position.step, number, memory, broken=broken), tuple(records)
    force = records[-1].cold_force
    assert force is not None
    shaken = position.shaken
    if position.last_force is not None:
        lost = float(np.abs(force - position.last_force).max()) / (number - position.last_cycle)
        shaken = lost * number <= SHAKEN * max(float(np.abs(force).max()), 1e-9)
    left = repeat.times - number
    if left == 0:
        return Position(position.step + 1, 0, memory, shaken=shaken), tuple(records)
    # nuts that turn in every cycle cannot turn once for many
    turns = any(isinstance(step, Retorque) for step in repeat.steps)
    jump = min(left - 1, int(LONGEST_JUMP * number)) if number >= FIRST_CYCLES and not turns else 0
    if jump > 0:
        for step in repeat.steps:
            longer = dataclasses.replace(step, duration=jump * step.duration) if isinstance(step, Hold) else step
            made, memory, broken = _run(model, longer, dataclasses.replace(position, memory=memory), number, False)
            if broken is not None:
                return Position(position.step, number, memory, broken=broken), (*records, made)
    return Position(position.step, number + jump, memory, number, force, shaken), tuple(records)


def _run(
    model: ServiceModel, step: Step, position: Position, cycle: int, ends: bool = True
) -> tuple[Record, Memory, int | None]:
    """Return the record of one step, the memory after it, and the number of the fastener that broke.

    ends : whether the clamp is wanted as it would be cold.
    """
    memory = position.memory
    trace: Trace = []
    try:
        if isinstance(step, (Tighten, Retorque)):
            return _turned(model, step, position, cycle)
        if isinstance(step, Change):
            reached = change(model, memory, step)
            return (
                _record(model, _Done(position.step, step.name, step.kind, cycle), reached, trace),
                reached.memory,
                None,
            )
        assert isinstance(step, Hold)
        return _held(model, step, position, cycle, trace, ends)
    except FractureError as fracture:
        kind = step.kind if isinstance(step, (Hold, Change)) else "tighten"
        broken = Reached(fracture.memory, fracture.equilibrium)
        made = _record(model, _Done(position.step, step.name, kind, cycle), broken, trace)
        return made, fracture.memory, fracture.number


def _turned(
    model: ServiceModel, step: Tighten | Retorque, position: Position, cycle: int
) -> tuple[Record, Memory, None]:
    if isinstance(step, Tighten):
        kind = "reuse" if step.again else "tighten"
        reached, turning = tighten(model, position.memory, step)
    else:
        kind = "retorque"
        start = settle(model, position.memory, model.joint.load_cases[0], name=step.name)
        reached, turning = retorque(model, start, step)
    case = model.joint.load_cases[0]
    made = _record(model, _Done(position.step, step.name, kind, cycle, case), reached, [])
    return dataclasses.replace(made, turning=turning), reached.memory, None


def _held(
    model: ServiceModel, step: Hold, position: Position, cycle: int, trace: Trace, ends: bool
) -> tuple[Record, Memory, None]:
    memory, case = position.memory, step.case
    if case.gas_force > 0.0 or case.temperatures != model.joint.load_cases[0].temperatures:
        memory = embedded_by_heat(memory)
    reached = settle(model, memory, case, gas=False, name=step.name)
    trace.append((float(reached.memory.time[0]), float(reached.force.mean())))
    fired = None
    if case.gas_force > 0.0:
        # peaks are short against the cycle: what lasts is the state without gas
        fired = settle(model, reached.memory, case, name=step.name)
        if not _same(fired.memory, reached.memory):
            reached = settle(model, fired.memory, case, gas=False, name=step.name)
    begun = reached
    reached = hold(model, reached, case, step.duration, trace, name=step.name)
    made = _record(model, _Done(position.step, step.name, step.kind, cycle, case), reached, trace)
    made = dataclasses.replace(
        made, first_force=begun.force, pressed=pressed(model.reduced, begun.equilibrium, reached.equilibrium)
    )
    cold = model.joint.load_cases[0].temperatures
    if not ends:
        made = dataclasses.replace(made, cold_force=None)
    elif case.temperatures != cold:
        made = dataclasses.replace(made, cold_force=cold_force(model, reached.memory, step.name))
    if fired is not None:
        last = fired if step.duration == 0.0 else settle(model, reached.memory, case, name=step.name)
        seals = [seal_of(model.lines(one.equilibrium)) for one in (fired, last)]
        made = dataclasses.replace(
            made,
            first_fired_force=fired.force,
            fired_force=last.force,
            fired_sealing=min(one.pressure for one in seals),
            fired_line_load=min(one.line_load for one in seals),
            stroke=stroke_of(model.lines(last.equilibrium), model.lines(reached.equilibrium)),
            pressed=pressed(model.reduced, begun.equilibrium, reached.equilibrium, fired.equilibrium, last.equilibrium),
            pressure_cycles=step.cycles,
        )
    return made, reached.memory, None


def _same(one: Memory, other: Memory) -> bool:
    """Return whether gasket and fasteners remember the same."""
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in ("permanent_set", "plastic"))


@dataclass(frozen=True)
class _Done:
    """What was done in a step: its number, name, kind, cycle and load case, as `Record` has them."""

    step: int
    name: str
    kind: str
    cycle: int
    case: LoadCase | None = None


def _record(model: ServiceModel, done: _Done, at: Reached, trace: Trace) -> Record:
    """Return the record of a step that ends in `at`, taken to be cold."""
    force, seal = at.force, seal_of(model.lines(at.equilibrium))
    return Record(
        step=done.step,
        name=done.name,
        kind=done.kind,
        cycle=done.cycle,
        case=done.case,
        force=force,
        first_force=force,
        first_fired_force=None,
        fired_force=None,
        cold_force=force,
        sealing=seal.pressure,
        line_load=seal.line_load,
        fired_sealing=None,
        fired_line_load=None,
        stroke=None,
        pressed=pressed(model.reduced, at.equilibrium),
        turning=None,
        trace=np.array(trace or [(float(at.memory.time[0]), float(force.mean()))]),
        memory=at.memory,
    )
