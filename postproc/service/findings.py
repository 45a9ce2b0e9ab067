"""From a service to findings: clamp step by step, where it went, what a retorque gives, reuse, fatigue, verdict."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.jobs import Served
from headjoint.cases.service.run import Record, Service
from headjoint.cases.service.scatter import tightenings_of
from headjoint.cases.service.tightened import tightened
from headjoint.model.base.figure import Text, force, said, share
from headjoint.model.base.rich import Rich
from headjoint.model.formulas.estimate import estimate as closed_form
from headjoint.model.formulas.turning import travel_of
from headjoint.model.joint import Joint
from headjoint.model.service import Change, Repeat, Tighten
from headjoint.postproc.present.mesh_errors import compared, doubted
from headjoint.postproc.service.fatigue import ServiceFatigue, service_fatigue
from headjoint.postproc.service.loss_split import LossSplit, split_loss
from headjoint.postproc.service.states import latest_tightening, peak_of, service_states, with_head_room
from headjoint.postproc.service.variants import (
    DryTightening,
    Range,
    RetorqueBenefit,
    Reuse,
    dry_tightening,
    last_clamp,
    retorque_benefits,
    reuse,
    uncertainty,
)
from headjoint.postproc.verdict.condensed_seen import seen_of
from headjoint.postproc.verdict.requirement import Judged, ServiceFigures
from headjoint.postproc.verdict.verdict import Verdict, judge

SHOWN_CYCLES = (1, 10, 100, 1000, 10_000, 100_000)


@dataclass(frozen=True)
class ServiceRow:
    """One step, or one cycle of a block, at its end; forces N (means of all fasteners), pressures MPa, time s.

    clamp : at the step's own temperatures without gas; fired with it. cold : at assembly temperature. peak : of the
    latest tightening, or of a retorque since; kept : cold over it. estimate : cold by the closed-form chain. least :
    cold, of the fastener that carries least.
    """

    step: int
    name: str
    kind: str
    cycle: int
    time: float
    clamp: float
    fired: float | None
    cold: float | None
    least: float | None
    peak: float | None
    kept: float | None
    estimate: float | None
    sealing: float
    fired_sealing: float | None


@dataclass(frozen=True)
class SplitRow:
    """The loss at the end of one step by cause, by finite elements and by the chain."""

    step: int
    name: str
    finite_elements: LossSplit
    estimate: LossSplit | None


@dataclass(frozen=True)
class BlockFindings:
    """What a block of cycles does: clamp kept over it, whether it has shaken down, loss that as many cycles again add.

    kept : cold clamp after it over that before it. next_loss : share of clamp, None where
    there were too few cycles to tell.
    """

    step: int
    name: str
    times: int
    run_in_full: int
    kept: float
    shaken: bool
    next_loss: float | None


@dataclass(frozen=True)
class ServiceFindings(Rich):
    """All that a user is told of a service.

    quick : what the variants ran on. unbounded : why mesh errors are not known, "" where they are.
    """

    joint: Joint
    service: Service = field(repr=False)
    estimate: Service = field(repr=False)
    rows: tuple[ServiceRow, ...]
    splits: tuple[SplitRow, ...]
    blocks: tuple[BlockFindings, ...]
    retorques: tuple[RetorqueBenefit, ...]
    dry: DryTightening | None
    reuse: Reuse | None
    fatigue: ServiceFatigue
    chain_clamp: float
    ranges: tuple[Range, ...]
    verdict: Verdict
    unbounded: str
    quick: str
    seconds: dict[str, float]

    @property
    def closed_form_slope(self) -> float:
        """Fastener force over angle (N/rad) once the gasket bears: pitch/2 pi over delta_S + delta_P + delta_G."""
        preload = tightened(chain_of(self.joint)).preload
        return travel_of(self.joint, 1.0) / closed_form(self.joint, preload).cut_compliance

    @property
    def kept_range(self) -> tuple[float, float, float]:
        """Clamp at the end (N), its low and its high end: the inputs' ranges combined as independent."""
        end = self.rows[-1].cold or 0.0
        scale = end / self.chain_clamp if self.chain_clamp > 0.0 else 0.0
        low = math.sqrt(sum(max(0.0, self.chain_clamp - one.low) ** 2 for one in self.ranges)) * scale
        high = math.sqrt(sum(max(0.0, one.high - self.chain_clamp) ** 2 for one in self.ranges)) * scale
        return end, max(0.0, end - low), end + high


