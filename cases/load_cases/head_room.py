"""Head-room on combustion: the factor on gas at which a sealing line falls short of what it then needs."""

from __future__ import annotations

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.load_history import State, gas_trial
from headjoint.cases.models.condensed import Model, line_lacking
from headjoint.model.base.roots import rising_bracket, rising_root
from headjoint.model.formulas.estimate import LARGEST_MARGIN

ACCURACY = 1e-3  # of the factor; a cell's trial costs a tenth of a second


def sealed_factor(model: Model, state: State, without: Equilibrium, *, accuracy: float = ACCURACY) -> float | None:
    """Return the factor on gas pressure at which a sealing line falls short of its need, by root-finding.

    without : the state's equilibrium without gas. None where all hold up to `LARGEST_MARGIN`; 0 where one falls short
    without any gas. The side that seals is given.
    """
    start = without.q

    def short(factor: float) -> float:
        nonlocal start
        trial = gas_trial(model, state, factor, start)
        start = trial.q
        return line_lacking(model.joint, model.lines(trial), factor * state.case.gas_pressure)

    if line_lacking(model.joint, model.lines(without), 0.0) >= 0.0:
        return 0.0
    bracket = rising_bracket(short, LARGEST_MARGIN)
    if bracket is None:
        return None
    low, high = bracket
    while low == 0.0 and short(high / 2.0) >= 0.0:  # a factor far below one, so that the accuracy is relative
        high /= 2.0
    found = rising_root(short, low, high, accuracy * high)
    return found - accuracy * high
