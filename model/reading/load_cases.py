"""From what a file states of load cases to temperatures of every part and gas forces."""

from __future__ import annotations

import dataclasses
import math

import msgspec

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.files.heat_file import HeatTable
from headjoint.model.files.joint_file import GasTable, LoadCaseTable, TemperaturesTable
from headjoint.model.files.peaks_file import PeaksTable
from headjoint.model.files.service_file import StepTemperatures
from headjoint.model.heat.duty import HeatDuty
from headjoint.model.joint import PARTS, Gas
from headjoint.model.load_case import CaseHeat, LoadCase
from headjoint.model.peak_cycles import PeakCycles, greatest_peak

LEAST_RISE = 0.1  # of knock over the variation of ordinary peaks


def part_temperatures(stated: TemperaturesTable | StepTemperatures) -> dict[str, float]:
    """Return the temperature of every part: the washer follows the head, the nut the fastener, unless stated."""
    own = msgspec.structs.asdict(stated)
    own["nut"] = own["fastener"] if own["nut"] is None else own["nut"]
    own["washer"] = own["head"] if own["washer"] is None else own["washer"]
    own["gasket"] = (own["head"] + own["block"]) / 2.0 if own["gasket"] is None else own["gasket"]
    return {part: own[part] for part in PARTS}


def resolve_load_cases(stated: list[LoadCaseTable], gas: Gas | None) -> tuple[LoadCase, ...]:
    """Return the load cases in order; InputError where one contradicts itself or the others."""
    cases: list[LoadCase] = []
    for index, table in enumerate(stated):
        field = f"load_cases[{index}]"
        if (table.kind == "assembly") != (index == 0):
            raise InputError(
                "the first load case, and no other, is the assembly", field=f"{field}.kind", value=table.kind
            )
        if table.name in [case.name for case in cases]:
            raise InputError("names of load cases must differ", field=f"{field}.name", value=table.name)
        if table.temperature is not None and table.temperatures is not None:
            raise InputError("give temperature or temperatures, not both", field=f"{field}.temperature")
        if table.heat is not None:
            _check_heat(table, gas, field)
            temperatures = dict.fromkeys(PARTS, math.nan)
        elif table.temperatures is None:
            temperatures = dict.fromkeys(PARTS, 20.0 if table.temperature is None else table.temperature)
        else:
            temperatures = part_temperatures(table.temperatures)
        loaded = table.gas_pressure > 0.0 or bool(table.ring_force)
        if loaded and table.kind != "firing":
            raise InputError(
                f"only a firing case carries gas, this one is '{table.kind}'", field=f"{field}.gas_pressure"
            )
        if loaded and gas is None:
            raise InputError("a firing case needs the [gas] table that says where it pushes", field="gas")
        if table.kind == "firing" and not loaded and table.heat is None:
            raise InputError("a firing case needs gas_pressure or ring_force", field=field)
        if table.gas_pressure > 0.0 and table.ring_force is not None:
            raise InputError("give gas_pressure or ring_force, not both", field=f"{field}.ring_force")
        force = table.ring_force or 0.0
        pressure: float = table.gas_pressure
        if gas is not None:
            force = (force or pressure * gas.force_area) * greatest_peak(gas.peaks)
            pressure = force / gas.force_area
        cases.append(LoadCase(table.name, table.kind, temperatures, pressure, force))
    if len(set(cases[0].temperatures.values())) != 1:
        raise InputError("assembly is at one temperature for all parts", field="load_cases[0].temperatures")
    return tuple(cases)


def check_boost(stated: GasTable | None, cases: tuple[LoadCase, ...]) -> None:
    """Refuse a boost at or above a gas pressure: a cylinder that is filled with the one burns to more than that."""
    for index, case in enumerate(cases):
        if stated is not None and stated.boost is not None and 0.0 < case.gas_pressure <= stated.boost:
            raise InputError(
                f"must be less than the gas pressure that burning makes of it, {10.0 * case.gas_pressure:.4g} bar in "
                f"load_cases[{index}]",
                field="gas.boost",
                value=stated.boost,
            )


def resolve_peaks(stated: PeaksTable | None) -> PeakCycles | None:
    """Return how peaks scatter; InputError where knock is stated by half, or its tail is lost in ordinary scatter."""
    if stated is None:
        return None
    if (stated.knock_share > 0.0) != (stated.knock_rise > 0.0):
        raise InputError("knock needs both knock_share and knock_rise", field="gas.peaks.knock_rise")
    if stated.knock_share > 0.0 and stated.knock_rise < LEAST_RISE * stated.variation:
        raise InputError(
            f"must be at least {LEAST_RISE:g} times the variation: a lesser one is part of it",
            field="gas.peaks.knock_rise",
            value=stated.knock_rise,
        )
    return PeakCycles(stated.variation, stated.cycles, stated.knock_share, stated.knock_rise)


def _check_heat(table: LoadCaseTable, gas: Gas | None, field: str) -> None:
    """Refuse heat of a load case that contradicts itself or cannot be found."""
    assert table.heat is not None
    if table.temperature is not None or table.temperatures is not None:
        raise InputError("give heat, or temperature or temperatures, not both", field=f"{field}.heat")
    if table.kind == "assembly":
        raise InputError("assembly is at one stated temperature for all parts", field=f"{field}.heat")
    if gas is None:
        raise InputError("heat of a load case needs the [gas] table that says where it comes in", field="gas")
    if (table.heat.step is None) == (table.heat.time is None):
        raise InputError("give the step of the duty at whose end it is, or the time", field=f"{field}.heat")


def in_duty(
    cases: tuple[LoadCase, ...], stated: list[LoadCaseTable], heat: HeatTable, duty: HeatDuty, gas: Gas | None
) -> tuple[LoadCase, ...]:
    """Return the load cases, those by heat at their time of the duty; a firing one without gas has that of the duty.

    Raises InputError where the file has no heat, or the duty no such step or time.
    """
    found = []
    for index, (case, table) in enumerate(zip(cases, stated, strict=True)):
        if table.heat is None:
            found.append(case)
            continue
        field = f"load_cases[{index}]"
        if heat == HeatTable():
            raise InputError(
                "needs the [heat] table: its duty says what surrounds the joint when; this file has none",
                field=f"{field}.heat",
            )
        time = _time_in(duty, table, f"{field}.heat")
        if case.kind == "firing" and case.gas_force == 0.0:
            pressure = duty.gas_pressure(time)
            if pressure <= 0.0 or gas is None:
                raise InputError(
                    "a firing case needs gas: nothing burns in the duty then; state gas_pressure", field=field
                )
            case = dataclasses.replace(case, gas_pressure=pressure, gas_force=pressure * gas.force_area)
        found.append(dataclasses.replace(case, heat=CaseHeat(time, table.heat.steady)))
    return tuple(found)


def _time_in(duty: HeatDuty, table: LoadCaseTable, field: str) -> float:
    assert table.heat is not None
    if table.heat.step is not None:
        names = [step.name for step in duty.steps]
        if not names:
            raise InputError("lists over time have no steps; give the time", field=f"{field}.step")
        if table.heat.step not in names:
            raise unknown_name("step of the duty", table.heat.step, names, field=f"{field}.step")
        return duty.steps[names.index(table.heat.step)].end
    assert table.heat.time is not None
    time = float(table.heat.time)
    if time > duty.duration:
        raise InputError(f"the duty ends at {duty.duration:g} s", field=f"{field}.time", value=time)
    if time == 0.0 and not table.heat.steady:
        raise InputError("the duty has not begun then; give a later time", field=f"{field}.time", value=time)
    return time
