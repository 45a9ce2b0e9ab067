"""Head-room on combustion: the factor on gas at which a sealing line falls short of what it then needs."""

from __future__ import annotations

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.load_history import State, gas_trial
from headjoint.cases.models.condensed import Model, line_lacking
from headjoint.cases.models.gas_that_seals import factor_that_seals
from headjoint.model.base.arrays import FloatArray


def sealed_factor(model: Model, state: State, without: Equilibrium) -> float | None:
    """Return the factor on gas pressure at which a sealing line falls short of its need, by root-finding.

    without : the state's equilibrium without gas. None where all hold up to `LARGEST_MARGIN`; 0 where one falls short
    without any gas. The side that seals is given.
    """
    return sealed_at(model, state, without)[0]


def sealed_at(model: Model, state: State, without: Equilibrium) -> tuple[float | None, float, FloatArray]:
    """Return what `sealed_factor` does, the factor that was tried last, and the unknowns (n,) there."""
    tried, q = 1.0, state.equilibrium.q

    def short(factor: float) -> float:
        nonlocal tried, q
        trial = gas_trial(model, state, factor, q)
        tried, q = factor, trial.q
        return lacking_at(model, trial, factor * state.case.gas_pressure)

    at_rest = lacking_at(model, without, 0.0)
    factor = factor_that_seals(short, at_rest, lacking_at(model, state.equilibrium, state.case.gas_pressure))
    return factor, tried, q


def lacking_at(model: Model, equilibrium: Equilibrium, gas_pressure: float) -> float:
    """Return by how much (MPa) the worst sealing line falls short of its need at a gas pressure (MPa)."""
    return line_lacking(model.joint, model.lines(equilibrium), gas_pressure)
