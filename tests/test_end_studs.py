"""Studs at the ends of a row of bores: a model that has not the ends judges them by a limit, never kinder than the row."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from conftest import bank_text
from hand_made import joint

from headjoint.model.formulas.sealing import Seal
from headjoint.model.formulas.stud_bending import beam_bending
from headjoint.model.formulas.turning import torsion_of
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.verdict.model_seen import ModelSeen
from headjoint.postproc.verdict.requirement import CoarseFigure, Judged, NotJudged, PastYield, Tightened
from headjoint.postproc.verdict.row_ends import ROW_ENDS
from headjoint.postproc.verdict.state_figures import state_figures
from tests.test_between_studs import coarse

FORCE = 30e3


def judged(own, tension: float | None = 300.0, figures: tuple[CoarseFigure, ...] = (), past=None, then=()):
    """A stud of a row, cold at assembly, then with the head at 100 degC on a block of 80, and what comes `then`."""
    states = [
        state_figures(
            own, name=name, kind="hot", fastener_temperature=20.0, head_temperature=head, block_temperature=block,
            gas_pressure=0.0, force=FORCE, assembled=FORCE, seal=Seal(12.0, 24.0), stroke=None, tension=tension,
        )
        for name, head, block in (("assembly", 20.0, 20.0), ("hot", 100.0, 80.0), *then)
    ]  # fmt: skip
    levels = {name: Tightened(name, FORCE, tuple(states), past_yield=past) for name in ("least", "nominal", "greatest")}
    return ROW_ENDS.judge(Judged(own, ModelSeen("", ""), levels, coarse=figures))


# of the head, counted from 20 degC, 21.6e-6 up to its 100 degC, less that of the block
GROWTH = 21.6e-6 * 80.0 - 11e-6 * 60.0


def test_an_end_stud_bears_what_the_worst_one_does_and_the_growth_beyond_it():
    own = joint(beyond=40.0, from_middle=90.0)
    bending = beam_bending(own, GROWTH * 40.0, FORCE)
    assert bending.sticks
    found, strength = judged(own), own.fastener.yield_strength.at(20.0)
    diameter = (4.0 * own.fastener.smallest_area / math.pi) ** 0.5
    shear = torsion_of(own, FORCE).left / (math.pi / 16.0 * diameter**3)
    assert found.value == pytest.approx(strength / math.hypot(300.0 + bending.stress, math.sqrt(3.0) * shear))
    assert found.holds
    assert f"{bending.stress:.1f} MPa of it" in found.detail.written()


def test_a_nut_that_slid_in_the_heat_is_bent_the_other_way_in_the_cold():
    own = joint(beyond=40.0, from_middle=90.0)
    warm, cold = judged(own), judged(own, then=(("cold again", 20.0, 20.0),))
    assert cold.value == pytest.approx(warm.value)  # as much growth goes back as has come
    # growth goes further back than it came where the block is left hot
    assert judged(own, then=(("block hot", 20.0, 80.0),)).value < warm.value


def test_what_is_tightened_past_yield_is_not_judged_at_the_ends():
    found = judged(joint(beyond=40.0, from_middle=90.0), past=PastYield(0.004, 0.04))
    assert isinstance(found, NotJudged)
    assert found.deciding
    assert "past yield on purpose" in found.why


def test_what_no_model_has_of_bending_counts_from_the_middle_of_the_row():
    own = joint(beyond=40.0, from_middle=90.0)
    stress = FORCE / own.fastener.smallest_area
    straight, bent = judged(own, None), judged(own, stress)
    assert straight.value < bent.value
    assert straight.value == pytest.approx(judged(replace(own, beyond=90.0), stress).value)


def test_beside_one_stud_a_coarse_mesh_says_how_its_head_bends():
    own = joint(beyond=40.0, from_middle=90.0)
    strength = own.fastener.yield_strength.at(20.0)
    more = beam_bending(own, GROWTH * 40.0, FORCE).stress / strength
    found = judged(own, None, (coarse("yield", 1.4, 1.3),))
    assert found.value == pytest.approx(1.0 / (1.0 / 1.3 + more))
    assert found.detail.written().startswith(f"{strength / found.value:.0f} MPa at most")


def test_a_limit_that_falls_short_proves_no_failure_but_nothing_is_called_sound():
    found = judged(joint(beyond=40.0, from_middle=90.0), 0.98 * joint().fastener.yield_strength.at(20.0))
    assert isinstance(found, NotJudged)
    assert found.deciding
    assert "`headjoint head` judges it" in found.why
    assert "against 1.10 needed" in found.why


def test_where_nothing_gets_warm_the_ends_of_a_row_bear_no_more():
    own = joint(beyond=40.0, from_middle=90.0)
    levels = {name: Tightened(name, FORCE, ()) for name in ("least", "nominal", "greatest")}
    assert ROW_ENDS.judge(Judged(own, ModelSeen("", ""), levels)) is None


def test_a_row_of_unknown_length_is_not_judged_and_one_fastener_has_no_row():
    found = judged(joint(beyond=None))
    assert isinstance(found, NotJudged)
    assert found.deciding
    assert "`in_row` in [layout]" in found.why
    assert judged(joint()) is None
    assert judged(joint(beyond=0.0, from_middle=90.0)) is None


@pytest.mark.parametrize(("in_row", "bores", "beyond"), [(4, 1, 147.0), (4, 2, 49.0), (4, 3, 0.0), (1, 1, 0.0)])
def test_beyond_is_what_lies_between_the_end_of_a_model_and_that_of_the_row(in_row, bores, beyond):
    # from the middle of four bores the last one is 1.5 pitches away, that of a model of two is one
    text = bank_text().replace('kind = "bank"', f'kind = "bank"\nin_row = {in_row}\nbores = {bores}')
    assert parse_cell(text).joint.beyond == pytest.approx(beyond)
    assert parse_cell(bank_text()).joint.beyond is None
