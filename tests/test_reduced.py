"""Interface laws, condensation and the dense solve."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from conftest import shipped_text, solved
from hypothesis import given, settings
from hypothesis import strategies as st

from headjoint.cases.command.stated_files import shipped_joints
from headjoint.cases.condensed import interface_laws
from headjoint.cases.condensed.condensation import FieldRecovery
from headjoint.cases.condensed.load_vectors import gasket_growth
from headjoint.cases.condensed.reduced_joint import solve
from headjoint.cases.elements import linear_solver
from headjoint.cases.load_cases.load_history import demand_of
from headjoint.model.gasket.laws import GasketLaw, LoadingCurve, library

LAWS = [*library().values(), interface_laws.BEARING]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
@pytest.mark.parametrize("temperature", [-20.0, 20.0, 85.0, 400.0])
def test_the_vectorised_law_is_the_scalar_law(law, temperature):
    closures = np.linspace(-0.05, 0.7, 301)
    for permanent_set in (0.0, 0.03, 0.3):
        fast, _ = interface_laws.pressure(law, closures, np.full(301, permanent_set), temperature)
        slow = [law.pressure(closure, permanent_set, temperature) for closure in closures]
        assert fast == pytest.approx(slow, rel=1e-12, abs=1e-9)
        after = interface_laws.set_after(law, closures, np.full(301, permanent_set), temperature)
        expected = [law.set_after(closure, permanent_set, temperature) for closure in closures]
        assert after == pytest.approx(expected, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_the_slope_is_the_derivative_on_both_sides_of_every_switch(law):
    rng = np.random.default_rng(7)
    closures = rng.uniform(-0.02, 0.6, 400)
    permanent_set = rng.uniform(0.0, 0.3, 400)
    h = 1e-9
    _, slope = interface_laws.pressure(law, closures, permanent_set, 70.0)
    more, _ = interface_laws.pressure(law, closures + h, permanent_set, 70.0)
    less, _ = interface_laws.pressure(law, closures - h, permanent_set, 70.0)
    # no random point lies within 1e-9 mm of a switch
    assert (more - less) / (2 * h) == pytest.approx(slope, rel=1e-4, abs=1e-3 * max(1.0, slope.max() * 1e-3))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.floats(-0.05, 0.6), min_size=2, max_size=12),
    st.sampled_from(list(library().values())),
    st.floats(-30.0, 200.0),
)
def test_no_path_back_to_its_start_gives_energy(path, law, temperature):
    permanent_set, work, at = 0.0, 0.0, 0.0
    for target in [*path, -0.05, 0.0]:
        steps = np.linspace(at, target, 200)
        for a, b in zip(steps, steps[1:], strict=False):
            before = law.pressure(a, permanent_set, temperature)
            permanent_set = law.set_after(b, permanent_set, temperature)
            work += (b - a) * (before + law.pressure(b, permanent_set, temperature)) / 2.0
        at = target
    assert work >= -1e-3


def test_hot_softening_sets_a_zone_and_cooling_does_not_mend_it():
    cold, hot = LoadingCurve(20.0, (0.0, 0.2), (0.0, 40.0)), LoadingCurve(120.0, (0.0, 0.2), (0.0, 30.0))
    law = GasketLaw("soft", (cold, hot), 1000.0)
    first = law.set_after(0.1, 0.0, 20.0)
    then = law.set_after(0.1, first, 120.0)
    again = law.set_after(0.1, then, 20.0)
    assert first < then == again
    assert law.pressure(0.1, again, 20.0) < law.pressure(0.1, first, 20.0)


def test_the_schur_complement_is_the_same_by_either_way():
    rng = np.random.default_rng(11)
    n = 25
    line = sp.diags([-1.0, 2.1, -1.0], [-1, 0, 1], shape=(n, n))
    matrix = (sp.kron(line, sp.eye(n)) + sp.kron(sp.eye(n), line)).tocsr()
    columns = sp.csr_matrix(rng.normal(size=(n * n, 3)))
    bordered = sp.bmat([[matrix, columns], [columns.T, None]]).tocsr()
    kept = np.concatenate([np.sort(rng.choice(n * n, 60, replace=False)), n * n + np.arange(3)])
    one = linear_solver.schur_complement(bordered, kept)
    other = linear_solver._schur_by_substitution(bordered, kept)
    assert one == pytest.approx(other, rel=1e-11, abs=1e-11)


def test_without_pardiso_the_joint_is_the_same(monkeypatch):
    from headjoint.cases.load_cases.solved import solve_joint
    from headjoint.model.reading.reading import parse_joint

    text = shipped_text("boosted-four-copper") + "\n[mesh]\nelement_size = 1.0\n"
    usual = solve_joint(parse_joint(text)).nominal
    monkeypatch.setattr(linear_solver, "_pardiso", lambda: None)
    fallback = solve_joint(parse_joint(text)).nominal
    assert "SuperLU" in linear_solver.solver_name()
    for one, other in zip(usual.states, fallback.states, strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-9)


@pytest.mark.parametrize("name", shipped_joints())
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
    # inner unknowns carry nothing; the overlap carries the fastener force; the support carries the gas
    assert np.abs(left[model.inner]).max() < 1e-8 * state.force[0]
    assert left[-1] == pytest.approx(state.force[0], rel=1e-9)
    fixed = np.setdiff1d(np.arange(len(whole)), np.concatenate([model.inner, model.kept]))
    assert left[fixed][fixed % 2 == 1].sum() == pytest.approx(-state.case.gas_force, rel=1e-8)
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
