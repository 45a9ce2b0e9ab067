"""Studs bend in a row with something odd in it as in one mesh of all its bores that has the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from headjoint.cases.condensed.stud_rows import against_shears
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.load_cases.load_history import History, without_gas
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.whole_head.as_found import HeadModel, as_found
from headjoint.cases.whole_head.row import row_of
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.row import Hollow, RowAsFound
from headjoint.postproc.cell.stuck_nuts import stud_bending
from tests.test_odd_row import states_of
from tests.test_row_bending import whole_mesh
from tests.test_row_ends import FINE, closed_condensed, closed_free
from tests.test_whole_head import firing

ODD = {"a hollow": RowAsFound(hollows=(Hollow(0, 0.02, 80.0),))}


@pytest.fixture(scope="module")
def one_mesh():
    """Two bores with both ends, meshed and condensed as one, the first fired."""
    closed_condensed(FINE)  # the tile before planes of one mesh are taken away
    with pytest.MonkeyPatch.context() as patch:
        assembled = whole_mesh(patch, 2, fired=0)
        yield assembled, watched_cell(assembled)


def bending_of(rows, model):
    """States of a row, and the bending of its studs in each."""
    states = tuple(states_of(model))
    history = History(model, states, (), by_formula(model.joint, model.joint.tightening.preload, len(rows.arm)))
    return states, stud_bending(rows, history, without_gas(history))


@pytest.mark.long  # a mesh of two bores condensed whole
@pytest.mark.slow
@pytest.mark.parametrize("what", ODD)
def test_studs_of_an_odd_row_bend_as_in_one_mesh_of_it(one_mesh, what):
    """The first bore fired alone, a hollow between both: nothing is symmetric along the row."""
    assembled, found = one_mesh
    cell, tile = closed_free()
    row = row_of(replace(cell, row=ODD[what]), tile, closed_condensed(FINE), 2)
    plain = condensed_cell(assembled, found.reduced)
    odd = replace(assembled.cell, row=ODD[what])
    whole = as_found(HeadModel(odd, plain.reduced, plain.points, plain.gas_lift))
    rows, ways = row.watched.rows, row.watched.rows.loose
    other = replace(found.bending, loose=ways)
    expected = against_shears(other.flexibility, ways)
    assert against_shears(rows.flexibility, ways) == pytest.approx(expected, abs=1e-8 * np.abs(expected).max())
    (states, mine), (_, theirs) = bending_of(rows, firing(row, 0)), bending_of(other, whole)
    for state, first, second in zip(states, mine, theirs, strict=True):
        for name in ("stress", "sliding", "sticking", "shear"):
            greatest = np.abs(getattr(second, name)).max()
            assert getattr(first, name) == pytest.approx(getattr(second, name), abs=1e-5 * greatest), (state.name, name)
        if second.amplitude is not None:
            assert first.amplitude == pytest.approx(second.amplitude, abs=1e-5 * second.stress.max())
