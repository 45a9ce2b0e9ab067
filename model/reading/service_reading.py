"""From what a file states of service to steps, ageing, flow and creep with every default filled in."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.base.property_table import PropertyTable, between
from headjoint.model.base.units import PositiveTime, ZeroOrTime
from headjoint.model.files import service_file as tables
from headjoint.model.joint import PARTS, Joint
from headjoint.model.library.plasticity import PROOF_STRAIN, UNIFORM_SHARE, FlowCurve, SteelRelaxation
from headjoint.model.load_case import LoadCase
from headjoint.model.peak_cycles import greatest_peak
from headjoint.model.reading.load_cases import part_temperatures
from headjoint.model.reading.tightening_reading import resolve_tighten
from headjoint.model.service import Ageing, Change, Hold, Repeat, Retorque, Step, Tighten

if TYPE_CHECKING:
    from headjoint.model.files.joint_file import FastenerTable, JointFile

LEAST_HARDENING = 1.005  # R_m over R_p0.2; below, the formula's exponent is beyond sense
DAY, HOUR = 86400.0, 3600.0
TYPICAL_CYCLES = 100
CYCLES_IN_AN_HOUR = 90_000.0  # four-stroke engine at 3000/min


def resolve_flow(
    stated: FastenerTable, proof: PropertyTable | None, ultimate: float | None, elongation: float | None
) -> FlowCurve | None:
    """Return how the fastener flows; None where strength or elongation is not known.

    Raises InputError for a measured curve that does not rise, or an ultimate strength below the proof stress.
    """
    flow, field = stated.flow, "fastener.flow"
    if flow.plastic_strain is not None or flow.stress is not None:
        return _measured(flow, proof, field)
    uniform = flow.uniform_elongation
    if uniform is None:
        total = flow.elongation if flow.elongation is not None else elongation
        uniform = None if total is None else UNIFORM_SHARE * total
    if proof is None or ultimate is None or uniform is None:
        return None
    if ultimate < LEAST_HARDENING * proof.at(20.0) or uniform <= 0.0021:
        raise InputError(
            f"no flow curve goes through a proof stress of {proof.at(20.0):.0f} MPa and an ultimate strength of "
            f"{ultimate:.0f} MPa at {100 * uniform:.2g} % uniform elongation; the ultimate must be at least "
            f"{LEAST_HARDENING:g} times the proof stress, at more than 0.2 %",
            field=field,
        )
    return FlowCurve(proof, ultimate, uniform)


def strength_by_heat(stated: tables.FlowTable, strength: PropertyTable | None) -> PropertyTable | None:
    """Return a yield strength with the fall with temperature that the file states, as it is where it states none.

    Raises InputError where rows do not match, do not start at 20 degC with 1, or do not rise in temperature.
    """
    at, hot, field = stated.temperature, stated.hot, "fastener.flow.hot"
    if at is None and hot is None:
        return strength
    if at is None or hot is None or len(at) != len(hot) or at[0] != 20.0 or hot[0] != 1.0:
        raise InputError("needs as many values as `temperature`, and starts with 1 at 20 degC", field=field, value=hot)
    if any(later <= earlier for earlier, later in zip(at, at[1:], strict=False)) or min(hot) <= 0.0:
        raise InputError("temperatures must rise from row to row, and some strength must be left", field=field)
    if strength is None:
        raise InputError("needs a yield strength to be a share of", field=field)
    return PropertyTable(tuple(at), tuple(share * strength.at(20.0) for share in hot))


def _measured(flow: tables.FlowTable, proof: PropertyTable | None, field: str) -> FlowCurve:
    strains, stresses = flow.plastic_strain or [], flow.stress or []
    if len(strains) != len(stresses) or len(strains) < 3:
        raise InputError(
            f"plastic_strain has {len(strains)} values and stress {len(stresses)}; give as many, at least 3",
            field=field,
        )
    if flow.elongation is not None or flow.uniform_elongation is not None:
        raise InputError("a measured curve ends where necking begins; leave the elongations out", field=field)
    for row, (before, after) in enumerate(zip(strains, strains[1:], strict=False), start=1):
        if after <= before or stresses[row] <= stresses[row - 1]:
            raise InputError("strain and stress must both rise from row to row", field=f"{field}.stress[{row}]")
    if strains[0] != 0.0 or strains[-1] <= 0.0021:
        raise InputError("starts at plastic strain 0 and goes beyond 0.2 %", field=f"{field}.plastic_strain")
    at_proof = between(PROOF_STRAIN, strains, stresses)
    table = PropertyTable((20.0,), (at_proof,))
    if proof is not None:  # its fall with temperature, on the measured level
        table = PropertyTable(proof.temperatures, tuple(at_proof * value / proof.at(20.0) for value in proof.values))
    return FlowCurve(table, stresses[-1], strains[-1], tuple(strains), tuple(stresses), "measured, stated in the file")


def resolve_relaxation(stated: tables.RelaxationTable) -> SteelRelaxation:
    """Return the fastener's relaxation."""
    values = msgspec.structs.asdict(stated)
    plain = SteelRelaxation()
    typical = all(values[name] == getattr(plain, name) for name in values)
    return SteelRelaxation(**values, source=plain.source if typical else "stated in the joint file")


