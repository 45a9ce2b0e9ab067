"""More gas than the file states, in a row of bores: the bore that holds least of it is found, and no other searched."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from headjoint.cases.load_cases import load_history
from headjoint.cases.whole_head import gas_trials as module
from headjoint.cases.whole_head.gas_trials import gas_trials

# what each bore's line lacks, MPa: so much without gas and so much more under the stated gas, in proportion
AT_REST = (-10.0, -4.0, -30.0, -10.0)
MORE = (9.0, 2.5, 28.0, 9.0)
ASSEMBLED, HOT = (SimpleNamespace(name="hot", case=SimpleNamespace(temperatures={"head": t}, gas_pressure=0.0),
                                  equilibrium=SimpleNamespace(q=t)) for t in (20.0, 90.0))  # fmt: skip


def model_of(slack=False, kind="bearing"):
    return SimpleNamespace(
        slack=np.array([slack, False]),
        reduced=SimpleNamespace(groups=[SimpleNamespace(kind="gasket"), SimpleNamespace(kind=kind)]),
        firing=lambda bore: SimpleNamespace(bore=bore),
    )


@pytest.fixture
def searched(monkeypatch):
    """Bores whose factor was searched; whatever is solved answers in proportion."""
    found = []

    def trial(model, state, factor, start=None):
        return SimpleNamespace(factor=factor, start=start)

    def lacking(model, equilibrium, pressure):
        assert pressure == pytest.approx(equilibrium.factor * 8.0)
        return AT_REST[model.bore] + MORE[model.bore] * equilibrium.factor

    def factor(model, state, rest):
        assert rest.factor == 0.0
        found.append(model.bore)
        return -AT_REST[model.bore] / MORE[model.bore]

    monkeypatch.setattr(module, "gas_trial", trial)
    monkeypatch.setattr(load_history, "gas_trial", trial)
    monkeypatch.setattr(module, "lacking_at", lacking)
    monkeypatch.setattr(module, "sealed_factor", factor)
    return found


def fired(number):
    case = SimpleNamespace(temperatures={"head": 90.0}, gas_pressure=8.0)
    return SimpleNamespace(name="firing", case=case, equilibrium=SimpleNamespace(q=0.0, factor=1.0), bore=number)


def test_the_bore_that_holds_least_more_gas_is_found_and_only_where_needed_searched(searched):
    states = [ASSEMBLED, HOT, *map(fired, range(4))]
    found = gas_trials(model_of(), states, [None, None, 0, 1, 2, 3])
    # in hand at the stated gas: 1, 1.5, 2 and 1 MPa; factors 10/9, 8/5, 15/14 and 10/9
    assert found.least == 4
    assert found.factor == pytest.approx(15.0 / 14.0)
    # the last is the first's mirror image, and the second seals under 10/9
    assert searched == [0, 2]


def test_every_fired_state_is_solved_without_its_gas_from_the_hot_one(searched):
    found = gas_trials(model_of(), [ASSEMBLED, HOT, fired(1)], [None, None, 1])
    assert found.without[:2] == (None, None)
    assert found.without[2].factor == 0.0
    assert found.without[2].start == HOT.equilibrium.q
    assert gas_trials(model_of(), [ASSEMBLED, fired(1)], [None, 1]).without[1].start is None


def test_nothing_is_tried_where_a_trial_would_hold_a_slack_stud_fast(searched):
    for made, tried in ((model_of(slack=True), True), (model_of(slack=True, kind="tied"), False)):
        found = gas_trials(made, [ASSEMBLED, fired(0)], [None, 0])
        assert (found.least is not None, found.without[1] is not None) == (tried, tried)
