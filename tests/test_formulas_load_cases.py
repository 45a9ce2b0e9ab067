"""Load cases of one fastener and of a cell on two and three unknowns, whose states are springs in a row.

Parts of 100 kN/mm between overlap and head, a gasket of 100 mm2 x 1000 MPa/mm (4000 on its way back).
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import scipy.sparse as sp
from hand_made import ELASTIC, IRON, JOINT, LINEAR, WASHER, case, joint

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.load_cases.bore_cell_batch import Design, guide, run_many, with_gas
from headjoint.cases.load_cases.head_room import sealed_factor
from headjoint.cases.load_cases.load_history import cases_of, gas_trial, run
from headjoint.cases.models.condensed import (
    BoreCell,
    LineState,
    OneFastener,
    free_strains,
    load_factors,
    seal_of,
    stroke_of,
)
from headjoint.cases.models.gas_that_seals import factor_that_seals
from headjoint.model.cell import Liner
from headjoint.model.formulas.sealing import SealNeed, lacking
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.reading.reading import parse_cell

KE = 1e5
HOT = case("hot", "hot", head=100.0, block=80.0, fastener=60.0, gasket=90.0)
FIRED = case("fired", "firing", pressure=4.0, force=4e3)


def one_spring(law=LINEAR) -> ReducedJoint:
    return ReducedJoint(
        K=np.array([[KE, -KE], [-KE, KE]]),
        loads={"head": np.array([KE, -KE]), "gas": np.array([-1.0, 0.0]), "gas 1": np.array([-1e3, 0.0])},
        B=sp.csr_matrix(np.array([[1.0, 0.0]])),
        weight=np.array([100.0]),
        radius=np.array([5.0]),
        groups=(PointGroup("seal", "gasket", np.array([0]), law),),
        overlaps=np.array([1]),
        series_compliance=np.array([0.0]),
    )


def two_fasteners(law=ELASTIC) -> ReducedJoint:
    return dataclasses.replace(
        one_spring(law),
        K=KE * np.array([[2.0, -1.0, -1.0], [-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]]),
        loads={"gas 1": np.array([-1e3, 0.0, 0.0])},
        B=sp.csr_matrix(np.array([[1.0, 0.0, 0.0]])),
        overlaps=np.array([1, 2]),
        series_compliance=np.zeros(2),
        share=np.ones(2),
    )


def test_free_strains_and_factors_of_a_load_case():
    found = free_strains(JOINT, HOT)
    assert found == pytest.approx(
        {"head": 80 * 21.6e-6, "block": 60 * 11e-6, "fastener": 40 * 12e-6, "nut": 0.0}, abs=1e-15
    )
    washered = joint(washer=WASHER)
    assert free_strains(washered, case("w", "hot", washer=70.0))["washer"] == pytest.approx(50 * 12e-6)
    assert load_factors(JOINT, FIRED, 1.5)["gas"] == 6e3


def test_one_fastener_s_history_is_its_springs_one_after_the_other():
    made = dataclasses.replace(JOINT, load_cases=(case(), FIRED, case("warm", "hot", gasket=70.0, head=45.0)))
    found = run(OneFastener(made, one_spring()), by_formula(made, 10e3))
    tight, settled, fired, warm = (state.force[0] for state in found.states)
    assert [state.kind for state in found.states] == ["assembly", "settled", "firing", "hot"]
    # 10 um of embedding over 10 + 2.5 um/kN; gas on the head: a fifth of it comes on to the fastener
    assert tight == pytest.approx(10e3)
    assert settled == pytest.approx(10e3 - 800.0)
    assert fired == pytest.approx(9200.0 + 0.2 * 4e3)
    # the head grows by 1 mm per unit strain, 25 x 20.5e-6; the gasket by 30e-6 x 50 K x 1 mm
    assert warm == pytest.approx(9200.0 + (25 * 20.5e-6 + 0.0015) / 12.5e-6)
    assert found.cut_compliance == pytest.approx(20e-6)
    assert found.relief_compliance == pytest.approx(12.5e-6)
    # the fired state takes its own set with it: none, it only unloads
    assert [state.permanent_set[0] for state in found.states[:3]] == pytest.approx([0.075] * 3)
    assert found.states[2].set_before[0] == pytest.approx(0.075)
    nominal = run(OneFastener(dataclasses.replace(made, load_cases=(case(),)), one_spring()))
    assert nominal.states[0].force[0] == 30e3


CELL = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8"))


def condensed(*cases, law=ELASTIC, embedding: float = 0.0, order=(), snug: float = 0.1) -> BoreCell:
    own = joint(tightening__embedding=embedding)
    cell = dataclasses.replace(
        CELL, joint=dataclasses.replace(own, load_cases=(case(), *cases)), fired=(0,), order=order, snug=snug
    )
    return BoreCell(cell, two_fasteners(law), None, {"gas 1": 1000.0, "gas 2": 5.0})


def test_a_cell_s_gas_is_a_pressure_in_its_fired_bores_and_its_liner_as_warm_as_the_block():
    model = condensed(FIRED)
    found = model.factors(dataclasses.replace(FIRED, temperatures=HOT.temperatures), 0.5)
    assert found["gas 1"] == 2.0
    assert "gas 2" not in found
    assert found["head"] == pytest.approx(80 * 21.6e-6)
    lined = dataclasses.replace(model, cell=dataclasses.replace(model.cell, liner=Liner(91.0, 0.0, 100.0, IRON)))
    assert lined.factors(HOT)["liner"] == pytest.approx(60 * 11e-6)
    assert model.lift(FIRED) == 4e3


def test_a_cell_tightened_at_once_settles_and_fires_as_springs():
    model = condensed(FIRED, embedding=0.01)
    found = run(model, by_formula(model.joint, 10e3, 2))
    tight, settled, fired = (state.force for state in found.states)
    # two fasteners of 100 kN/mm on one gasket of 100 kN/mm: each loses 10 um x 100/3 kN/mm
    assert tight == pytest.approx([10e3, 10e3])
    assert settled == pytest.approx([10e3 - 1e3 / 3] * 2)
    # 4 kN lift against 300 kN/mm
    assert fired == pytest.approx([10e3 - 1e3 / 3 + 4e3 / 3] * 2)
    trial = gas_trial(found.model, found.states[2], 0.25)
    assert trial.force == pytest.approx([10e3 - 1e3 / 3 + 1e3 / 3] * 2)


def test_nut_after_nut_each_loses_what_the_next_one_takes():
    model = condensed(order=((0.5, (0, 1)), (1.0, (1, 0))), snug=0.2)
    found = run(model, by_formula(model.joint, 10e3, 2))
    # both at 2 kN; then dF more on one presses the head down by dF/(100 + 100) mm, which takes dF/2 off the other
    steps = [step.force.tolist() for step in found.steps]
    assert steps[0] == pytest.approx([5e3, 2e3 - 1.5e3])
    assert steps[1] == pytest.approx([5e3 - 2.25e3, 5e3])
    assert steps[2] == pytest.approx([2.75e3 - 2.5e3, 10e3])
    assert steps[3] == pytest.approx([10e3, 10e3 - 4.875e3])
    assert [(step.number, step.fastener) for step in found.steps] == [(0, 0), (0, 1), (1, 1), (1, 0)]


def test_a_nut_that_came_loose_carries_nothing_and_is_found_again_when_the_head_comes_up():
    model = condensed(order=((1.0, (0, 1)),), snug=0.1)
    found = run(model, by_formula(model.joint, 10e3, 2))
    # 9 kN on one would take 4.5 off the other, which has 1: it comes loose
    assert found.steps[0].force.tolist() == pytest.approx([10e3, 0.0], abs=1e-6)
    # the other to 10 kN: the head, 0.1 mm down under the one, sinks by 10/200 more: 5 kN off the first
    assert found.steps[1].force.tolist() == pytest.approx([5e3, 10e3])


def test_many_designs_of_a_cell_are_run_as_one_by_one():
    model = condensed(FIRED, law=LINEAR, embedding=0.01)
    assert [one.kind for one in cases_of(model.joint)] == ["assembly", "settled", "firing"]
    first = Design(model, by_formula(model.joint, 10e3, 2))
    leading = guide(first)
    harder = dataclasses.replace(
        model.cell, joint=dataclasses.replace(model.cell.joint, load_cases=(case(), case("fired", "firing", 6.0, 6e3)))
    )
    designs = [first, Design(dataclasses.replace(model, cell=harder), by_formula(harder.joint, 12e3, 2))]
    one, other = run_many(designs, leading)
    # back on 400 kN/mm: 10 um x 100 x 400/600 kN/mm off each, and a sixth of the gas on each
    loss = 0.01 / (1 / 100e3 + 2 / 400e3)
    assert [state.force[0] for state in one] == pytest.approx([10e3, 10e3 - loss, 10e3 - loss + 4e3 / 6])
    assert [state.force[1] for state in other] == pytest.approx([12e3, 12e3 - loss, 12e3 - loss + 1e3])
    assert one[0].permanent_set[0] == pytest.approx(20e3 / 100e3 * 0.75)
    half, none = with_gas(
        designs, [one[2], other[2]], [0.5, 0.0], [one[2].equilibrium.q, other[2].equilibrium.q], leading.nearby[2]
    )
    assert half.force[0] == pytest.approx(10e3 - loss + 2e3 / 6)
    assert none.force[0] == pytest.approx(12e3 - loss)


# --- sealing lines


def sealing_line(
    closure: tuple[float, float], pressure: tuple[float, float] = (30.0, 20.0), *, fired: bool = True
) -> LineState:
    """A bead of 2 mm width at two places of its circle."""
    at = np.array(pressure)
    return LineState(0, fired, 2.0, np.array([0.0, 90.0]), at, 2.0 * at, np.array(closure))


def test_a_bead_s_stroke_is_how_far_gas_opens_it_at_its_worst_place():
    # 30 - 22 = 8 um and 40 - 29 = 11 um; the bore that does not fire opens by 50 um and does not count
    rest = (sealing_line((0.030, 0.040)), sealing_line((0.060, 0.060), fired=False))
    gas = (sealing_line((0.022, 0.029)), sealing_line((0.010, 0.010), fired=False))
    assert stroke_of(gas, rest) == pytest.approx(0.011)


def test_what_seals_is_the_least_along_the_lines_that_gas_reaches():
    lines = (
        sealing_line((0.0, 0.0)),
        sealing_line((0.0, 0.0), (25.0, 18.0)),
        sealing_line((0.0, 0.0), (1.0, 1.0), fired=False),
    )
    found = seal_of(lines)
    assert (found.pressure, found.line_load) == (18.0, 36.0)


def test_a_line_lacks_what_its_worst_place_falls_short_by_in_pressure_or_in_line_load_over_the_width():
    # 12 - 10 = 2 MPa, and (30 - 24) N/mm over 2 mm = 3 MPa; what is not asked for is not lacked
    pressure, load = np.array([15.0, 10.0]), np.array([40.0, 24.0])
    assert lacking(SealNeed(12.0, 30.0), pressure, load, 2.0) == pytest.approx(3.0)
    assert lacking(SealNeed(12.0, 0.0), pressure, load, 2.0) == pytest.approx(2.0)
    assert lacking(SealNeed(8.0, 20.0), pressure, load, 2.0) == pytest.approx(-2.0)
    assert lacking(SealNeed(0.0, 0.0), pressure, load, 2.0) == -np.inf


@pytest.mark.parametrize(
    ("lacks", "seals"),
    [
        (lambda factor: 20.0 * factor - 30.0, 1.5),
        (lambda factor: factor**2 - 2.0, 2.0**0.5),
        (lambda factor: factor**3 - 1e-3, 0.1),
        (lambda factor: factor - 1e-3 if factor > 1e-3 else 5.0 * (factor - 1e-3), 1e-3),  # a zone lifts off there
        (lambda factor: factor - 21.0, None),
        (lambda factor: factor, 0.0),
    ],
)
def test_the_gas_that_just_seals_is_found_from_the_side_that_seals(lacks, seals):
    tried = []

    def short(factor):
        tried.append(factor)
        return lacks(factor)

    found = factor_that_seals(short, lacks(0.0), lacks(1.0))
    if not seals:
        assert found == seals
    else:
        assert (1.0 - 1e-5) * seals <= found < seals
    assert len(tried) < 20
    if seals == 1.5:  # a straight line: one step towards the root, one trial on either side of it
        assert len(tried) <= 4


def test_a_spring_seals_up_to_the_gas_that_leaves_its_need():
    made = dataclasses.replace(JOINT, load_cases=(case(), FIRED))
    history = run(OneFastener(made, one_spring()), by_formula(made, 10e3))
    fired = history.states[-1]
    # 9.2 kN settled press 92 MPa; four fifths of 4 kN of gas take off 32 MPa, and twice its 4 MPa is needed:
    # 92 - 32 f = 8 f
    factor = sealed_factor(history.model, fired, gas_trial(history.model, fired, 0.0))
    assert (1.0 - 1e-5) * 2.3 <= factor <= 2.3