def assess_service(
    served: Served, *, single: bool, stage: Callable[[str], None] = lambda name: None
) -> ServiceFindings:
    """Return the findings of a service; `single` says whether variants may run on its own model.

    Raises SolveError where a variant does not come to equilibrium.
    """
    service, estimate = served.nominal, served.chain
    joint = service.model.joint
    quick = service if single else estimate
    stage("loss by cause")
    splits = _splits(service, estimate)
    unbroken = service.broken is None and estimate.broken is None
    stage("retorque")
    retorques = retorque_benefits(quick) if unbroken else ()
    stage("reuse and friction")
    dry, again = dry_tightening(quick), reuse(quick)
    stage("uncertainty")
    chain_clamp, ranges = (last_clamp(estimate), uncertainty(estimate)) if unbroken else (0.0, ())
    stage("fatigue")
    fatigue = service_fatigue(service)
    rows = _rows(service, estimate)
    coarse, unbounded = compared(
        served.coarse, lambda one: _judged(one, service_fatigue(one.nominal)), served.unbounded
    )
    return ServiceFindings(
        joint=joint,
        service=service,
        estimate=estimate,
        rows=rows,
        splits=splits,
        blocks=_blocks(service),
        retorques=retorques,
        dry=dry,
        reuse=again,
        fatigue=fatigue,
        chain_clamp=chain_clamp,
        ranges=ranges,
        verdict=judge(doubted(_judged(served, fatigue), unbounded), _fracture(served), coarse),
        unbounded=unbounded,
        quick="finite elements" if single else "the closed-form chain",
        seconds=served.seconds,
    )


def _splits(service: Service, estimate: Service) -> tuple[SplitRow, ...]:
    """Return the loss by cause at the end of every top-level step that loses some."""
    rows = []
    for number, step in enumerate(service.steps):
        if isinstance(step, Change) or not any(record.step == number for record in service.records):
            continue
        record = service.last_of(number)
        latest = latest_tightening(service, record)
        if latest is None or (service.broken is not None and record is service.records[-1]):
            continue
        other = None
        ran = [one for one in estimate.records if one.step == number]
        if ran and estimate.broken is None:
            first = next(one for one in estimate.records if one.step == latest.step)
            other = split_loss(estimate.model, first, ran[-1])
        rows.append(SplitRow(number, record.name, split_loss(service.model, latest, record), other))
    return tuple(rows)


def shown(service: Service) -> list[Record]:
    """Return the records worth a row: every step's end, and of blocks cycles 1, 10, 100 ... and the last."""
    found = []
    for index, record in enumerate(service.records):
        step = service.steps[record.step]
        if isinstance(step, Repeat):
            later = [one for one in service.records[index + 1 :] if one.step == record.step]
            last = not later or all(one.cycle == record.cycle for one in later)
            cycles = sorted({one.cycle for one in service.records if one.step == record.step})
            nearest = {_nearest(cycles, wanted) for wanted in SHOWN_CYCLES if wanted < cycles[-1]}
            if not last and record.cycle not in nearest:
                continue
        found.append(record)
    return found


def _nearest(cycles: Sequence[int], wanted: int) -> int:
    return min(cycles, key=lambda cycle: abs(cycle - wanted))


def _rows(service: Service, estimate: Service) -> tuple[ServiceRow, ...]:
    model = service.model
    places, beside_at = _places(service.records), _places(estimate.records)
    by_place = dict(zip(beside_at, estimate.records, strict=True))
    place_of = {id(record): where for record, where in zip(service.records, places, strict=True)}
    rows = []
    for record in shown(service):
        latest = latest_tightening(service, record)
        peak = peak_of(service, latest, record)
        cold = None if record.cold_force is None else model.mean(record.cold_force)
        other = by_place.get(place_of[id(record)])
        beside = None if other is None or other.cold_force is None else estimate.model.mean(other.cold_force)
        rows.append(
            ServiceRow(
                step=record.step,
                name=record.name,
                kind=record.kind,
                cycle=record.cycle,
                time=record.time,
                clamp=model.mean(record.force),
                fired=None if record.fired_force is None else model.mean(record.fired_force),
                cold=cold,
                least=None if record.cold_force is None else float(record.cold_force.min()),
                peak=peak,
                kept=None if cold is None or not peak else cold / peak,
                estimate=beside,
                sealing=record.sealing,
                fired_sealing=record.fired_sealing,
            )
        )
    return tuple(rows)


