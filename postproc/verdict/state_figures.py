"""From what any model knows of a state to the figures that requirements judge."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from headjoint.model.formulas.sealing import Seal, SealNeed, seal_need
from headjoint.model.formulas.strength import bearing_pressures
from headjoint.model.formulas.tightened import Tightened as Found
from headjoint.model.joint import Joint
from headjoint.postproc.verdict.requirement import PastYield, StateFigures, Tightened

ON_LINER = " on liner"


def level_of(name: str, found: Found, states: Sequence[StateFigures], strain: float | None = None) -> Tightened:
    """Return the states of what a tightening gives; `strain` is the plastic one at the end where it is past yield."""
    past = None
    if found.past_yield and found.uniform is not None:
        past = PastYield(max(found.strain, strain or 0.0), found.uniform)
    return Tightened(name, found.preload, tuple(states), found.peak, past)


def state_figures(
    joint: Joint,
    *,
    name: str,
    kind: str,
    fastener_temperature: float,
    head_temperature: float,
    block_temperature: float,
    gas_pressure: float,
    force: float,
    assembled: float,
    seal: Seal,
    stroke: float | None,
    fired: bool | None = None,
    need: SealNeed | None = None,
    sealing_without_gas: float | None = None,
    separation_factor: float | None = None,
    separation_judged: bool = False,
    force_amplitude: float | None = None,
    zones: Iterable[tuple[str, float]] = (),
    crush: Mapping[str, float | None] | None = None,
    greatest_force: float | None = None,
    tension: float | None = None,
) -> StateFigures:
    """Return what the requirements need of one state; temperatures degC, pressures MPa, forces N, stroke mm.

    assembled : force at assembly. fired : whether gas acts, where its pressure does not say so (a force stated
    directly). need : of the sealing line, where it is not that of the gas pressure (a line whose bore does not fire).
    sealing_without_gas : of a fired state, pressure on the line at the same temperatures without it.
    separation_judged : whether its factor was searched for. zones : name and greatest pressure of every gasket zone;
    one upon a liner has the law of its own zone. crush : limits (MPa) of zones where it is not their own law that gives
    them (a part of it is damaged). greatest_force : where it is not `force` that presses the faces and
    stretches the fastener. tension : MPa in the smallest section, where bending is known.
    """
    most = force if greatest_force is None else greatest_force
    return StateFigures(
        name=name,
        kind=kind,
        fastener_temperature=fastener_temperature,
        head_temperature=head_temperature,
        block_temperature=block_temperature,
        gas_pressure=gas_pressure,
        fired=gas_pressure > 0.0 if fired is None else fired,
        force=force,
        tension=most / joint.fastener.smallest_area if tension is None else tension,
        bent=tension is not None,
        assembled=assembled,
        seal=seal,
        need=seal_need(joint, gas_pressure) if need is None else need,
        sealing_without_gas=sealing_without_gas,
        stroke=stroke,
        separation_factor=separation_factor,
        separation_judged=separation_judged,
        force_amplitude=force_amplitude,
        zones=zone_limits(joint, zones, crush),
        bearings=bearing_pressures(joint, most, head_temperature),
    )


def zone_limits(
    joint: Joint, zones: Iterable[tuple[str, float]], crush: Mapping[str, float | None] | None = None
) -> tuple[tuple[str, float, float | None], ...]:
    """Return name, greatest pressure and crush limit (MPa) of gasket zones; `crush` as in `state_figures`."""
    limits = {zone.name: zone.law.crush_pressure for zone in joint.gasket.zones} | dict(crush or {})
    return tuple((zone, found, limits.get(zone.removesuffix(ON_LINER))) for zone, found in zones)
