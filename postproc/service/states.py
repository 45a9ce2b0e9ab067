"""From a service to the states that requirements judge: after every step, without gas, with it, and cold."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from headjoint.cases.service.head_room import factor_in_service
from headjoint.cases.service.run import Record, Service
from headjoint.cases.service.scatter import tightenings_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.sealing import Seal, SealNeed
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase
from headjoint.model.service import Change, Repeat, Retorque, Tighten
from headjoint.postproc.verdict.requirement import PastYield, StateFigures, Tightened
from headjoint.postproc.verdict.state_figures import state_figures


def service_states(name: str, service: Service, *, past_yield: bool = False) -> Tightened:
    """Return the states of a service at one tightening ("least", "nominal", "greatest"); what broke is left out.

    past_yield : whether its fasteners are tightened past yield on purpose. The preload is the greatest of all turning.
    """
    lasting = service.records[:-1] if service.broken is not None else service.records
    states: list[StateFigures] = []
    for record in lasting:
        if not isinstance(service.steps[record.step], Change):
            states += _states_of(name, service, record)
    preload = max((float(one.turning.force[-1]) for one in lasting if one.turning is not None), default=0.0)
    peaks = [one.peak for one in tightenings_of(service).values()]
    past = None
    if past_yield:
        strain = max((float(record.memory.plastic.max()) for record in lasting), default=0.0)
        past = PastYield(strain, service.model.law.flow.uniform_elongation)
    return Tightened(name, preload, tuple(states), max([preload, *peaks]), past)


def with_head_room(tightened: Tightened, service: Service) -> Tightened:
    """Return the same with the factor on gas that still seals, in the state with gas where sealing has least in hand.

    Raises SolveError where a trial does not converge or balance.
    """
    fired = {one.name: one for one in tightened.states if one.fired}
    records = {f"{place(one, service)}, firing": one for one in service.records}
    if not fired:
        return tightened
    worst = min(fired.values(), key=lambda one: one.need.met(one.seal))
    record = records[worst.name]
    assert record.case is not None
    found = factor_in_service(service.model, record.memory, record.case)
    judged = dataclasses.replace(worst, separation_factor=found, separation_judged=True)
    return dataclasses.replace(tightened, states=tuple(judged if one is worst else one for one in tightened.states))


def _states_of(name: str, service: Service, record: Record) -> list[StateFigures]:
    """Return the states of one record: at its temperatures without gas, with it where it runs, and cold again."""
    joint, where = service.model.joint, place(record, service)
    case, cold = record.case or joint.load_cases[0], joint.load_cases[0]

    def worst(*forces: FloatArray) -> float:
        found = np.concatenate(forces)
        return float(found.max() if name == "greatest" else found.min())

    turned = isinstance(service.steps[record.step], (Tighten, Retorque))
    seen = _Seen(
        joint, peak_of(service, latest_tightening(service, record), record) or 0.0, tuple(record.pressed.items())
    )
    seal = Seal(record.sealing, record.line_load)
    found = [seen.state(where, "assembly" if turned else "hot", case, worst(record.force, record.first_force), seal)]
    if record.fired_force is not None and record.first_fired_force is not None:
        assert record.fired_sealing is not None
        assert record.fired_line_load is not None
        fired = seen.state(
            f"{where}, firing",
            "firing",
            case,
            worst(record.fired_force, record.first_fired_force),
            Seal(record.fired_sealing, record.fired_line_load),
        )
        amplitude = float(np.abs(record.fired_force - record.force).max()) / 2.0
        found.append(
            dataclasses.replace(
                fired, sealing_without_gas=record.sealing, stroke=record.stroke, force_amplitude=amplitude
            )
        )
    if record.cold_force is not None and not turned:
        # only its force is known
        kept = seen.state(f"{where}, cold", "cold", cold, worst(record.cold_force), Seal(0.0, 0.0))
        found.append(dataclasses.replace(kept, need=SealNeed(0.0, 0.0), zones=()))
    return found


@dataclass(frozen=True)
class _Seen:
    """What the states of one record share: joint, clamp at the peak of tightening (N), pressures of gasket zones."""

    joint: Joint
    assembled: float
    zones: tuple[tuple[str, float], ...]

    def state(self, name: str, kind: str, case: LoadCase, force: float, seal: Seal) -> StateFigures:
        """Return a state of a kind at the temperatures of a case, its gas where it is firing."""
        return state_figures(
            self.joint,
            name=name,
            kind=kind,
            fastener_temperature=case.temperatures["fastener"],
            head_temperature=case.temperatures["head"],
            block_temperature=case.temperatures["block"],
            gas_pressure=case.gas_pressure if kind == "firing" else 0.0,
            force=force,
            assembled=self.assembled,
            seal=seal,
            stroke=None,
            zones=self.zones,
        )


def tightenings(service: Service) -> list[Record]:
    """Return the records of every tightening."""
    return [record for record in service.records if record.kind in ("tighten", "reuse") and record.turning is not None]


def latest_tightening(service: Service, record: Record) -> Record | None:
    """Return the latest tightening up to a record, None where there is none or parts were changed since."""
    before = [one for one in tightenings(service) if one.step <= record.step]
    changed = [
        one for one in service.records if one.step <= record.step and isinstance(service.steps[one.step], Change)
    ]
    if not before or (changed and changed[-1].step > before[-1].step):
        return None
    return before[-1]


def peak_of(service: Service, tightened: Record | None, record: Record) -> float | None:
    """Return the greatest force (N) at the end of the latest tightening and of what was turned on since."""
    if tightened is None:
        return None
    places = {id(one): number for number, one in enumerate(service.records)}
    since = service.records[places[id(tightened)] : places[id(record)] + 1]
    return max(float(one.turning.force[-1]) for one in since if one.turning is not None)


def place(record: Record, service: Service) -> str:
    """Return where in a service a record lies."""
    step = service.steps[record.step]
    return f"{record.name}, cycle {record.cycle} of {step.times}" if isinstance(step, Repeat) else record.name
