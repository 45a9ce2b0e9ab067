"""The linear solve of a row: exact on a nut by itself, and quick where it was slow before, with the same answer."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse as sp

from headjoint.cases.condensed.newton_step import FINE, ROUGH, Tangent
from headjoint.cases.condensed.reduced_joint import iterated_goal
from headjoint.cases.whole_head.beside_mean import NutBlock, elastic_block, scaled
from headjoint.cases.whole_head.iteration import iterated, product_with
from headjoint.cases.whole_head.row_solver import RowSolver
from headjoint.cases.whole_head.slow_directions import no_directions
from headjoint.cases.whole_head.strong_modes import coupling, strong_row
from tests.test_row_ends import closed_row
from tests.test_whole_head import invented_row

RANDOM = np.random.default_rng(7)


def tangent_of(bores, slopes=None):
    """A row of invented tiles with an interface point at every unknown, its slope by default 1."""
    _, numbers, stiffness = invented_row(bores)
    n = numbers.count
    slope = np.ones(n) if slopes is None else slopes(n)
    identity = sp.identity(n, format="csr")
    return Tangent(stiffness, identity, identity, slope, np.full(n, 0.5), np.arange(n))


def test_an_iteration_that_was_slow_is_quick_the_second_time():
    tangent = tangent_of(2, lambda n: 10.0 ** RANDOM.uniform(0.0, 4.0, n))
    n = len(tangent.K)
    load, other = RANDOM.normal(size=n), RANDOM.normal(size=n)
    none = no_directions(n, n)
    first = iterated(tangent, load, 1e-10, 400, lambda r: r / 100.0, none)
    again = iterated(tangent, other, 1e-10, 400, lambda r: r / 100.0, first.slow)
    alone = iterated(tangent, other, 1e-10, 400, lambda r: r / 100.0, none)
    assert product_with(tangent, first.solution) == pytest.approx(load, abs=1e-7)
    assert product_with(tangent, again.solution) == pytest.approx(other, abs=1e-7)
    assert again.steps < 0.7 * alone.steps
    # what was added to them serves as well
    third = iterated(tangent, load + other, 1e-10, 400, lambda r: r / 100.0, again.slow)
    assert product_with(tangent, third.solution) == pytest.approx(load + other, abs=1e-7)
    # under another tangent, too, they say how much they are worth: the elastic product and the closures are kept apart
    changed = tangent_of(2, lambda n: 10.0 ** RANDOM.uniform(0.0, 4.0, n))
    found = iterated(changed, other, 1e-10, 400, lambda r: r / 100.0, first.slow)
    assert product_with(changed, found.solution) == pytest.approx(other, abs=1e-7)


def test_too_few_steps_give_no_solution():
    tangent = tangent_of(1)
    found = iterated(tangent, RANDOM.normal(size=len(tangent.K)), 1e-12, 2, lambda r: r, no_directions(1, 1))
    assert found.solution is None
    assert found.steps == 2


def test_the_elastic_stiffness_of_a_nut_is_that_block_of_the_rows():
    tangent = tangent_of(3)
    some = np.sort(RANDOM.choice(len(tangent.K), 9, replace=False))
    assert elastic_block(tangent.K, some) == pytest.approx(tangent.K.dense()[np.ix_(some, some)], abs=1e-9)


def test_a_nut_that_has_lifted_is_solved_exactly_by_itself():
    """With P the mean and A its own tangent on a nut, S P^-1 S' must be A^-1 there."""
    tangent = tangent_of(2, lambda n: np.where(np.arange(n) < 3, 1e6, 0.0))
    mean = np.full(len(tangent.K), 0.75e6)
    some = np.arange(5)
    nut = NutBlock(some, some, tangent.B[some][:, some], elastic_block(tangent.K, some))
    found = scaled(np.ones(len(mean)), [nut], tangent, mean, tangent.spring)
    own = nut.elastic + np.diag(tangent.weighted_slope[some] + tangent.spring[some])
    near = nut.elastic + np.diag(mean[some] + tangent.spring[some])
    load = np.zeros(len(mean))
    load[some] = RANDOM.normal(size=5)
    middle = np.zeros(len(mean))
    middle[some] = np.linalg.solve(near, found.before(load)[some])
    assert own @ found.after(middle)[some] == pytest.approx(load[some], rel=1e-7)


def test_a_nut_as_the_mean_is_left_to_it():
    tangent = tangent_of(1)
    some = np.arange(4)
    nut = NutBlock(some, some, tangent.B[some][:, some], elastic_block(tangent.K, some))
    found = scaled(np.full(len(tangent.K), 2.0), [nut], tangent, tangent.weighted_slope, tangent.spring)
    assert found.nuts == []
    assert found.before(np.ones(len(tangent.K))) == pytest.approx(2.0)


def test_a_mode_feels_interfaces_by_what_both_are_stiff_and_the_next_face_by_its_own():
    interface, first, second = 4.0, 0.2, 0.02
    even = np.array([[interface, first, second], [first, 0.5, 0.0], [second, 0.0, 0.5]])
    odd = even.copy()
    # between two tiles modes are as stiff as both parities together, 1: 0.2^2 / (4 x 1), and 0.02^2 / 4 beside 0.03^2
    even[2, 2] += 0.03
    odd[2, 2] -= 0.03
    assert coupling([even, odd], None, 2) == pytest.approx([0.1, np.hypot(0.01, 0.03)])
    # an end as stiff as one tile, 0.5, that couples both modes by 0.05
    end = np.array([[interface, 0.0, 0.0], [0.0, 0.5, 0.05], [0.0, 0.05, 0.5]])
    assert coupling([even, odd], end, 2) == pytest.approx([0.1, 0.05])


@pytest.mark.parametrize("row", [invented_row, closed_row])
def test_a_mode_that_feels_little_stands_alone_by_its_own_stiffness(row):
    tile, numbers, stiffness = row(3)
    found = strong_row(tile, numbers, np.inf)
    alone = np.flatnonzero(found.alone)
    assert found.alone[alone] == pytest.approx(1.0 / np.diag(stiffness.dense())[alone])
    # all but those in which a body shifts or turns freely, whose springs are known to the chain
    for across, own in numbers.modes.items():
        of_body = np.isin(np.arange(own.shape[1]), tile.modes[across].shift)
        assert np.isin(own[:, ~of_body], np.append(alone, -1)).all()
        assert not np.isin(own[:, of_body], alone).any()
        assert (found.numbers.modes[across] == own[:, of_body]).all()
        assert found.tile.parts[1, across].stiffness.shape[0] == found.numbers.interfaces.shape[-1] + of_body.sum()
    # coupled by what is asked for, nothing stands alone
    assert not strong_row(tile, numbers, 0.0).alone.any()


def test_no_step_is_solved_more_exactly_than_newtons_goal_wants():
    """A tenth of the goal is left over, where the pace of the steps before would have asked for more."""

    class Listening(RowSolver):
        def _iterated(self, tangent, residual, accuracy, most):
            self.asked = accuracy
            return residual

    tile, numbers, _ = invented_row(2)
    tangent = tangent_of(2)
    points = SimpleNamespace(weight=np.ones(3), gasket_face_of=np.arange(3))
    solver, load = Listening(points, tile, numbers), np.ones(numbers.count)
    solver._tired = False
    goal, asked = iterated_goal(numbers.count), []
    for size in (1e-3, 1e-8, 2.0 * goal, 0.0):
        solver.solve(tangent, load, size)
        asked.append(solver.asked)
    assert asked[1:] == pytest.approx([0.1 * goal / 1e-8, ROUGH, FINE])
