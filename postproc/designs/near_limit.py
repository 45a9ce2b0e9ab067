"""The gas that a state just seals, found near that of a like design: by two trials at a time, a little apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.head_room import lacking_at
from headjoint.cases.load_cases.load_history import State
from headjoint.cases.models.condensed import Model
from headjoint.cases.models.gas_that_seals import search_near
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError

# solves a state at factors on its gas, from unknowns (n,) to begin with
Solve = Callable[[Sequence[float], Sequence[FloatArray]], Sequence[Equilibrium | SolveError]]


@dataclass(frozen=True)
class Limit:
    """A state at the gas that it just seals.

    factor : on its gas. gas : MPa. at_rest : what the line lacks (MPa) without gas. rest, q : (n,) unknowns without gas
    and there. by_gas : (n,) how they go with gas there, by MPa.
    """

    factor: float
    gas: float
    at_rest: float
    rest: FloatArray = field(repr=False)
    q: FloatArray = field(repr=False)
    by_gas: FloatArray = field(repr=False)


def limit_at(model: Model, state: State, rest: Equilibrium, factor: float, tried: float, q: FloatArray) -> Limit:
    """Return the limit of a state whose `factor` was searched for. rest : it without gas.

    q : (n,) unknowns at the factor that was `tried` last; from there they go on as they do with gas.
    """
    gas = state.case.gas_pressure
    by_gas = (state.equilibrium.q - rest.q) / gas
    there = q + (factor - tried) * gas * by_gas
    return Limit(factor, factor * gas, lacking_at(model, rest, 0.0), rest.q, there, by_gas)


def limit_near(model: Model, state: State, rest: Equilibrium, before: Limit, solve: Solve) -> Limit | None:
    """Return the limit of a state, None where it is not found near that of a like one. rest : it without gas.

    As much gas as before is tried first, or more as the line is pressed harder without any.
    """
    gas = state.case.gas_pressure
    at_rest, fired = lacking_at(model, rest, 0.0), lacking_at(model, state.equilibrium, gas)
    if before.at_rest >= 0.0 or not at_rest < min(fired, 0.0):
        return None
    q, at, by_gas = before.q + rest.q - before.rest, before.gas, before.by_gas
    trials = search_near(before.gas / gas * (at_rest / before.at_rest))
    try:
        pair = next(trials)
        while True:
            low, high = solve(pair, [q + (factor * gas - at) * by_gas for factor in pair])
            if isinstance(low, SolveError) or isinstance(high, SolveError):
                return None
            q, at, by_gas = low.q, pair[0] * gas, (high.q - low.q) / ((pair[1] - pair[0]) * gas)
            lacks = [lacking_at(model, one, factor * gas) for one, factor in zip((low, high), pair, strict=True)]
            pair = trials.send((lacks[0], lacks[1]))
    except StopIteration as done:
        return None if done.value is None else Limit(done.value, done.value * gas, at_rest, rest.q, q, by_gas)
