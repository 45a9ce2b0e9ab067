"""From what a file states of load cases to temperatures of every part and gas forces."""

from __future__ import annotations

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.files.joint_file import LoadCaseTable, TemperaturesTable
from headjoint.model.files.peaks_file import PeaksTable
from headjoint.model.files.service_file import StepTemperatures
from headjoint.model.joint import PARTS, Gas
from headjoint.model.load_case import LoadCase
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
        if table.temperatures is None:
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
        if table.kind == "firing" and not loaded:
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
