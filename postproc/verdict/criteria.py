"""The requirements one by one, each at its worst state and tightening, with what to change when it fails."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from headjoint.model.formulas import strength
from headjoint.model.formulas.estimate import LARGEST_MARGIN
from headjoint.model.joint import Joint


@dataclass(frozen=True)
class StateFigures:
    """What the requirements need of one state; forces N, pressures MPa. None where there is no gas."""

    name: str
    kind: str
    fastener_temperature: float
    block_temperature: float
    gas_force: float
    fastener_force: float
    sealing_pressure: float
    sealing_needed: float
    separation_factor: float | None
    lift_off_factor: float | None
    force_amplitude: float | None
    zone_greatest: tuple[tuple[str, float, float | None], ...]
    bearings: tuple[tuple[str, float, float | None], ...]


@dataclass(frozen=True)
class Tightened:
    """The states of one tightening ("least", "nominal" or "greatest") at its preload (N)."""

    name: str
    preload: float
    states: tuple[StateFigures, ...]


@dataclass(frozen=True)
class Criterion:
    """One requirement at its worst: a factor that must not fall below `needed`.

    value None means more than was searched. where : state and tightening. remedy : what to change.
    """

    name: str
    where: str
    value: float | None
    needed: float
    detail: str
    remedy: str

    @property
    def holds(self) -> bool:
        """Whether the requirement is met."""
        return self.value is None or self.value >= self.needed

    @property
    def in_hand(self) -> float:
        """Value over need; above 1 holds."""
        if self.value is None:
            return LARGEST_MARGIN
        return self.value / self.needed if self.needed > 0.0 else LARGEST_MARGIN


def verdict_sentence(criteria: tuple[Criterion, ...]) -> str:
    """Return in one sentence what holds, what limits and by how much."""
    if not criteria:
        return "nothing was required of this joint that its stated data can judge"
    limiting = min(criteria, key=lambda criterion: criterion.in_hand)
    value = f"more than {LARGEST_MARGIN:g}" if limiting.value is None else f"{limiting.value:.2f}"
    failing = [one.name for one in criteria if not one.holds]
    by = f"{limiting.name}, {value} against {limiting.needed:.2f} needed ({limiting.where})"
    if not failing:
        return f"all {len(criteria)} requirements are met; closest to its limit: {by}"
    return f"{len(failing)} of {len(criteria)} requirements fail: {', '.join(failing)}; worst: {by}"


def criteria(joint: Joint, tightened: dict[str, Tightened]) -> tuple[Criterion, ...]:
    """Return every requirement that can be judged with the stated strengths.

    Sealing and clamp are judged at the least tightening, stresses at the greatest.
    """
    least, nominal, greatest = tightened["least"], tightened["nominal"], tightened["greatest"]
    found = [
        *_sealing(joint, least),
        *_separation(joint, least),
        *_clamp_kept(joint, nominal),
        *_yield(joint, greatest),
        *_fatigue(joint, greatest),
        *_bearing(joint, greatest),
        *_stripping(joint, greatest),
        *_crush(greatest),
    ]
    return tuple(found)


def criteria_on_the_way(joint: Joint, tightened: dict[str, Tightened]) -> tuple[Criterion, ...]:
    """Return the requirements that the states between assembly and cold again can be judged by.

    The first state of each tightening is assembly; clamp kept is judged where a state is "cold".
    """
    least, nominal, greatest = tightened["least"], tightened["nominal"], tightened["greatest"]
    found = [
        *_sealing(joint, least),
        *_clamp_kept(joint, nominal),
        *_yield(joint, greatest),
        *_bearing(joint, greatest),
        *_stripping(joint, greatest),
        *_crush(greatest),
    ]
    return tuple(found)


def _worst(candidates: Iterable[Criterion]) -> list[Criterion]:
    found = list(candidates)
    return [min(found, key=lambda criterion: criterion.in_hand)] if found else []


def _at(state: StateFigures, tightened: Tightened) -> str:
    return f"{state.name}, {tightened.name} preload {tightened.preload / 1e3:.1f} kN"


def _sealing(joint: Joint, tightened: Tightened) -> list[Criterion]:
    return _worst(
        Criterion(
            "sealing-line pressure",
            _at(state, tightened),
            state.sealing_pressure / state.sealing_needed,
            1.0,
            f"{state.sealing_pressure:.1f} MPa against {state.sealing_needed:.1f} MPa needed",
            "more preload, tighter scatter, a larger or stronger fastener, or a gasket that presses harder at "
            "the sealing line (higher bead, lower body)",
        )
        for state in tightened.states
        if state.sealing_needed > 0.0
    )


def _separation(joint: Joint, tightened: Tightened) -> list[Criterion]:
    needed = joint.requirements.separation_factor
    return _worst(
        Criterion(
            "separation under combustion",
            _at(state, tightened),
            state.separation_factor,
            needed,
            "factor on combustion pressure before the sealing line falls short",
            _separation_remedy(joint, state, tightened),
        )
        for state in tightened.states
        if state.gas_force > 0.0
    )


def _separation_remedy(joint: Joint, state: StateFigures, tightened: Tightened) -> str:
    needed, factor = joint.requirements.separation_factor, state.separation_factor
    if factor is None or factor >= needed or factor <= 0.0:
        return "more preload or tighter scatter"
    # the sealing line gives way in proportion to gas force; the missing share must come from clamp
    missing = (needed / factor - 1.0) * state.fastener_force * factor / needed
    return (
        f"roughly {missing / 1e3:.0f} kN more clamp per fastener, or tighter scatter (least preload is "
        f"{100 * tightened.preload / joint.tightening.preload:.0f} % of nominal), a larger or stronger fastener, a "
        f"gasket that seals at less pressure, or at most {factor / needed:.2f} of this combustion pressure"
    )


def _clamp_kept(joint: Joint, tightened: Tightened) -> list[Criterion]:
    needed = joint.requirements.clamp_kept
    first = tightened.states[0].fastener_force
    return _worst(
        Criterion(
            "clamp kept after cooling",
            _at(state, tightened),
            state.fastener_force / first,
            needed,
            f"{state.fastener_force / 1e3:.1f} kN of {first / 1e3:.1f} kN at assembly",
            "a gasket that sets less, a longer or slimmer shank, fewer and finer faces, or tightening again "
            "after the first heat",
        )
        for state in tightened.states
        if state.kind == "cold"
    )


def _yield(joint: Joint, tightened: Tightened) -> list[Criterion]:
    needed = joint.requirements.yield_factor
    at_tightening = strength.tightening_utilisation(joint, tightened.preload)
    candidates = []
    if at_tightening.factor is not None:
        candidates.append(
            Criterion(
                "fastener yield",
                f"while tightening to {tightened.name} preload {tightened.preload / 1e3:.1f} kN",
                at_tightening.factor,
                needed,
                f"{at_tightening.stress:.0f} MPa tension and torsion against {at_tightening.strength:.0f} MPa",
                "less torque, tighter scatter, a stronger or thicker fastener, less thread friction",
            )
        )
    for state in tightened.states[1:]:
        use = strength.service_utilisation(joint, tightened.preload, state.fastener_force, state.fastener_temperature)
        if use.factor is not None:
            candidates.append(
                Criterion(
                    "fastener yield",
                    _at(state, tightened),
                    use.factor,
                    needed,
                    f"{use.stress:.0f} MPa, half the torsion left, against {use.strength:.0f} MPa at "
                    f"{state.fastener_temperature:.0f} degC",
                    "less preload, a stronger fastener, a longer or slimmer shank (less thermal load), a "
                    "fastener that expands more like the head",
                )
            )
    return _worst(candidates)


def _fatigue(joint: Joint, tightened: Tightened) -> list[Criterion]:
    candidates = []
    for state in tightened.states:
        if not state.force_amplitude:
            continue
        greatest = state.fastener_force
        result = strength.fatigue(joint, greatest, greatest - 2.0 * state.force_amplitude)
        factor = min(result.factor, LARGEST_MARGIN) if result.factor is not None and result.amplitude > 0 else None
        candidates.append(
            Criterion(
                "fastener fatigue",
                _at(state, tightened),
                factor,
                joint.requirements.fatigue_factor,
                f"amplitude {result.amplitude:.1f} MPa against an endurance limit of {result.limit:.1f} MPa",
                "a slimmer or longer shank, more preload, threads rolled after heat treatment",
            )
        )
    return _worst(candidates)


def _bearing(joint: Joint, tightened: Tightened) -> list[Criterion]:
    return _worst(
        Criterion(
            "bearing pressure",
            f"{face}, {_at(state, tightened)}",
            limit / pressure,
            joint.requirements.bearing_factor,
            f"{pressure:.0f} MPa mean on {face}, limit {limit:.0f} MPa",
            "a larger or harder washer, a flange nut, or less preload",
        )
        for state in tightened.states
        for face, pressure, limit in state.bearings
        if limit is not None and pressure > 0.0
    )


def _stripping(joint: Joint, tightened: Tightened) -> list[Criterion]:
    candidates = []
    for state in tightened.states:
        result = strength.stripping(joint, state.block_temperature)
        if result is not None:
            candidates.append(
                Criterion(
                    "thread stripping in the block",
                    _at(state, tightened),
                    result.force / max(state.fastener_force, 1e-9),
                    joint.requirements.stripping_factor,
                    f"{result.weaker} strips at {result.force / 1e3:.0f} kN",
                    "more engagement, a thread insert, or a stronger block material",
                )
            )
    return _worst(candidates)


def _crush(tightened: Tightened) -> list[Criterion]:
    return _worst(
        Criterion(
            "gasket crush",
            f"{zone}, {_at(state, tightened)}",
            limit / greatest,
            1.0,
            f"{greatest:.0f} MPa on {zone}, limit {limit:.0f} MPa",
            "a wider zone, less preload, or less step between the zones",
        )
        for state in tightened.states
        for zone, greatest, limit in state.zone_greatest
        if limit is not None and greatest > 0.0
    )


def sealing_needed(joint: Joint, gas_pressure: float) -> float:
    """Return the contact pressure (MPa) that the sealing line must have at a gas pressure (MPa)."""
    return max(joint.requirements.sealing_ratio * gas_pressure, joint.requirements.sealing_minimum)
