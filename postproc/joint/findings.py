"""From histories to findings: forces, stresses, contact pressures, separation margins, state by state."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.head_room import sealed_factor
from headjoint.cases.load_cases.load_history import History, State, gas_trial, without_gas
from headjoint.cases.models.condensed import OneFastener, stroke_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.roots import rising_bracket, rising_root
from headjoint.model.formulas import strength
from headjoint.model.formulas.estimate import LARGEST_MARGIN
from headjoint.model.formulas.sealing import SealNeed, seal_need
from headjoint.model.joint import Zone
from headjoint.postproc.joint.lifted_faces import bearing_share

LIFT_OFF_ACCURACY = 1e-4


@dataclass(frozen=True)
class ZoneFindings:
    """Contact of one gasket zone in one state; pressures MPa, force N, closures mm."""

    name: str
    force: float
    mean: float
    least: float
    greatest: float
    closure: float
    permanent_set: float
    crush_pressure: float | None


@dataclass(frozen=True)
class GasketProfile:
    """Contact over radius: radius mm, pressure MPa, closure mm, permanent set mm, one row per point."""

    radius: FloatArray = field(repr=False)
    pressure: FloatArray = field(repr=False)
    closure: FloatArray = field(repr=False)
    permanent_set: FloatArray = field(repr=False)
    zone: tuple[str, ...] = field(repr=False)


@dataclass(frozen=True)
class BearingFindings:
    """A metal face: mean pressure on the ring that is loaded and its limit at the head's temperature, MPa.

    bearing_share : of the whole face's area, what presses at all; the rest has lifted off. None where it is tied.
    """

    name: str
    mean: float
    limit: float | None
    bearing_share: float | None


@dataclass(frozen=True)
class StateFindings:
    """One state of one history; forces N, stresses and pressures MPa, line load N/mm, lengths mm.

    sealing_without_gas : pressure on the sealing line at the same temperatures, None without gas. stroke : how far it
    opens between gas and none. need : of the sealing line.
    plastic_strain : of the weakest length of a fastener tightened past yield, None of one within its elastic range.
    """

    name: str
    kind: str
    temperatures: dict[str, float]
    gas_pressure: float
    gas_force: float
    fastener_force: float
    overlap: float
    gasket_force: float
    zones: tuple[ZoneFindings, ...]
    profile: GasketProfile
    sealing_pressure: float
    sealing_closure: float
    line_load: float
    sealing_without_gas: float | None
    stroke: float | None
    need: SealNeed
    bearings: tuple[BearingFindings, ...]
    load_factor: float | None
    force_amplitude: float | None
    separation_factor: float | None
    lift_off_factor: float | None
    balance: float
    residual: float
    iterations: int
    plastic_strain: float | None = None


def state_findings(
    history: History[OneFastener], without: Sequence[Equilibrium | None] | None = None, *, margins: bool = True
) -> tuple[StateFindings, ...]:
    """Return the findings of every state of a history.

    without : every state without its gas, by default as `without_gas` has it; what needs that is left out of a state
    where it is None. margins : False skips the factors on combustion.
    """
    without = without_gas(history) if without is None else without
    return beside_rests(history, [_one_state(history, state) for state in history.states], without, margins=margins)


def beside_rests(
    history: History[OneFastener],
    states: Sequence[StateFindings],
    without: Sequence[Equilibrium | None],
    *,
    margins: bool,
) -> tuple[StateFindings, ...]:
    """Return findings made without its rest of every state, with what these tell; arguments as in `state_findings`."""
    return tuple(
        found if rest is None else dataclasses.replace(found, **_by_gas(history, state, rest, margins))
        for found, state, rest in zip(states, history.states, without, strict=True)
    )


def _by_gas(history: History[OneFastener], state: State, without: Equilibrium, margins: bool) -> dict[str, Any]:
    """Return what gas does to a state, as fields of its findings. without : the state without its gas."""
    change = float(state.force[0] - without.force[0])
    lines = history.model.lines(without)
    return {
        "load_factor": change / state.case.gas_force,
        "force_amplitude": change / 2.0,
        "stroke": stroke_of(history.model.lines(state.equilibrium), lines),
        "sealing_without_gas": float(lines[0].pressure[0]),
        "separation_factor": sealed_factor(history.model, state, without) if margins else None,
        "lift_off_factor": lift_off_factor(history, state) if margins else None,
    }


def _one_state(history: History[OneFastener], state: State) -> StateFindings:
    """Return the findings of a state alone, without what only its gas tells."""
    joint, reduced, equilibrium = history.joint, history.reduced, state.equilibrium
    (line,) = history.model.lines(equilibrium)
    at = reduced.gasket_points()
    order = np.argsort(reduced.radius[at], kind="stable")
    at = at[order]
    names = np.empty(reduced.points, dtype=object)
    for group in reduced.groups:
        names[group.points] = group.name
    return StateFindings(
        name=state.name,
        kind=state.kind,
        temperatures=state.case.temperatures,
        gas_pressure=state.case.gas_pressure,
        gas_force=state.case.gas_force,
        fastener_force=float(state.force[0]),
        overlap=float(state.overlap[0]),
        gasket_force=float(np.sum(reduced.weight[at] * equilibrium.pressure[at])),
        zones=tuple(_zone(history, state, zone) for zone in joint.gasket.zones),
        profile=GasketProfile(
            reduced.radius[at],
            equilibrium.pressure[at],
            equilibrium.closure[at],
            state.permanent_set[at],
            tuple(names[at]),
        ),
        sealing_pressure=float(line.pressure[0]),
        sealing_closure=float(line.closure[0]),
        line_load=float(line.line_load[0]),
        sealing_without_gas=None,
        stroke=None,
        need=seal_need(joint, state.case.gas_pressure),
        bearings=_bearings(history, state),
        load_factor=None,
        force_amplitude=None,
        separation_factor=None,
        lift_off_factor=None,
        balance=state.balance,
        residual=equilibrium.residual,
        iterations=equilibrium.iterations,
        plastic_strain=state.strain,
    )


def _zone(history: History, state: State, zone: Zone) -> ZoneFindings:
    at = history.reduced.group(zone.name).points
    weight, p = history.reduced.weight[at], state.equilibrium.pressure[at]
    share = weight / weight.sum()
    return ZoneFindings(
        name=zone.name,
        force=float(weight @ p),
        mean=float(share @ p),
        least=float(p.min()),
        greatest=float(p.max()),
        closure=float(share @ state.equilibrium.closure[at]),
        permanent_set=float(share @ state.permanent_set[at]),
        crush_pressure=zone.law.crush_pressure,
    )


def _bearings(history: History[OneFastener], state: State) -> tuple[BearingFindings, ...]:
    found = []
    groups = {group.name: group for group in history.reduced.groups if group.kind == "bearing"}
    temperature = state.case.temperatures["head"]
    for face, mean, limit in strength.bearing_pressures(history.joint, float(state.force[0]), temperature):
        share = None
        if face in groups:
            at = groups[face].points
            share = bearing_share(history.reduced.weight[at], state.equilibrium.pressure[at])
        found.append(BearingFindings(face, mean, limit, share))
    return tuple(found)


def lift_off_factor(history: History[OneFastener], state: State) -> float | None:
    """Return the factor on combustion at which the sealing line lifts off, by root-finding.

    None when it bears up to `LARGEST_MARGIN` times the combustion pressure; 0 when it is open without any gas.
    """
    law = history.joint.gasket.sealing_zone.law
    kept = history.model.at_sealing_line(state.permanent_set)

    def open_by(factor: float) -> float:
        # the closure tells how far from lift-off the line is, on either side of it
        (line,) = history.model.lines(gas_trial(history.model, state, factor))
        return law.lift_off(kept) - float(line.closure[0])

    if open_by(0.0) >= 0.0:
        return 0.0
    bracket = rising_bracket(open_by, LARGEST_MARGIN)
    return None if bracket is None else rising_root(open_by, *bracket, LIFT_OFF_ACCURACY)
