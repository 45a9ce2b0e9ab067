"""Condensation and the dense solve."""

from __future__ import annotations

import numpy as np
import pytest
from conftest import shipped_text, solved

from headjoint.cases.condensed.condensation import FieldRecovery
from headjoint.cases.condensed.load_vectors import gasket_growth
from headjoint.cases.condensed.reduced_joint import solve
from headjoint.cases.elements.axisymmetric import facet_row
from headjoint.cases.load_cases.load_history import demand_of, run
from headjoint.cases.models.from_mesh import one_fastener
from headjoint.model.reading.reading import parse_joint
from validation.joints import joint_files


@pytest.mark.parametrize("name", joint_files())
def test_bolts_balance_gasket_and_gas_in_every_state(name):
    for history in solved(name).histories.values():
        reduced = history.reduced
        at = reduced.gasket_points()
        for state in history.states:
            gasket = float(reduced.weight[at] @ state.equilibrium.pressure[at])
            assert state.force == pytest.approx(gasket + state.case.gas_force, rel=1e-8)
            for group in reduced.groups:
                if group.kind == "bearing":
                    bearing = float(reduced.weight[group.points] @ state.equilibrium.pressure[group.points])
                    assert bearing == pytest.approx(state.force, rel=1e-8)


def test_the_reduced_state_is_an_equilibrium_of_the_full_model():
    joint = solved("boosted-four-steel")
    model, state = joint.assembled, joint.nominal.state("firing")
    factors = joint.nominal.model.factors(state.case)
    displacement = FieldRecovery(model).displacement(state.equilibrium.q, factors)
    whole = np.append(displacement, state.equilibrium.q[-1])
    load = sum(factor * model.loads[name] for name, factor in factors.items() if name in model.loads)
    left = model.matrix @ whole - load
    # inner unknowns carry nothing; the overlap carries the fastener force; gas presses on either side of the gap, so
    # that the support carries nothing
    assert np.abs(left[model.inner]).max() < 1e-8 * state.force[0]
    assert left[-1] == pytest.approx(state.force[0], rel=1e-9)
    fixed = np.setdiff1d(np.arange(len(whole)), np.concatenate([model.inner, model.kept]))
    assert abs(left[fixed][fixed % 2 == 1].sum()) < 1e-8 * state.case.gas_force
    closure = joint.nominal.reduced.B @ state.equilibrium.q
    assert closure[joint.nominal.reduced.group("bead").points] == pytest.approx(
        state.equilibrium.closure[joint.nominal.reduced.group("bead").points] - gasket_growth(joint.joint, state.case)
    )


def test_a_trial_leaves_the_state_it_started_from():
    history = solved("boosted-four-composite").nominal
    state = history.state("firing")
    before = state.permanent_set.copy()
    demand = demand_of(history.model, state.case, overlap=state.overlap, gas_factor=1.7)
    solve(history.reduced, demand, state.permanent_set)
    assert state.permanent_set == pytest.approx(before)
    own = demand_of(history.model, state.case, overlap=state.overlap)
    again = solve(history.reduced, own, state.set_before)
    assert float(again.force[0]) == pytest.approx(state.force[0], rel=1e-9)


@pytest.mark.parametrize(("faces", "carried"), [("head and block", 0.0), ("head", 1.0)])
def test_gas_presses_on_the_faces_that_the_file_names(faces, carried):
    text = shipped_text("boosted-four-copper").replace("[gas]\n", f'[gas]\nfaces = "{faces}"\n')
    joint = parse_joint(text + "\n[mesh]\nelement_size = 1.0\n")
    assembled, model = one_fastener(joint)
    unit, mesh = assembled.loads["gas"], assembled.joint_mesh
    on_head = 2 * np.unique(facet_row(assembled.body.basis, mesh.gas_facets).nodes) + 1
    assert unit[on_head].sum() == pytest.approx(1.0)
    # a ring of 45 to 72 mm on either side: the same force the other way, or none
    assert unit.sum() == pytest.approx(carried, abs=1e-12)
    # what the block's foot bears of 110 bar on 2460 mm2 is what the deck does not
    state = run(model).state("firing")
    displacement = FieldRecovery(assembled).displacement(state.equilibrium.q, model.factors(state.case))
    whole = np.append(displacement, state.equilibrium.q[-1])
    fixed = np.setdiff1d(np.arange(len(whole)), np.concatenate([assembled.inner, assembled.kept]))
    load = sum(f * assembled.loads[name] for name, f in model.factors(state.case).items() if name in assembled.loads)
    foot = (assembled.matrix @ whole - load)[fixed][fixed % 2 == 1].sum()
    assert foot == pytest.approx(-carried * 11.0 * 2460.0, abs=1e-3)
    assert state.balance < 1e-8
