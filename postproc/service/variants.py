"""What would have been: the same service without a retorque, with one, dry, on a fastener used again, and its range.

Variants run on a quick model: the condensed finite elements of one fastener, or for a bore cell the closed-form chain.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.memory import Memory
from headjoint.cases.service.model import service_of
from headjoint.cases.service.run import Service, run_service
from headjoint.cases.service.steps import FractureError
from headjoint.cases.service.tightening import tighten
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import TESTED_RATIO, relaxation_range
from headjoint.model.reading.service_reading import duration_text
from headjoint.model.service import Change, Hold, Repeat, Retorque, Step, Tighten

MOST_REUSES = 10
EMBEDDING_RANGE = 0.5  # plus-minus; VDI 2230-1 gives guide values only: from memory, low confidence


@dataclass(frozen=True)
class RetorqueBenefit:
    """Mean clamp (N) before the next tightening, or at the end, with and without tightening on; what is done when.

    moved : False where the torque does not break the nut away, so that nothing happens.
    """

    what: str
    with_it: float
    without: float
    moved: bool

    @property
    def gain(self) -> float:
        """Clamp gained, N."""
        return self.with_it - self.without


@dataclass(frozen=True)
class DryTightening:
    """Mean clamp (N) after the first tightening as stated, and with the threads or all faces dry, at the same torque.

    None where a fastener would break.
    """

    friction: float
    oiled: float
    dry_threads: float | None
    dry: float | None


@dataclass(frozen=True)
class Reuse:
    """Whether a fastener may be used again. Strains 1, lengths mm, forces N.

    strain : plastic strain of its weakest length, named `weakest`. uniform : A_g, where necking begins. limit : strain
    up to which it is used again. longer : permanent elongation. times : how often the same tightening may follow before
    strain or fracture end it; None for more than `MOST_REUSES`. breaks : whether the next one would break it. clamp :
    after each further tightening. load, stretch_new, stretch_again : stretch at the same load in the first use and the
    next, each from its own start; stretch_in_all : of the next use from new.
    """

    strain: float
    weakest: str
    uniform: float
    limit: float
    longer: float
    times: int | None
    breaks: bool
    clamp: tuple[float, ...]
    load: float
    stretch_new: float
    stretch_again: float | None
    stretch_in_all: float | None


@dataclass(frozen=True)
class Range:
    """One uncertain input: clamp at the end (N) at its low and its high value, and what they are."""

    name: str
    values: str
    low: float
    high: float


def last_clamp(service: Service) -> float:
    """Return the mean cold clamp (N) at the end of a service."""
    force = service.records[-1].cold_force
    assert force is not None
    return service.model.mean(force)


def retorque_benefits(done: Service) -> tuple[RetorqueBenefit, ...]:
    """Return the benefit of every retorque of a service, or of those that suggest themselves where it has none."""
    found = []
    model, steps = done.model, done.steps
    own = [index for index, step in enumerate(steps) if isinstance(step, Retorque)]
    for index in own:
        # what it gives lasts until the next tightening or letting go
        later = (n for n in range(index + 1, len(steps)) if isinstance(steps[n], (Tighten, Retorque, Change)))
        until = next(later, len(steps))
        kept = done.last_of(until - 1).cold_force
        assert kept is not None
        fewer = [step for number, step in enumerate(steps[:until]) if number != index]
        turning = done.last_of(index).turning
        name = f"{steps[index].name} (step {index + 1})"
        without = last_clamp(run_service(model, fewer))
        found.append(RetorqueBenefit(name, model.mean(kept), without, turning is None or turning.moved))
    if own or sum(isinstance(step, Tighten) for step in steps) > 1:
        return tuple(found)
    for what, index, more in _suggested(steps):
        other = run_service(model, more)
        if other.broken is None:
            turning = other.last_of(index).turning
            moved = turning is None or turning.moved
            found.append(RetorqueBenefit(what, last_clamp(other), last_clamp(done), moved))
    return tuple(found)


def _suggested(steps: Sequence[Step]) -> list[tuple[str, int, list[Step]]]:
    """Return services that tighten on after the first wait and after the first heat cycle, and where they do so."""
    first = steps[0]
    if not isinstance(first, Tighten):
        return []
    ways: list[tuple[str, Step]] = []
    if first.torques and not first.angles and first.gradient is None:
        on = Retorque("retorque", first.torques[-1], None, first.thread_friction, first.bearing_friction)
        ways.append(("retorque to the same torque", on))
    ways.append(("let go and tighten again", dataclasses.replace(first, name="tighten again", again=True)))
    places: list[tuple[str, list[Step], list[Step]]] = []
    wait = next((n for n, step in enumerate(steps) if isinstance(step, Hold) and step.kind == "wait"), None)
    if wait is not None and wait < len(steps) - 1:
        hold = steps[wait]
        assert isinstance(hold, Hold)
        name = f"after waiting {duration_text(hold.duration)}"
        places.append((name, list(steps[: wait + 1]), list(steps[wait + 1 :])))
    repeat = next((n for n, step in enumerate(steps) if isinstance(step, Repeat)), None)
    if repeat is not None:
        cycles = steps[repeat]
        assert isinstance(cycles, Repeat)
        rest: list[Step] = [dataclasses.replace(cycles, times=cycles.times - 1)] if cycles.times > 1 else []
        places.append(("after the first heat cycle", [*steps[:repeat], *cycles.steps], [*rest, *steps[repeat + 1 :]]))
    return [
        (f"{what} {name}", len(before), [*before, way, *after]) for name, before, after in places for what, way in ways
    ]


def dry_tightening(service: Service) -> DryTightening | None:
    """Return the first tightening with dry threads, and all dry; None where it goes by no torque or is dry already."""
    model, first, oiled = service.model, service.steps[0], service.records[0].cold_force
    if not isinstance(first, Tighten) or not first.torques or service.records[0].turning is None or oiled is None:
        return None
    friction = model.joint.ageing.dry_friction
    if friction <= max(first.thread_friction, first.bearing_friction):
        return None
    threads = dataclasses.replace(first, thread_friction=friction)
    clamps = []
    for step in (threads, dataclasses.replace(threads, bearing_friction=friction)):
        done = run_service(model, [step])
        clamps.append(None if done.broken is not None else last_clamp(done))
    return DryTightening(friction, model.mean(oiled), *clamps) if model.mean(oiled) > 0.0 else None


def reuse(service: Service) -> Reuse | None:
    """Return what the fastener is good for after a service; None where it was not tightened first."""
    model, first, record = service.model, service.steps[0], service.records[0]
    if not isinstance(first, Tighten) or record.turning is None or service.broken is not None:
        return None
    memory = service.records[-1].memory
    law = model.law
    limit = model.joint.ageing.permanent_limit
    strain, number, weakest = _weakest(memory)
    load = float(record.turning.force.max())
    times, clamp, again, in_all, breaks = 0, [], None, None, False
    longer = float(law.permanent(memory.strains)[number])
    tightened = memory
    step = dataclasses.replace(first, name="tighten again", again=True)
    while times < MOST_REUSES and _weakest(tightened)[0] <= limit:
        before = float(np.mean(law.permanent(tightened.strains)))
        try:
            reached, turning = tighten(model, tightened, step)
        except FractureError:
            breaks = True
            break
        if again is None:
            peak = float(turning.force.max())
            # at the load of the first use, on the same elastic line
            again = turning.stretch + (load - peak) * float(law.lengths.elastic.sum())
            in_all = again + before
        tightened = reached.memory
        if _weakest(tightened)[0] > limit:
            break
        clamp.append(float(reached.force.mean()))
        times += 1
    return Reuse(
        strain=strain,
        weakest=law.lengths.names[weakest],
        uniform=law.flow.uniform_elongation,
        limit=limit,
        longer=longer,
        times=None if times == MOST_REUSES else times,
        breaks=breaks,
        clamp=tuple(clamp),
        load=load,
        stretch_new=record.turning.stretch,
        stretch_again=again,
        stretch_in_all=in_all,
    )


def _weakest(memory: Memory) -> tuple[float, int, int]:
    """Return the greatest plastic strain, and the numbers of its fastener and its length."""
    number, length = np.unravel_index(int(memory.plastic.argmax()), memory.plastic.shape)
    return float(memory.plastic.max()), int(number), int(length)


def uncertainty(chain: Service) -> tuple[Range, ...]:
    """Return what the clamp at the end of a service of the closed-form chain becomes at each input's low and high end.

    Inputs: tightening scatter, each gasket law's range, creep, relaxation and embedding. A variant that breaks a
    fastener counts as no clamp.
    """

    joint, steps = chain.model.joint, chain.steps

    def clamp(changed: Joint, service: Sequence[Step]) -> float:
        done = run_service(service_of(chain_of(changed)), service)
        return 0.0 if done.broken is not None else last_clamp(done)

    scatter = joint.tightening.scatter
    # where an angle or the yield point ends the turning, what scatters is the fastener's own strength
    turns_on = any(isinstance(step, Tighten) and (step.angles or step.gradient is not None) for step in steps)
    ranges = [
        Range(
            "tightening",
            f"plus-minus {100 * scatter:.0f} % of {'strength and snug torque' if turns_on else 'force'}, "
            f"{joint.tightening.scatter_name}",
            *(
                clamp(_with_strength(joint, factor) if turns_on else joint, _scaled_steps(steps, factor))
                for factor in (1.0 - scatter, 1.0 + scatter)
            ),
        )
    ]
    most = max(float(record.force.max()) for record in chain.records) / joint.fastener.smallest_area
    ratio = most / chain.model.law.flow.ultimate
    wider = relaxation_range(ratio)
    said = "half to twice"
    if ratio > TESTED_RATIO:
        said = f"{1.0 / wider:.2g} to {wider:.2g} times: extrapolated to {ratio:.2f} of R_m, tested to {TESTED_RATIO:g}"
    inputs = (
        ("gasket laws", "their range of pressure", lambda sign: _with_laws(joint, sign, 1.0)),
        ("gasket creep", "half to twice", lambda sign: _with_laws(joint, 0.0, 2.0**-sign)),
        ("fastener relaxation", said, lambda sign: _with_relaxation(joint, wider**-sign)),
        ("bearing set", "a third to three times", lambda sign: _with_bearing_set(joint, 3.0**-sign)),
        (
            "embedding",
            f"plus-minus {100 * EMBEDDING_RANGE:.0f} % of f_Z",
            lambda sign: _with_embedding(joint, 1.0 - sign * EMBEDDING_RANGE),
        ),
    )
    for name, values, of in inputs:
        ends = sorted(clamp(of(sign), steps) for sign in (-1.0, 1.0))
        ranges.append(Range(name, values, *ends))
    return tuple(ranges)


def _scaled_steps(steps: Sequence[Step], factor: float) -> list[Step]:
    """Return the steps with every torque, snug force, pull, preload and stretch times a factor; angles stay."""

    def times(value: float | None) -> float | None:
        return None if value is None else factor * value

    def scaled(step: Step) -> Step:
        if isinstance(step, Retorque):
            return dataclasses.replace(step, torque=times(step.torque))
        if not isinstance(step, Tighten):
            return step
        return dataclasses.replace(
            step,
            torques=tuple(factor * torque for torque in step.torques),
            snug=times(step.snug),
            stretch=times(step.stretch),
            pull=times(step.pull),
            preload=times(step.preload),
        )

    return [scaled(step) for step in steps]


def _with_strength(joint: Joint, factor: float) -> Joint:
    """Return the joint with a fastener of other strength."""
    flow = joint.fastener.flow
    assert flow is not None
    return dataclasses.replace(joint, fastener=dataclasses.replace(joint.fastener, flow=flow.times(factor)))


def _with_laws(joint: Joint, sign: float, creep_factor: float) -> Joint:
    """Return the joint with every law's pressures at one end of its range, and its creep times a factor."""
    zones = []
    for zone in joint.gasket.zones:
        law = zone.law
        creep = law.creep
        if creep is not None:
            creep = dataclasses.replace(creep, rate=creep.rate.times(creep_factor))
        law = dataclasses.replace(law.scaled(1.0 + sign * (law.spread or 0.0)), creep=creep)
        zones.append(dataclasses.replace(zone, law=law))
    return dataclasses.replace(joint, gasket=dataclasses.replace(joint.gasket, zones=tuple(zones)))


def _with_relaxation(joint: Joint, factor: float) -> Joint:
    law = joint.fastener.relaxation
    law = dataclasses.replace(law, loss_1000h=factor * law.loss_1000h)
    return dataclasses.replace(joint, fastener=dataclasses.replace(joint.fastener, relaxation=law))


def _with_bearing_set(joint: Joint, factor: float) -> Joint:
    stated, table = joint.ageing.bearing_set, joint.head.material.bearing_set
    ageing = dataclasses.replace(joint.ageing, bearing_set=None if stated is None else factor * stated)
    material = joint.head.material
    if table is not None:
        material = dataclasses.replace(material, bearing_set=table.times(factor))
    return dataclasses.replace(joint, ageing=ageing, head=dataclasses.replace(joint.head, material=material))


def _with_embedding(joint: Joint, factor: float) -> Joint:
    tight = dataclasses.replace(joint.tightening, embedding=factor * joint.tightening.embedding)
    return dataclasses.replace(joint, tightening=tight)
