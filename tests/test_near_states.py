"""What a like design leaves to one that is moved: states that are asked for the same, places to start from."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.condensed.stiffness_key import fitted
from headjoint.cases.load_cases.load_history import demand_of, run
from headjoint.cases.load_cases.near import all_asked, shares_of
from headjoint.cases.models.condensed import OneFastener
from headjoint.cases.models.from_mesh import COARSE, one_fastener
from headjoint.cases.service.tightened import tightened
from headjoint.model.formulas.tightened import by_formula
from headjoint.postproc.designs.outcome import source_of

SOURCE = source_of(shipped_files("cells")["boosted-four"], "stud")


@cache
def stiffness():
    return one_fastener(SOURCE.design({}), COARSE)[1].reduced


def model(**changes: str) -> OneFastener:
    joint = SOURCE.design({path.replace("__", "."): value for path, value in changes.items()})
    return OneFastener(joint, fitted(stiffness(), joint))


@cache
def stated():
    own = model()
    return [run(own, found) for found in tightened(own).over(own.joint.tightening).values()]


def taken_over(moved: OneFastener) -> list[str]:
    """Names of the states of a moved joint, at nominal preload, that are those of the stated one; all are right."""
    nominal = stated()[1]
    found, alone = run(moved, tightened(moved), stated()), run(moved, tightened(moved))
    for one, other in zip(found.states, alone.states, strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-9)
        assert (one.name, one.kind, one.case) == (other.name, other.kind, other.case)
        assert one.equilibrium.pressure == pytest.approx(other.equilibrium.pressure, rel=1e-8, abs=1e-8)
        assert one.permanent_set == pytest.approx(other.permanent_set, rel=1e-9, abs=1e-12)
    pairs = zip(found.states, nominal.states, strict=True)
    return [one.name for one, other in pairs if one.equilibrium is other.equilibrium]


def test_the_same_joint_is_not_solved_again():
    assert taken_over(model()) == ["assembly", "settled", "hot", "firing", "cold again"]


def test_a_load_case_by_another_name_is_the_same_state_by_that_name():
    joint = model().joint
    cases = [dataclasses.replace(one, name="full load") if one.name == "firing" else one for one in joint.load_cases]
    moved = OneFastener(dataclasses.replace(joint, load_cases=tuple(cases)), model().reduced)
    assert taken_over(moved) == ["assembly", "settled", "hot", "full load", "cold again"]


def test_more_gas_leaves_all_states_without_gas():
    """It relieves the gasket, so that nothing sets any further by it."""
    assert taken_over(model(load_cases__gas_pressure="95 bar")) == ["assembly", "settled", "hot", "cold again"]


def test_another_temperature_leaves_what_comes_before_it():
    assert taken_over(model(load_cases__temperatures__head="140 degC")) == ["assembly", "settled"]


@pytest.mark.parametrize(
    "changes",
    [{"gasket__laws_at": "low"}, {"tightening__torque": "83 N.m"}, {"gasket__body__step": "0.08 mm"}],
    ids=["other laws", "another torque", "another step"],
)
def test_nothing_is_left_where_the_first_state_is_another(changes):
    assert taken_over(model(**changes)) == []


def test_what_creeps_or_yields_is_like_nothing_else():
    own = model()
    demand = demand_of(own, own.joint.load_cases[0], force=np.array([50e3]))
    sets = np.zeros(own.reduced.points)
    assert all_asked(own.reduced, demand, sets) == all_asked(own.reduced, demand, sets)
    yielding = dataclasses.replace(demand, series=lambda length: (length, length))
    assert all_asked(own.reduced, yielding, sets) != all_asked(own.reduced, yielding, sets)


def test_a_tightening_lies_between_others_by_its_preload():
    """Lagrange's factors at 95 kN of 80, 100 and 120: (95 - 100)(95 - 120)/(-20 -40) = 0.15625, and so on."""
    joint = stated()[1].joint
    near = [by_formula(joint, force) for force in (80e3, 100e3, 120e3)]
    assert shares_of(by_formula(joint, 95e3), near) == pytest.approx([0.15625, 0.9375, -0.09375])
    assert shares_of(by_formula(joint, 300e3), near) == pytest.approx([0.0, 0.0, 1.0])
    assert np.sum(shares_of(by_formula(joint, 130e3), near)) == pytest.approx(1.0)
