"""A warm-up: heat in time, its strain condensed at every instant, the clamp that makes.

Heat and clamp march together: after every step of the heat the joint is solved, and faces in contact conduct by the
pressures that leaves. Gasket and fastener remember set, yield and creep on the way. Stiffness follows temperature
between that of assembly and that of the hottest steady state. Instants round the extremes of clamp and sealing are put
in afterwards, by the parabolas that the heat's own steps leave.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.heat.contacts import moved
from headjoint.cases.heat.problem import Contact, steady
from headjoint.cases.heat.transient import HeatHistory, HeatStep, Watch, transient
from headjoint.cases.models.condensed import chain_of, pressed, seal_of, stroke_of
from headjoint.cases.service.head_room import factor_in_service
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.steps import FractureError, Reached, age, settle
from headjoint.cases.service.tightened import assembled_and_settled, cold_and_settled, strengthened, tightened
from headjoint.cases.warm_up.heated_joint import Heated, heated
from headjoint.cases.warm_up.hot_stiffness import HotStiffness, exact_model, hot_stiffness, softened
from headjoint.cases.warm_up.instant import Instant, WarmUpAtPreload
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell
from headjoint.model.formulas.sealing import Seal, seal_need
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.heat.duty import HeatDuty
from headjoint.model.joint import PARTS, Joint
from headjoint.model.load_case import LoadCase

TOLERANCE = 1.0  # K, error in time; what is reached is mostly half of it
FEWEST = 30  # steps at least over a warm-up, so that none passes an extreme by
WORTH = 2.0  # K that any place must move by before the joint is solved again
FINE = 2  # instants added on either side of an extreme
ALIKE = 0.999  # of the greatest heat of the gas: as hot


@dataclass(frozen=True)
class Checkpoint:
    """An instant with all that the march goes on from.

    temperature : (m,) nodal degC. rest, chain : states without gas of the joint and of its closed-form chain, and what
    they remember after the gas.
    """

    instant: Instant
    temperature: FloatArray = field(repr=False)
    rest: Reached = field(repr=False)
    chain: Reached = field(repr=False)


@dataclass(frozen=True)
class WarmUp:
    """A warm-up by a duty: clamp N when tightened, settled and cold, checkpoints in order, the heat they follow from.

    found : what the nominal tightening gives. zones : greatest pressure of every gasket zone at assembly, MPa. least,
    greatest : the same at the ends of its scatter, at the temperatures of the nominal joint. stiffness_effect : change
    of the greatest clamp because stiffness follows temperature, and stiffness_error : what interpolating it leaves
    there, both as shares of the tightened clamp; None where nothing gets hot or nobody asked. contact_updates : how
    often faces were told of new pressures.
    """

    joint: Joint
    duty: HeatDuty
    found: Tightened
    tightened: float
    zones: dict[str, float]
    checkpoints: tuple[Checkpoint, ...] = field(repr=False)
    heat: HeatHistory = field(repr=False)
    steps: tuple[HeatStep, ...] = field(repr=False)
    march: March = field(repr=False)
    contact_updates: int
    least: WarmUpAtPreload | None = None
    greatest: WarmUpAtPreload | None = None
    stiffness_effect: float | None = None
    stiffness_error: float | None = None

    @property
    def instants(self) -> tuple[Instant, ...]:
        """All instants in order, the start included."""
        return tuple(one.instant for one in self.checkpoints)

    @property
    def nominal(self) -> WarmUpAtPreload:
        """The warm-up at the nominal preload."""
        return WarmUpAtPreload(self.found, self.tightened, self.zones, self.instants)

    @property
    def ends(self) -> tuple[WarmUpAtPreload, WarmUpAtPreload] | None:
        """The least and the greatest tightening, None where they are one or nobody asked."""
        if self.least is None or self.greatest is None or self.least.preload == self.greatest.preload:
            return None
        return self.least, self.greatest

    def moment(self, time: float) -> Checkpoint:
        """Return the checkpoint at a time (s): one that was reached, or one that follows from the last before it."""
        before = [one for one in self.checkpoints if one.instant.time <= time]
        if before[-1].instant.time == time:
            return before[-1]
        step = next(one for one in self.steps if time <= one.end)
        return self.march.after(before[-1], time, step.at(time))

    def extreme(self, value: Callable[[Instant], float]) -> Instant:
        """Return the instant at which `value` is greatest."""
        return max(self.instants, key=value)


@dataclass
class March:
    """Clamp marching along with heat, from what was to the next instant; `loads` by time, each condensed once."""

    heated: Heated
    duty: HeatDuty
    stiffness: HotStiffness
    chain: ServiceModel
    loads: dict[float, FloatArray] = field(default_factory=dict, repr=False)

    def strengthened(self, found: Tightened) -> March:
        """Return the march of fasteners as strong as a tightening takes them to be."""
        heated = dataclasses.replace(self.heated, model=strengthened(self.heated.model, found))
        stiffness = dataclasses.replace(self.stiffness, heated=heated)
        return dataclasses.replace(self, heated=heated, stiffness=stiffness, chain=strengthened(self.chain, found))

    def load(self, time: float, temperature: FloatArray) -> FloatArray:
        """Return the condensed load (n,) of the temperatures at a time."""
        if time not in self.loads:
            self.loads[time] = self.stiffness.load(temperature)
        return self.loads[time]

    def case(self, time: float, temperatures: dict[str, float]) -> LoadCase:
        """Return the load case of an instant: mean temperatures of the parts, and the gas of the duty."""
        gas, pressure = self.heated.model.joint.gas, self.duty.gas_pressure(time)
        means = {part: temperatures[f"{part} mean"] for part in PARTS}
        force = pressure * gas.force_area if gas is not None else 0.0
        return LoadCase(f"{time:.0f} s", "firing" if pressure > 0.0 else "hot", means, pressure, force)

    def advanced(self, rest: Reached, chain: Reached, since: float, time: float, temperature: FloatArray) -> Checkpoint:
        """Return the checkpoint at `time` (s) with nodal temperatures, after states reached at `since`.

        Raises SolveError where a state does not converge or balance, or a fastener breaks.
        """
        model = self.stiffness.model(temperature)
        temperatures = {name: read(temperature) for name, read in self.heated.places.items()}
        case = self.case(time, temperatures)
        load, name = self.load(time, temperature), f"warm-up, {time:.0f} s"
        try:
            rest, fired = _both(model, rest, case, time - since, load, name)
            chain_model = softened(self.chain, temperatures["fastener mean"])
            chain, _ = _both(chain_model, chain, case, time - since, None, f"{name}, estimate")
        except FractureError as fracture:
            raise SolveError(f"{name}: {fracture}") from None
        forces, lines = rest.force, model.lines(rest.equilibrium)
        seal, burning, stroke, states = seal_of(lines), None, None, [rest.equilibrium]
        if fired is not None:
            forces = np.concatenate([forces, fired.force])
            burning, stroke = seal_of(opened := model.lines(fired.equilibrium)), stroke_of(opened, lines)
            states.append(fired.equilibrium)
        instant = Instant(
            time=time,
            temperatures=temperatures,
            hottest={part: read(temperature) for part, read in self.heated.hottest.items()},
            force=model.mean(rest.force),
            least_force=float(forces.min()),
            greatest_force=float(forces.max()),
            fired_force=None if fired is None else model.mean(fired.force),
            amplitude=None if fired is None else float(np.abs(fired.force - rest.force).max()) / 2.0,
            sealing=seal.pressure,
            line_load=seal.line_load,
            fired_sealing=None if burning is None else burning.pressure,
            fired_line_load=None if burning is None else burning.line_load,
            stroke=stroke,
            gas_pressure=case.gas_pressure,
            zone_greatest=pressed(model.reduced, *states),
            plastic=float(rest.memory.plastic.max()),
            gasket_set=float(rest.memory.permanent_set.max()),
            estimate=self.chain.mean(chain.force),
        )
        return Checkpoint(instant, temperature, rest, chain)

    def head_room(self, checkpoints: Sequence[Checkpoint]) -> tuple[int, float | None] | None:
        """Return the checkpoint at which sealing has least in hand under gas, and the factor on gas that seals there.

        Raises SolveError where a trial does not converge or balance.
        """
        joint, found = self.heated.model.joint, {}
        for number, one in enumerate(checkpoints):
            at = one.instant
            if at.fired_sealing is not None and at.fired_line_load is not None:
                found[number] = seal_need(joint, at.gas_pressure).met(Seal(at.fired_sealing, at.fired_line_load))
        if not found:
            return None
        number = min(found, key=lambda one: found[one])
        worst = checkpoints[number]
        time, temperature = worst.instant.time, worst.temperature
        model, case = self.stiffness.model(temperature), self.case(time, worst.instant.temperatures)
        return number, factor_in_service(model, worst.rest.memory, case, self.load(time, temperature))

    def due(self, before: Checkpoint, step: HeatStep) -> bool:
        """Return whether the joint is to be solved at the end of a step: something moved, or the time is up."""
        if step.end - before.instant.time > self.duty.duration / FEWEST or step.end == self.duty.duration:
            return True
        gas = self.duty.gas_pressure(step.end)
        if gas != before.instant.gas_pressure and 0.0 in (gas, before.instant.gas_pressure):
            return True
        places, was = self.heated.places, before.instant.temperatures
        return any(abs(read(step.temperature) - was[name]) > WORTH for name, read in places.items())

    def after(self, before: Checkpoint, time: float, temperature: FloatArray) -> Checkpoint:
        """Return the checkpoint at `time` (s) that follows another."""
        return self.advanced(before.rest, before.chain, before.instant.time, time, temperature)


def _both(
    model: ServiceModel, was: Reached, case: LoadCase, duration: float, load: FloatArray | None, name: str
) -> tuple[Reached, Reached | None]:
    """Return the state without gas, after ageing since the state before, and the one with gas.

    Both remember what the gas did.
    """
    memory = was.memory
    if duration > 0.0:
        memory, _ = age(model, was, case, duration)
    rest = settle(model, memory, case, gas=False, duration=duration, heat=load, name=name)
    if case.gas_force <= 0.0:
        return rest, None
    fired = settle(model, rest.memory, case, heat=load, name=f"{name}, firing")
    return Reached(fired.memory, rest.equilibrium), fired


def warm_up(stated: Joint | Cell, stage: Callable[[str], None] = lambda name: None) -> WarmUp:
    """Return the warm-up of a joint or cell by its duty.

    Raises InputError where heat or yield cannot be known, SolveError where a solve does not converge or balance.
    """
    warmed = nominal_warm_up(stated, stage, 1.0)
    stage("stiffness at the greatest clamp, condensed anew")
    return _with_stiffness_checked(warmed)


def nominal_warm_up(stated: Joint | Cell, stage: Callable[[str], None], refinement: float) -> WarmUp:
    """Return the warm-up at the nominal preload, on a mesh so many times as fine as usual."""
    stage("mesh and condense")
    ready = heated(stated, refinement)
    duty = ready.model.joint.heat
    found = tightened(ready.model.base)
    return warmed_up(ready, duty, found, stiffness_of(ready, duty, found, stage), stage)


def march_of(ready: Heated, duty: HeatDuty, stiffness: HotStiffness) -> March:
    """Return the march by a duty of what is ready to be heated."""
    return March(ready, duty, stiffness, service_of(chain_of(ready.model.joint)))


def warmed_up(
    ready: Heated, duty: HeatDuty, found: Tightened, stiffness: HotStiffness, stage: Callable[[str], None]
) -> WarmUp:
    """Return the warm-up by a duty of what is ready to be heated, from what its tightening gives."""
    stage("tighten")
    march = march_of(ready, duty, stiffness)
    (on, tight), chain = assembled_and_settled(ready.model, found), cold_and_settled(march.chain, found)
    cold = np.full(ready.body.count, duty.start_temperature)
    start = march.advanced(tight, chain, 0.0, 0.0, cold)
    problem = ready.problem(duty, start.rest)
    checkpoints: list[Checkpoint] = []
    steps: list[HeatStep] = []
    updates = 0

    def watch() -> Watch:
        nonlocal updates
        checkpoints[:], steps[:], updates = [start], [], 0
        contacts = problem.contacts

        def told(step: HeatStep) -> tuple[Contact, ...] | None:
            nonlocal contacts, updates
            stage(f"heat and clamp: {step.end:.0f} of {duty.duration:.0f} s")
            steps.append(step)
            if not march.due(checkpoints[-1], step):
                return None
            checkpoints.append(march.after(checkpoints[-1], float(step.end), step.temperature))
            now = ready.contacts(checkpoints[-1].rest)
            if not moved(contacts, now):
                return None
            contacts, updates = now, updates + 1
            return now

        return told

    longest = duty.duration / FEWEST
    history = transient(problem, duty.start_temperature, duty.duration, TOLERANCE, watch=watch, longest_step=longest)
    stage("instants round the extremes")
    looked_at = _closer(march, checkpoints, steps)
    clamp, zones = ready.model.mean(tight.force), pressed(ready.model.reduced, on.equilibrium)
    steps_taken = tuple(steps)
    return WarmUp(ready.model.joint, duty, found, clamp, zones, looked_at, history, steps_taken, march, updates)


def stiffness_of(ready: Heated, duty: HeatDuty, found: Tightened, stage: Callable[[str], None]) -> HotStiffness:
    """Return the stiffness between that of assembly and that of the steady state under the greatest heat of a duty."""
    stage("stiffness at temperature")
    problem = ready.problem(duty, cold_and_settled(ready.model, found))
    return hot_stiffness(ready, steady(problem, _hottest_time(duty), duty.start_temperature).temperature)


def _hottest_time(duty: HeatDuty) -> float:
    """Return the time (s) under whose gas and coolant the joint would get hottest."""
    at = sorted({*duty.gas_film.times, *duty.gas_temperature.times, *duty.coolant_temperature.times})
    gas = np.array([duty.gas_film(time) * duty.gas_temperature(time) for time in at])
    coolant = np.array([duty.coolant_temperature(time) for time in at])
    coolant[gas < ALIKE * gas.max()] = -math.inf
    return at[int(coolant.argmax())]


def _closer(march: March, checkpoints: Sequence[Checkpoint], steps: Sequence[HeatStep]) -> tuple[Checkpoint, ...]:
    """Return the checkpoints with more of them round the extremes of clamp and of sealing.

    Each of these follows from the ones before it; those after it keep what they remembered without it.
    """
    instants = [checkpoint.instant for checkpoint in checkpoints]
    wanted = [lambda instant: instant.force, lambda instant: -instant.force]
    if any(instant.fired_sealing is not None for instant in instants):
        wanted.append(lambda instant: -math.inf if instant.fired_sealing is None else -instant.fired_sealing)
    closer = list(checkpoints)
    for value in wanted:
        values = [value(instant) for instant in instants]
        at = values.index(max(values))
        for before, after in zip(checkpoints[max(at - 1, 0) : at + 1], checkpoints[max(at, 1) : at + 2], strict=False):
            checkpoint = before
            for time in np.linspace(before.instant.time, after.instant.time, FINE + 2)[1:-1].tolist():
                step = next(due for due in steps if time <= due.end)
                checkpoint = march.after(checkpoint, time, step.at(time))
                closer.append(checkpoint)
    by_time = {checkpoint.instant.time: checkpoint for checkpoint in closer}
    return tuple(by_time[time] for time in sorted(by_time))


def _with_stiffness_checked(warmed: WarmUp) -> WarmUp:
    """Return the warm-up with what stiffness at temperature does to its greatest clamp, condensed anew there."""
    march, ready = warmed.march, warmed.march.heated
    if march.stiffness.hot is None:
        return warmed
    checkpoint = max(warmed.checkpoints, key=lambda one: one.instant.force)
    T, instant = checkpoint.temperature, checkpoint.instant
    case = march.case(instant.time, instant.temperatures)
    exact, exact_load = exact_model(ready, T)
    forces = [
        model.mean(settle(model, checkpoint.rest.memory, case, gas=False, heat=load, name="stiffness").force)
        for model, load in (
            (ready.model, ready.cold.load(T)),
            (march.stiffness.model(T), march.load(instant.time, T)),
            (exact, exact_load),
        )
    ]
    as_assembled, interpolated, anew = (force / warmed.tightened for force in forces)
    return dataclasses.replace(warmed, stiffness_effect=anew - as_assembled, stiffness_error=interpolated - anew)
