"""Temperatures of load cases by heat conduction: instants of the duty, or the steady state of what surrounds it then.

The duty is marched as in a warm-up, at the nominal tightening. Every load case gets the whole field - as a condensed
load, by one back-substitution, and as stiffness - and means of its parts for all that asks for one temperature. An
instant has what the duty did to a new joint by then, creep included, at every tightening.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar, cast

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.cases.condensed.condensation import GAS, FullModel
from headjoint.cases.heat.contacts import moved
from headjoint.cases.heat.problem import steady
from headjoint.cases.models.condensed import Model, UnderHeat, heat_name
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.steps import Reached, settle
from headjoint.cases.service.tightened import cold_and_settled, tightened
from headjoint.cases.warm_up.cell_heat import cell_strain_load
from headjoint.cases.warm_up.heated_joint import free_strain, heated
from headjoint.cases.warm_up.warm_up import Checkpoint, March, WarmUp, march_of, stiffness_of, warmed_up
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.joint import PARTS, Joint
from headjoint.model.load_case import LoadCase
from headjoint.model.service import Hold, Repeat, Step

M = TypeVar("M", bound=Model)
S = TypeVar("S", bound=Joint | Cell)
ROUNDS = 12  # of steady heat and clamp, each told of the other


@dataclass(frozen=True)
class CaseFields:
    """What conduction gives the load cases of a joint or cell.

    temperature : (m,) degC of the nodes, by load case. under : the condensed joint in each of these fields.
    """

    march: March = field(repr=False)
    temperature: Mapping[str, FloatArray] = field(repr=False)
    under: Mapping[str, UnderHeat] = field(repr=False)

    def heating(self, model: M) -> M:
        """Return a condensed model that knows the fields of its load cases."""
        return dataclasses.replace(model, heat=self.under)  # type: ignore[type-var]

    def model(self, stated: Joint | Cell) -> Model:
        """Return the condensed model of the joint or cell that has these fields, its load cases told of them."""
        base, told = self.march.heated.model.base, self.told(stated)
        own = {"cell": told} if isinstance(told, Cell) else {"joint": told}
        return self.heating(dataclasses.replace(base, **own))  # type: ignore[type-var]

    def assembled(self) -> FullModel | CellModel:
        """Return the assembled model that knows strain and load of every field, for displacements and stresses."""
        ready, assembled = self.march.heated, self.march.heated.assembled
        loads: dict[str, FloatArray] = {}
        strains: dict[str, FloatArray] = {}
        for case, temperature in self.temperature.items():
            name, reference = heat_name(case), ready.model.joint.assembly_temperature
            strains[name] = free_strain(ready.material, reference, ready.mesh, ready.body, temperature)
            if isinstance(assembled, CellModel):
                loads[name] = cell_strain_load(assembled, ready.body, strains[name])
            else:
                loads[name] = assembled.strain_load(strains[name])
        if isinstance(assembled, CellModel):
            return dataclasses.replace(assembled, cell=self.told(assembled.cell), heat=loads, strains=strains)
        return dataclasses.replace(assembled, loads={**assembled.loads, **loads}, strains=strains)

    def told(self, stated: S) -> S:
        """Return a joint or cell whose load cases by heat, those of its service too, have means of the parts."""
        if isinstance(stated, Cell):
            joint = _with_means(stated.joint, self.march, self.temperature)
            return cast("S", dataclasses.replace(stated, joint=joint))
        return cast("S", _with_means(stated, self.march, self.temperature))


def case_fields(
    stated: Joint | Cell, stage: Callable[[str], None] = lambda name: None, refinement: float = 1.0
) -> CaseFields:
    """Return the temperature fields of load cases by heat, on a mesh refined by so much.

    Raises InputError where heat cannot be known, SolveError where a solve does not converge or balance.
    """
    stage("heat of load cases: mesh and condense")
    ready = heated(stated, refinement)
    joint = ready.model.joint
    asked = {case.name: case.heat for case in joint.load_cases if case.heat is not None}
    found = tightened(ready.model.base)
    stiffness = stiffness_of(ready, joint.heat, found, stage)
    march = march_of(ready, joint.heat, stiffness)
    warmed = None
    if not all(heat.steady for heat in asked.values()):
        warmed = warmed_up(ready, joint.heat, found, stiffness, stage)
    temperature: dict[str, FloatArray] = {}
    under: dict[str, UnderHeat] = {}
    for name, heat in asked.items():
        rest = None
        if heat.steady or warmed is None:
            temperature[name] = _steady(march, found, heat.time)
        else:
            moment = warmed.moment(heat.time)
            temperature[name], rest = moment.temperature, _leading(warmed, moment)
        under[name] = _under(march, name, temperature[name], rest)
    return CaseFields(march, temperature, under)


def _leading(warmed: WarmUp, moment: Checkpoint) -> Callable[[Tightened], Reached]:
    """Return what leads any tightening through the instants of a warm-up to one of its moments."""
    march, nominal = warmed.march, warmed.found
    known: dict[tuple[float, float], Reached] = {(nominal.preload, nominal.strength): moment.rest}
    moments = [one for one in warmed.checkpoints if one.instant.time < moment.instant.time]

    def rest(found: Tightened) -> Reached:
        key = (found.preload, found.strength)
        if key not in known:
            own = march.strengthened(found)
            tight, chain = cold_and_settled(own.heated.model, found), cold_and_settled(own.chain, found)
            at = own.advanced(tight, chain, 0.0, 0.0, moments[0].temperature)
            for one in (*moments[1:], moment):
                at = own.after(at, one.instant.time, one.temperature)
            known[key] = at.rest
        return known[key]

    return rest


def _under(march: March, name: str, temperature: FloatArray, rest: Callable[[Tightened], Reached] | None) -> UnderHeat:
    cold, hot = march.heated.model, march.stiffness.model(temperature)
    softening = hot.law.compliance - cold.law.compliance
    loads = {name: load for name, load in hot.reduced.loads.items() if name.startswith(GAS)}
    reduced = dataclasses.replace(
        hot.reduced,
        loads={heat_name(name): march.stiffness.load(temperature), **loads},
        series_compliance=hot.reduced.series_compliance + softening,
    )
    return UnderHeat(reduced, softening, rest)


def _steady(march: March, found: Tightened, time: float) -> FloatArray:
    """Return the steady temperatures under what surrounds a joint at a time; faces conduct by the clamp they leave."""
    ready, duty = march.heated, march.duty
    rest = cold_and_settled(ready.model, found)
    memory, at = rest.memory, rest
    problem = ready.problem(duty, at)
    for _ in range(ROUNDS):
        temperature = steady(problem, time, duty.start_temperature).temperature
        case = march.case(time, {name: read(temperature) for name, read in ready.places.items()})
        model: ServiceModel = march.stiffness.model(temperature)
        at = settle(model, memory, case, gas=False, heat=march.stiffness.load(temperature), name="steady heat")
        now = ready.contacts(at)
        if not moved(problem.contacts, now):
            return temperature
        problem = dataclasses.replace(problem, contacts=now)
    raise SolveError(f"steady heat and clamp do not settle in {ROUNDS} rounds")


def _with_means(joint: Joint, march: March, temperature: Mapping[str, FloatArray]) -> Joint:
    places = march.heated.places
    means = {name: {part: places[f"{part} mean"](field) for part in PARTS} for name, field in temperature.items()}

    def told(case: LoadCase) -> LoadCase:
        return case if case.heat is None else dataclasses.replace(case, temperatures=means[case.name])

    def warm(step: Step) -> Step:
        if isinstance(step, Repeat):
            return dataclasses.replace(step, steps=tuple(map(warm, step.steps)))  # type: ignore[arg-type]
        return dataclasses.replace(step, case=told(step.case)) if isinstance(step, Hold) else step

    return dataclasses.replace(
        joint, load_cases=tuple(map(told, joint.load_cases)), history=tuple(map(warm, joint.history))
    )