def resolve_ageing(stated: JointFile) -> Ageing:
    """Return what settles and slips."""
    values = msgspec.structs.asdict(stated.ageing)
    if values["block_friction"] is None:
        values["block_friction"] = stated.tightening.thread_friction
    return Ageing(**values)


def resolve_history(stated: tables.History, joint: Joint) -> tuple[Step, ...]:
    """Return the steps of a service; a typical one where none is stated.

    Raises InputError naming the step that cannot follow the one before.
    """
    if not stated:
        return _typical(joint)
    steps: list[Step] = []
    tight = False
    for index, table in enumerate(stated):
        field = f"history[{index}]"
        step = _Reader(joint, field).step(table)
        tight = _follows(step, tight, field, steps)
        steps.append(step)
    return tuple(steps)


def _follows(step: Step, tight: bool, field: str, before: Sequence[Step]) -> bool:
    """Return whether the joint is tight after a step; InputError where it cannot follow."""
    if isinstance(step, Tighten):
        if step.again and not before:
            raise InputError("nothing has been tightened before; the first step is 'tighten'", field=f"{field}.do")
        if tight and not step.again:
            raise InputError(
                "the joint is tight already: 'loosen' first, or 'retorque' or 'reuse'", field=f"{field}.do"
            )
        return True
    if isinstance(step, Change):
        if step.kind == "loosen" and not tight:
            raise InputError("the joint is loose already", field=f"{field}.do", value=step.kind)
        if step.kind != "loosen" and tight:
            raise InputError("the joint is tight: 'loosen' it first", field=f"{field}.do", value=step.kind)
        return False
    if not tight:
        raise InputError("the joint is loose here: 'tighten' it first", field=f"{field}.do")
    return True


def _typical(joint: Joint) -> tuple[Step, ...]:
    """Return tightening, a day's wait and a hundred heat cycles with the joint's own load cases."""
    reader = _Reader(joint, "history")
    steps: list[Step] = [reader.step(tables.TightenTable()), reader.step(tables.WaitTable(duration=PositiveTime(DAY)))]
    hot = next((case for case in joint.load_cases if case.kind == "firing"), None)
    hot = hot or next((case for case in joint.load_cases if case.kind == "hot"), None)
    if hot is not None:
        cycles = CYCLES_IN_AN_HOUR if hot.gas_force > 0.0 else 0.0
        kind = "run" if hot.gas_force > 0.0 else "heat"
        cool = reader.step(tables.CoolTable(duration=ZeroOrTime(HOUR)))
        assert isinstance(cool, Hold)
        steps.append(Repeat("heat cycles", TYPICAL_CYCLES, (Hold(hot.name, kind, hot, HOUR, cycles), cool)))
    return tuple(steps)


