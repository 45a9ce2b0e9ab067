"""Every bore's gas taken away again, and the gas that the sealing lines of a row just hold."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.head_room import lacking_at, sealed_factor
from headjoint.cases.load_cases.load_history import State, each_without_gas, gas_trial
from headjoint.cases.whole_head.as_found import HeadModel

NEAR = 1e-4  # of a factor: bores that are mirror images of each other are not searched twice


@dataclass(frozen=True)
class GasTrials:
    """What a row does with other gas than its load cases state.

    without : the equilibrium of every state without its gas, None where it has none. least : number of the state in
    which gas may grow least, None where none has gas or nobody looked. factor : by how much there; None where all
    lines seal as far as is searched.
    """

    without: tuple[Equilibrium | None, ...] = field(repr=False)
    least: int | None
    factor: float | None


def can_be_tried(model: HeadModel) -> bool:
    """Return whether other gas can be tried: with nuts tied, a trial would hold a slack stud to its place."""
    return not any(model.slack) or any(group.kind == "bearing" for group in model.reduced.groups)


def states_without_gas(
    model: HeadModel,
    states: Sequence[State],
    fired: Sequence[int | None],
    stage: Callable[[str], None] = lambda name: None,
) -> tuple[Equilibrium | None, ...]:
    """Return the equilibrium of states in order without their gas, None where there is none or none can be tried.

    fired : each one's bore. Raises SolveError where one does not converge.
    """
    if not can_be_tried(model):
        return (None,) * len(states)

    def told_model(number: int) -> HeadModel:
        bore = fired[number]
        assert bore is not None
        stage(f"{states[number].name}, bore {bore + 1}, without its gas")
        return model.firing(bore)

    return tuple(each_without_gas(states, told_model))


def gas_trials(
    model: HeadModel,
    states: Sequence[State],
    fired: Sequence[int | None],
    stage: Callable[[str], None] = lambda name: None,
) -> GasTrials:
    """Return what states in order do without their gas, and where gas may grow least; `fired` is each one's bore.

    The factor on gas is searched where least is in hand under the stated gas, and at any other bore only where that
    does not seal under `1 - NEAR` of the least factor so far.

    Raises SolveError where a trial does not converge.
    """
    without = states_without_gas(model, states, fired, stage)
    if not can_be_tried(model):
        return GasTrials(without, None, None)

    def in_hand(number: int) -> float:
        state = states[number]
        return -lacking_at(model.firing(fired[number]), state.equilibrium, state.case.gas_pressure)

    def seals(number: int, factor: float) -> bool:
        state, seen = states[number], model.firing(fired[number])
        return lacking_at(seen, gas_trial(seen, state, factor), factor * state.case.gas_pressure) < 0.0

    least, found = None, None
    for number in sorted((number for number, bore in enumerate(fired) if bore is not None), key=in_hand):
        stage(f"{states[number].name}: gas that just seals")
        if found is not None and seals(number, (1.0 - NEAR) * found):
            continue
        rest = without[number]
        assert rest is not None
        factor = sealed_factor(model.firing(fired[number]), states[number], rest)
        if least is None or (factor is not None and (found is None or factor < found)):
            least, found = number, factor
    return GasTrials(without, least, found)
