"""How much cylinder pressure every requirement allows: at the file's own tightness, and at the best one.

More preload seals more gas until stress forbids it, so that the most gas is where what is judged by gas and what is
judged by stress just hold together. Both go nearly in proportion, the one to gas and the other to what decides how
tight: each is turned by its own factor until both are used up. What comes out is searched again by the way that every
other question goes.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable

import numpy as np

from headjoint.model.base.figure import Figure, Text, said
from headjoint.model.formulas.how_tight import how_tight
from headjoint.model.formulas.peak_pressure import ATMOSPHERE
from headjoint.model.joint import Joint
from headjoint.model.reading.overrides import GAS, Value
from headjoint.model.reading.overrides import number as number_of
from headjoint.postproc.designs.outcome import Outcome
from headjoint.postproc.studies.size_search import Found, Trials, search
from headjoint.postproc.verdict.change_first import BY_GAS
from headjoint.postproc.verdict.table import REQUIREMENTS

GASES = tuple(float(x) for x in np.geomspace(0.25, 4.0, 10))
ROUND_BEST = (0.7, 0.9, 1.03, 1.2)  # of the most gas, where the answer is searched again
TIGHTEST = 2.2  # of what the file says, and the loosest its inverse
CLOSE = 2e-3  # to both limits, where the search for the best ends
INSIDE = 0.997  # of the tightest, so that its stress still allows a little
MOST_STEPS = 15
LARGEST_STEP = 1.5  # by which either is changed at once
QUESTION = "cylinder pressure"


def gas(trials: Trials, joint: Joint) -> Found:
    """Answer how much cylinder pressure, all load cases with gas in proportion."""
    own = _own(joint)
    places = [own * share for share in GASES]
    found = search(trials, QUESTION, "bar", own, places, lambda x: {GAS: x / own}, upwards=False)
    return _with_boost(trials, found, own)


def gas_at_best(trials: Trials, joint: Joint) -> Found | None:
    """Answer the same at the tightness that allows most of it; None where yield control decides how tight.

    The search goes on from the file's own gas and tightness.
    """
    path, quantity, tight, unit = how_tight(joint.tightening)
    if not unit:
        return None
    own = _own(joint)
    best = _best(trials, lambda x, share: {path: f"{x!r} {unit}", GAS: share}, tight)
    x, share = float(f"{INSIDE * best[0]:.6g}"), best[1]
    places = [own * share * one for one in ROUND_BEST]
    at = said("at the best {}, {}", quantity, Figure(x, unit, ".4g"))
    changes: Callable[[float], dict[str, Value]] = lambda y: {path: f"{x!r} {unit}", GAS: y / own}  # noqa: E731
    found = search(trials, f"{QUESTION} at the best {quantity}", "bar", own, places, changes, upwards=False, quick=True)
    return dataclasses.replace(_with_boost(trials, found, own), at=at)


def _own(joint: Joint) -> float:
    return 10.0 * max(case.gas_pressure for case in joint.load_cases)


def _best(trials: Trials, changes: Callable[[float, float], dict[str, Value]], own: float) -> tuple[float, float]:
    """Return how tight, and which share of the file's gas, use up what gas and what stress allow."""
    x, share = own, 1.0
    for _ in range(MOST_STEPS):
        outcome = trials.one(changes(x, share))
        by_gas, by_stress = _in_hand(outcome, BY_GAS), _in_hand(outcome, _by_stress())
        if abs(by_gas - 1.0) < CLOSE and (abs(by_stress - 1.0) < CLOSE or x >= TIGHTEST * own):
            break
        share *= min(max(by_gas, 1.0 / LARGEST_STEP), LARGEST_STEP)
        x *= min(max(by_stress, 1.0 / LARGEST_STEP), LARGEST_STEP)
        x = min(max(x, own / TIGHTEST), TIGHTEST * own)
    return x, share


def _by_stress() -> tuple[str, ...]:
    return tuple(key for key, one in REQUIREMENTS.items() if one.end == "greatest" and key not in BY_GAS)


def _in_hand(outcome: Outcome, keys: Iterable[str]) -> float:
    """Return how often the needs of some requirements are met; much less where a design has no solution."""
    if outcome.problem:
        return 1.0 / LARGEST_STEP
    found = [one.in_hand for key in keys if (one := outcome.criterion(key)) is not None]
    return min(found, default=LARGEST_STEP)


def _with_boost(trials: Trials, found: Found, own: float) -> Found:
    """Return an answer with the boost that goes with it, where the file says at which boost its own gas holds."""
    stated = trials.source.content.get("gas", {}).get("boost")
    if stated is None or found.greatest is None:
        return found
    boost = number_of(trials.source.content, "gas.boost", stated)
    assert boost is not None
    return dataclasses.replace(found, beside=_boost(boost, found.greatest.at / own))


def _boost(boost: float, share: float) -> Text:
    """Return the boost at a share of the gas pressure: this goes with absolute manifold pressure."""
    most = 10.0 * ((ATMOSPHERE + boost) * share - ATMOSPHERE)
    return said("boost {} in place of {}", Figure(most, "bar", ".2f"), Figure(10.0 * boost, "bar", ".2f"))