def _places(records: Sequence[Record]) -> list[tuple[int, int, int]]:
    """Return step, cycle and number within the cycle of every record."""
    found: list[tuple[int, int, int]] = []
    for record in records:
        before = found[-1] if found else (-1, -1, -1)
        same = before[:2] == (record.step, record.cycle)
        found.append((record.step, record.cycle, before[2] + 1 if same else 0))
    return found


def _blocks(service: Service) -> tuple[BlockFindings, ...]:
    found = []
    for number, step in enumerate(service.steps):
        if not isinstance(step, Repeat):
            continue
        cold = {
            one.cycle: service.model.mean(one.cold_force)
            for one in service.records
            if one.step == number and one.cold_force is not None
        }
        cycles, forces = list(cold), list(cold.values())
        before = [one for one in service.records if one.step < number]
        if not forces or not before or before[-1].cold_force is None:
            continue
        # per tenfold or twofold of cycles a joint that creeps loses about the same: the latest doubling tells the next
        first = service.model.mean(before[-1].cold_force)
        if first <= 0.0 or forces[-1] <= 0.0:
            continue
        next_loss = None
        if len(forces) > 2:
            lost = (forces[-2] - forces[-1]) / math.log(cycles[-1] / cycles[-2])
            next_loss = max(0.0, lost * math.log(2.0) / forces[-1])
        found.append(
            BlockFindings(
                number, step.name, cycles[-1], len(forces), forces[-1] / first, number in service.shaken, next_loss
            )
        )
    return tuple(found)


def _figures(service: Service, fatigue: ServiceFatigue) -> ServiceFigures:
    """Return what the requirements need of a service besides its states; what broke is not judged."""
    lasting = service.records[:-1] if service.broken is not None else service.records
    return ServiceFigures(
        strain=max((float(record.memory.plastic.max()) for record in lasting), default=None),
        uniform=service.model.law.flow.uniform_elongation,
        reused=tuple(
            (record.name, float(before.memory.plastic.max()))
            for before, record in zip(service.records, service.records[1:], strict=False)
            if record.kind == "reuse"
        ),
        permanent_limit=service.model.joint.ageing.permanent_limit,
        miner=fatigue.miner if fatigue.rows else None,
        fastener=fatigue.fastener + 1,
    )


def _judged(served: Served, fatigue: ServiceFatigue) -> Judged:
    """Return what is judged: the states of the service at every tightening, and what lasts of it."""
    nominal = served.nominal
    runs = {"least": served.least or nominal, "nominal": nominal, "greatest": served.greatest or nominal}
    past_yield = nominal.broken is not None or any(one.past_yield for one in tightenings_of(nominal).values())
    levels = {name: service_states(name, run, past_yield=past_yield) for name, run in runs.items()}
    levels["least"] = with_head_room(levels["least"], runs["least"])
    return Judged(
        _as_tightened(nominal),
        seen_of(nominal.model.base),
        levels,
        service=_figures(nominal, fatigue),
    )


def _as_tightened(service: Service) -> Joint:
    """Return the joint tightened as the service does it first: by its way and frictions, its torsion follows."""
    joint = service.model.joint
    step = next((one for one in service.steps if isinstance(one, Tighten)), joint.tightening.step)
    tight = dataclasses.replace(
        joint.tightening,
        step=step,
        thread_friction=step.thread_friction,
        bearing_friction=step.bearing_friction,
    )
    return dataclasses.replace(joint, tightening=tight)


def _fracture(served: Served) -> Text | None:
    """Say which fastener broke and at which preload, None where none did."""
    runs = (("nominal", served.nominal), ("least", served.least), ("greatest", served.greatest))
    for name, service in runs:
        if service is None or service.broken is None:
            continue
        record = service.records[-1]
        return said(
            "fastener {} BREAKS in '{}' at {}, {} preload: pulled beyond its uniform elongation of {}",
            str(service.broken + 1),
            record.name,
            force(float(record.force.max())),
            name,
            share(service.model.law.flow.uniform_elongation),
        )
    return None