class _Reader:
    """Reads the steps of one joint; `field` is the place in the file."""

    def __init__(self, joint: Joint, field: str) -> None:
        self.joint, self.field = joint, field

    def step(self, table: tables.StepTable) -> Step:
        if isinstance(table, tables.RepeatTable):
            steps = []
            for index, inner in enumerate(table.steps):
                step = _Reader(self.joint, f"{self.field}.steps[{index}]").step(inner)
                assert isinstance(step, (Hold, Retorque))
                steps.append(step)
            return Repeat(table.name or f"{table.times} times", table.times, tuple(steps))
        if isinstance(table, tables.TightenTable):
            again = isinstance(table, tables.ReuseTable)
            return resolve_tighten(table, self.joint, again=again, field=self.field)
        if isinstance(table, tables.RetorqueTable):
            return self._retorque(table)
        if isinstance(table, tables.WaitTable):
            return Hold(table.name or f"wait {duration_text(table.duration)}", "wait", self._at_rest(), table.duration)
        if isinstance(table, tables.CoolTable):
            case = self._at_rest() if table.temperature is None else self._case("cool", table.temperature, None, 0.0)
            return Hold(table.name or "cool", "cool", case, table.duration)
        if isinstance(table, tables.RunTable):
            return self._run(table)
        if isinstance(table, tables.HeatStepTable):
            case = self._stated_case(table, 0.0)
            return Hold(table.name or f"heat, {case.name}", "heat", case, table.duration)
        kind = table.__struct_config__.tag
        assert isinstance(kind, str)
        return Change(table.name or kind, kind)

    def _at_rest(self) -> LoadCase:
        assembly = self.joint.load_cases[0]
        return self._case("at rest", None, assembly.temperatures, 0.0)

    def _case(
        self, name: str, temperature: float | None, temperatures: dict[str, float] | None, gas_pressure: float
    ) -> LoadCase:
        gas = self.joint.gas
        if gas_pressure > 0.0 and gas is None:
            raise InputError("a run needs the [gas] table that says where it pushes", field="gas")
        own = temperatures or dict.fromkeys(PARTS, 20.0 if temperature is None else temperature)
        if gas is None:
            return LoadCase(name, "hot", own, 0.0, 0.0)
        pressure = gas_pressure * greatest_peak(gas.peaks)
        kind = "firing" if pressure > 0.0 else "hot"
        return LoadCase(name, kind, own, pressure, pressure * gas.force_area)

    def _stated_case(self, table: tables.HeatStepTable | tables.RunTable, gas_pressure: float | None) -> LoadCase:
        """Return the load case that a step names, or the state it spells out."""
        ways = [name for name in ("case", "temperature", "temperatures") if getattr(table, name) is not None]
        if len(ways) != 1:
            raise InputError("give one of case, temperature, temperatures", field=self.field)
        if table.case is None:
            own = None if table.temperatures is None else part_temperatures(table.temperatures)
            return self._case("as stated", table.temperature, own, gas_pressure or 0.0)
        names = [case.name for case in self.joint.load_cases]
        if table.case not in names:
            raise unknown_name("load case", table.case, names, field=f"{self.field}.case")
        found = self.joint.load_cases[names.index(table.case)]
        if gas_pressure is None:
            return found
        return dataclasses.replace(self._case(found.name, None, found.temperatures, gas_pressure), heat=found.heat)

    def _run(self, table: tables.RunTable) -> Hold:
        kind = "cold start" if isinstance(table, tables.ColdStartTable) else "run"
        case = self._stated_case(table, table.gas_pressure)
        if case.gas_force <= 0.0:
            raise InputError(
                "needs gas: a firing load case, or gas_pressure", field=f"{self.field}.gas_pressure", value=case.name
            )
        return Hold(table.name or f"{kind}, {case.name}", kind, case, table.duration, table.cycles)

    def _retorque(self, table: tables.RetorqueTable) -> Retorque:
        if table.torque is not None and table.angle is not None:
            raise InputError("give torque or angle, not both", field=f"{self.field}.angle")
        tight = self.joint.tightening
        torque: float | None = table.torque
        if torque is None and table.angle is None:
            if tight.torque is None:
                raise InputError("is required: [tightening] ends at no torque", field=f"{self.field}.torque")
            torque = tight.torque
        return Retorque(
            table.name or "retorque",
            torque,
            table.angle,
            table.thread_friction or tight.thread_friction,
            table.bearing_friction or tight.bearing_friction,
        )


def duration_text(seconds: float) -> str:
    """Write a duration in the unit that people would use."""
    for unit, size in (("days", 2 * DAY), ("h", HOUR), ("min", 60.0)):
        if seconds >= size:
            return f"{seconds / (DAY if unit == 'days' else size):.3g} {unit}"
    return f"{seconds:.3g} s"
