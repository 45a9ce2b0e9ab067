"""The linear solve of a row: exact on a nut by itself, and quick where it was slow before, with the same answer."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse as sp

from headjoint.cases.condensed.newton_step import FINE, Tangent, point_products
from headjoint.cases.condensed.reduced_joint import iterated_goal
from headjoint.cases.whole_head import row_solver
from headjoint.cases.whole_head.beside_mean import NutBlock, elastic_block, scaled
from headjoint.cases.whole_head.iteration import iterated, product_with
from headjoint.cases.whole_head.row_solver import ROUGH, SETTLED, RowSolver
from headjoint.cases.whole_head.slow_directions import MOST, SlowDirections, no_directions
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


def test_slow_directions_follow_a_tangent_by_the_slopes_that_have_changed():
    tangent = tangent_of(2, lambda n: 10.0 ** RANDOM.uniform(0.0, 4.0, n))
    n = len(tangent.K)
    found = iterated(tangent, RANDOM.normal(size=n), 1e-10, 400, lambda r: r / 100.0, no_directions(n, n)).slow
    slope, spring = tangent.weighted_slope.copy(), tangent.spring.copy()
    slope[[1, 5]], spring[3] = [7.0, 2e5], 40.0
    changed = replace(tangent, weighted_slope=slope, spring=spring)
    for known, one in (
        (found, tangent),
        (found.under(changed), changed),
        (found.under(changed).under(tangent), tangent),
    ):
        matrix = tangent.K.dense() + np.diag(one.weighted_slope + one.spring)
        products = known.vectors @ matrix
        assert len(products) > 1
        assert known.products == pytest.approx(products, abs=1e-9 * np.abs(products).max())
        assert known.energy == pytest.approx(products @ known.vectors.T, abs=1e-9 * np.abs(known.energy).max())


def test_slow_directions_know_what_couples_those_that_are_added_to_those_before(monkeypatch):
    tangent = tangent_of(2, lambda n: 10.0 ** RANDOM.uniform(0.0, 4.0, n))
    n, few = len(tangent.K), MOST // 2  # steps, so that none has to go for another
    first = iterated(tangent, RANDOM.normal(size=n), 1e-10, few, lambda r: r / 100.0, no_directions(n, n)).slow
    monkeypatch.setattr(SlowDirections, "deflation", lambda self: None)  # as where they cannot be told apart
    both = iterated(tangent, RANDOM.normal(size=n), 1e-10, few, lambda r: r / 100.0, first).slow
    assert len(both.vectors) > len(first.vectors) > 1
    matrix = tangent.K.dense() + np.diag(tangent.weighted_slope + tangent.spring)
    energy = both.vectors @ matrix @ both.vectors.T
    new = len(both.vectors) - len(first.vectors)
    assert np.abs(energy[:new, new:]).max() > 0.1  # the same is found twice
    assert both.energy == pytest.approx(energy, abs=1e-9 * np.abs(energy).max())


def test_what_is_held_stays_at_rest_whatever_was_slow_before():
    tangent = tangent_of(2, lambda n: 10.0 ** RANDOM.uniform(0.0, 4.0, n))
    n = len(tangent.K)
    slow = iterated(tangent, RANDOM.normal(size=n), 1e-10, 400, lambda r: r / 100.0, no_directions(n, n)).slow
    assert len(slow.vectors) > 1
    free = np.setdiff1d(np.arange(n), np.arange(0, n, 3))
    load = np.zeros(n)
    load[free] = RANDOM.normal(size=len(free))
    found = iterated(replace(tangent, free=free), load, 1e-10, 400, lambda r: r / 100.0, slow)
    matrix = tangent.K.dense() + np.diag(tangent.weighted_slope + tangent.spring)
    expected = np.zeros(n)
    expected[free] = np.linalg.solve(matrix[np.ix_(free, free)], load[free])
    assert found.solution == pytest.approx(expected, abs=1e-7 * np.abs(expected).max())
    assert found.slow is slow


def test_a_rough_step_takes_elastic_products_in_single_precision_and_keeps_none_of_them():
    tangent = tangent_of(2, lambda n: 10.0 ** RANDOM.uniform(0.0, 4.0, n))
    load = RANDOM.normal(size=len(tangent.K))
    whole, rough = (product_with(tangent, load, single) for single in (False, True))
    assert 0.0 < np.abs(rough - whole).max() < 1e-6 * np.abs(whole).max()
    none = no_directions(len(load), len(load))
    found = iterated(tangent, load, 1e-2, 400, lambda r: r / 100.0, none, single=True)
    left = load - product_with(tangent, found.solution)
    assert np.linalg.norm(left) < 1.001e-2 * np.linalg.norm(load)
    assert len(found.slow.vectors) == 0


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
    nut = NutBlock(some, some, point_products(tangent.B[some][:, some]), elastic_block(tangent.K, some))
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
    nut = NutBlock(some, some, point_products(tangent.B[some][:, some]), elastic_block(tangent.K, some))
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


class Listening(RowSolver):
    """A solver that says how exactly it would solve."""

    def _iterated(self, tangent, residual, accuracy, most, single=False):
        self.asked.append((accuracy, single))
        return residual


def asked_of(tangents, sizes):
    """Accuracies that a solver of two invented bores asks for, and whether in single precision."""
    tile, numbers, _ = invented_row(2)
    points = SimpleNamespace(weight=np.ones(3), gasket_face_of=np.arange(3))
    solver = Listening(points, tile, numbers)
    solver._tired, solver.asked = False, []
    for tangent, size in zip(tangents, sizes, strict=True):
        solver.solve(tangent, np.ones(numbers.count), size)
    return solver.asked


def test_no_step_is_solved_more_exactly_than_newtons_goal_wants():
    """A tenth of the goal is left over, where the pace of the steps before would have asked for more."""
    tangent = tangent_of(2)
    goal = iterated_goal(len(tangent.K))
    asked = [accuracy for accuracy, _ in asked_of([tangent] * 4, (1e-3, 1e-8, 2.0 * goal, 0.0))]
    assert asked[1:] == pytest.approx([0.1 * goal / 1e-8, ROUGH, FINE])


def test_while_many_slopes_move_a_step_is_rough_whatever_the_pace():
    still = tangent_of(2)
    n = len(still.K)
    more = SETTLED + 1
    assert n > more
    few, many = (np.where(np.arange(n) < count, 2.0, 1.0) for count in (SETTLED, more))
    pace = 0.3 * 1e-2**1.5
    for slope, expected in ((few, pace), (many, ROUGH), (np.where(many > 1.0, 1.1, 1.0), pace)):
        moved = replace(still, weighted_slope=slope)
        assert asked_of([still, moved], (1e-2, 1e-4))[1] == (pytest.approx(expected), expected == ROUGH)
    # near the goal, and of a figure that stands alone, whatever moves
    moved = replace(still, weighted_slope=many)
    assert asked_of([still, moved], (1e-5, 1e-8))[1][0] < ROUGH
    assert asked_of([still, moved], (1e-5, 0.0))[1][0] == FINE


def test_a_step_that_single_precision_does_not_solve_is_solved_in_double(monkeypatch):
    class Failing(Listening):
        def _iterated(self, tangent, residual, accuracy, most, single=False):
            super()._iterated(tangent, residual, accuracy, most, single)
            return None if single else residual

    monkeypatch.setattr(row_solver, "near_row", lambda *_: None)
    tile, numbers, _ = invented_row(2)
    solver = Failing(SimpleNamespace(weight=np.ones(3), gasket_face_of=np.arange(3)), tile, numbers)
    solver._tired, solver.asked = False, []
    for _ in range(2):  # of the first step nobody knows the pace, and it is solved exactly
        assert (solver.solve(tangent_of(2), np.ones(numbers.count), 1e-2) == 1.0).all()
    assert [single for _, single in solver.asked] == [False, True, False]
    assert solver.factorisations == 1
    # and so is all that comes after
    solver.solve(tangent_of(2), np.ones(numbers.count), 1e-2)
    assert [single for _, single in solver.asked][3:] == [False]
