"""What a warm-up means: requirements at every instant, the dangerous moments, what a slower one would change."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

from headjoint.cases.models.from_mesh import NO_COARSER
from headjoint.cases.warm_up.instant import Instant, WarmUpAtPreload
from headjoint.cases.warm_up.warm_up import WarmUp
from headjoint.model.base.rich import Rich
from headjoint.model.formulas.sealing import Seal, SealNeed
from headjoint.model.formulas.strength import bearing_pressures
from headjoint.model.joint import Joint
from headjoint.postproc.present.mesh_errors import doubted
from headjoint.postproc.verdict.condensed_seen import seen_of
from headjoint.postproc.verdict.requirement import Judged, PartHeat, StateFigures, Tightened
from headjoint.postproc.verdict.state_figures import level_of, state_figures, zone_limits
from headjoint.postproc.verdict.verdict import Verdict, judge

COLD = 2.0  # K from assembly within which the end counts as cold again


@dataclass(frozen=True)
class WarmUpFindings(Rich):
    """A warm-up with its verdict; slower : the same at half the pace, as far as its greatest clamp.

    unbounded : why mesh errors are not known, "" where they are.
    """

    warmed: WarmUp = field(repr=False)
    slower: WarmUp = field(repr=False)
    verdict: Verdict
    unbounded: str

    @property
    def joint(self) -> Joint:
        """The joint, or one stud's share of a cell."""
        return self.warmed.joint


def assess_warm_up(
    warmed: WarmUp, slower: WarmUp, coarse: WarmUp | None = None, unbounded: str = NO_COARSER
) -> WarmUpFindings:
    """Return the findings of a warm-up over the scatter of tightening, and of its slower companion.

    coarse : the same on doubled elements; where there is none, `unbounded` says why.
    """
    verdict = judge(
        doubted(judged_warm_up(warmed), unbounded), coarse=None if coarse is None else judged_warm_up(coarse)
    )
    return WarmUpFindings(warmed, slower, verdict, unbounded)


def judged_warm_up(warmed: WarmUp) -> Judged:
    """Return what the requirements need of a warm-up: every instant, without gas and with it, at each preload."""
    nominal = warmed.nominal
    runs = {"least": warmed.least or nominal, "nominal": nominal, "greatest": warmed.greatest or nominal}
    levels = {name: _states(warmed, name, run) for name, run in runs.items()}
    seen = seen_of(warmed.march.heated.model.base)
    return Judged(warmed.joint, seen, levels, _heat(warmed))


def _states(warmed: WarmUp, name: str, run: WarmUpAtPreload) -> Tightened:
    at = warmed.joint.assembly_temperature
    most = float(run.found.forces.max())
    tight = StateFigures(
        name="assembly",
        kind="assembly",
        fastener_temperature=at,
        head_temperature=at,
        block_temperature=at,
        gas_pressure=0.0,
        fired=False,
        force=most,
        tension=most / warmed.joint.fastener.smallest_area,
        bent=False,
        assembled=run.preload,
        # what seals is judged from the first instant on
        seal=Seal(0.0, 0.0),
        need=SealNeed(0.0, 0.0),
        sealing_without_gas=None,
        stroke=None,
        separation_factor=None,
        separation_judged=False,
        force_amplitude=None,
        zones=zone_limits(warmed.joint, run.zones.items()),
        bearings=bearing_pressures(warmed.joint, most, at),
    )
    states = [tight]
    for number, instant in enumerate(run.instants):
        found = _figures(warmed.joint, run, instant)
        if run.head_room is not None and run.head_room[0] == number:
            found[-1] = dataclasses.replace(found[-1], separation_factor=run.head_room[1], separation_judged=True)
        states += found
    return level_of(name, run.found, states, run.instants[-1].plastic)


def _figures(joint: Joint, run: WarmUpAtPreload, instant: Instant) -> list[StateFigures]:
    """Return what the requirements need of an instant: without gas, and with it where it burns."""
    back = instant is run.instants[-1] and all(
        abs(value - joint.assembly_temperature) < COLD for value in instant.temperatures.values()
    )
    kinds = [("cold" if back else "hot", 0.0, Seal(instant.sealing, instant.line_load))]
    if instant.fired_sealing is not None and instant.fired_line_load is not None:
        kinds.append(("firing", instant.gas_pressure, Seal(instant.fired_sealing, instant.fired_line_load)))
    return [
        state_figures(
            joint,
            name=time_text(instant.time) + (", firing" if gas else ""),
            kind=kind,
            fastener_temperature=instant.temperatures["fastener mean"],
            head_temperature=instant.temperatures["head mean"],
            block_temperature=instant.temperatures["block mean"],
            gas_pressure=gas,
            force=instant.least_force if kind == "cold" else instant.greatest_force,
            assembled=run.preload,
            seal=seal,
            sealing_without_gas=instant.sealing if gas else None,
            stroke=instant.stroke if gas else None,
            force_amplitude=instant.amplitude if gas else None,
            zones=instant.zone_greatest.items(),
            greatest_force=instant.greatest_force,
        )
        for kind, gas, seal in kinds
    ]


def _heat(warmed: WarmUp) -> tuple[PartHeat, ...]:
    """Return the hottest of every part whose material says when it begins to melt."""
    found = []
    for part in warmed.instants[0].hottest:
        material = warmed.march.heated.material(part)
        at = max(warmed.instants, key=lambda one: one.hottest[part])
        if material.solidus is not None and at.hottest[part] > 0.0:
            found.append(PartHeat(part, material.name, time_text(at.time), at.hottest[part], material.solidus))
    return tuple(found)


def time_text(seconds: float) -> str:
    """Write a time since the start in s, or min and s."""
    whole = round(seconds)
    return f"{whole} s" if whole < 120 else f"{whole // 60} min {whole % 60} s"
