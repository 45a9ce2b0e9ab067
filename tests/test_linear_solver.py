"""The sparse solvers: each against dense algebra, against each other, and what is said of them."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import psutil
import pytest
import scipy.sparse as sp
from conftest import shipped_text
from threadpoolctl import threadpool_info

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.elements import linear_solver
from headjoint.cases.elements.dissection import LEAF, dissected
from headjoint.cases.elements.threads import allowed_threads, dense_on_all_threads, dense_on_one_thread
from headjoint.cases.load_cases.solved import solve_joint
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import InputError, SolveError
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.postproc.present.document import opening

COARSER = '\n[mesh]\nring_size = "14 mm"\nstud_size = "14 mm"\nlargest = "40 mm"\n'
UNDER_ONE = """
from headjoint.cases.elements.linear_solver import Factorization
from headjoint.cases.elements.threads import allowed_threads, one_thread
import scipy.sparse as sp
with one_thread():
    Factorization(sp.eye(10).tocsr())
    print(allowed_threads())
print(allowed_threads())
"""
ALL_CORES = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
SOLVERS = [linear_solver.PARDISO, linear_solver.FRONTS]


@pytest.fixture(params=SOLVERS)
def solver(request, monkeypatch):
    if request.param == linear_solver.PARDISO and linear_solver._pardiso() is None:
        pytest.skip("no Pardiso on this machine")
    monkeypatch.setenv(linear_solver.CHOICE, request.param)
    return request.param


def grid(n: int, m: int) -> sp.csr_matrix:
    """A plate of n by m springs, a little held everywhere."""
    line = [sp.diags([-1.0, 2.1, -1.0], [-1, 0, 1], shape=(k, k)) for k in (n, m)]
    return (sp.kron(line[0], sp.eye(m)) + sp.kron(sp.eye(n), line[1])).tocsr()


def test_the_schur_complement_is_that_of_dense_algebra(solver):
    rng = np.random.default_rng(11)
    matrix = grid(31, 33)
    n = matrix.shape[0]
    columns = sp.csr_matrix(rng.normal(size=(n, 3)))
    bordered = sp.bmat([[matrix, columns], [columns.T, None]]).tocsr()
    kept = np.concatenate([np.sort(rng.choice(n, 60, replace=False)), n + np.arange(3)])
    inner = np.setdiff1d(np.arange(n + 3), kept)
    whole = bordered.toarray()
    expected = whole[np.ix_(kept, kept)] - whole[np.ix_(kept, inner)] @ np.linalg.solve(
        whole[np.ix_(inner, inner)], whole[np.ix_(inner, kept)]
    )
    assert linear_solver.schur_complement(bordered, kept) == pytest.approx(expected, rel=1e-11, abs=1e-11)


def test_half_of_a_matrix_with_columns_beside_it_is_condensed_like_the_whole(solver):
    rng = np.random.default_rng(5)
    matrix = grid(17, 19)
    n = matrix.shape[0]
    half = sp.triu(matrix, 1) + sp.diags(matrix.diagonal() / 2.0)
    uneven = sp.random(n, n, 0.01, random_state=5)
    half = (half + uneven - uneven.T).tocsr()  # any half will do
    beside = sp.csr_matrix(rng.normal(size=(n, 2)))
    kept = rng.choice(n, 20, replace=False)  # in the order that the caller has them
    bordered = sp.bmat([[matrix, beside], [beside.T, None]]).tocsr()
    whole = linear_solver.schur_complement(bordered, np.concatenate([kept, [n, n + 1]]))
    found, factors = linear_solver.schur_of_half(half, kept, beside, keeps=True)
    assert found == pytest.approx(whole, rel=1e-10, abs=1e-11)
    if factors is not None:
        inner = np.setdiff1d(np.arange(n), kept)
        load = rng.normal(size=len(inner))
        assert matrix[inner][:, inner] @ factors.solve(load) == pytest.approx(load, abs=1e-10)
        factors.release()


def test_factors_solve_vectors_and_columns_and_are_made_anew(solver):
    rng = np.random.default_rng(2)
    matrix = sp.block_diag([grid(31, 33), grid(5, 4), grid(1, 1)]).tocsr()  # pieces that nothing joins
    loads = rng.normal(size=(matrix.shape[0], 2))
    factors = linear_solver.Factorization(matrix)
    assert matrix @ factors.solve(loads) == pytest.approx(loads, abs=1e-11)
    factors.renew(3.0 * matrix)
    assert 3.0 * (matrix @ factors.solve(loads[:, 0])) == pytest.approx(loads[:, 0], abs=1e-11)
    other = sp.block_diag([grid(33, 31), grid(5, 4), grid(1, 1)]).tocsr()
    factors.renew(other)
    assert other @ factors.solve(loads[:, 1]) == pytest.approx(loads[:, 1], abs=1e-11)
    factors.release()


@pytest.mark.skipif(linear_solver._pardiso() is None, reason="fronts are numpy's own arrays")
def test_factors_that_nobody_has_any_more_take_no_memory(monkeypatch):
    monkeypatch.setenv(linear_solver.CHOICE, linear_solver.PARDISO)
    matrix = grid(120, 120)
    held = []
    for _ in range(16):
        linear_solver.Factorization(matrix).solve(np.ones(matrix.shape[0]))
        held.append(psutil.Process().memory_info().rss / 1e6)
    assert held[-1] - held[3] < 10.0  # MB; each takes some 4


def test_what_nothing_holds_is_no_figure(solver):
    with pytest.raises(SolveError, match="cannot be factorised"):
        linear_solver.Factorization(sp.csr_matrix(np.array([[1.0, -1.0], [-1.0, 1.0 - 1e-6]])))


def test_a_dissection_cuts_a_square_along_its_middle():
    n = 60
    matrix = grid(n, n)
    pieces = dissected(matrix, np.ones(n * n, dtype=np.int64))
    assert sorted(np.concatenate([piece.own for piece in pieces])) == list(range(n * n))
    # from side to side there are n vertices; along a diagonal of the grid no fewer
    assert len(pieces[-1].own) <= 1.2 * n
    assert max(len(piece.own) for piece in pieces) <= LEAF
    # what stands in no line of descent is joined by no edge
    number = np.zeros(n * n, dtype=int)
    below: list[set[int]] = []
    for index, piece in enumerate(pieces):
        number[piece.own] = index
        below.append({index}.union(*(below[child] for child in piece.children)))
    edges = matrix.tocoo()
    for one, other in zip(number[edges.row], number[edges.col], strict=True):
        assert one in below[other] or other in below[one]


def test_a_joint_is_the_same_by_either_solver(monkeypatch):
    joint = parse_joint(shipped_text("boosted-four-copper") + "\n[mesh]\nelement_size = 1.0\n")
    usual = solve_joint(joint).nominal
    monkeypatch.setenv(linear_solver.CHOICE, linear_solver.FRONTS)
    assert "fronts" in linear_solver.solver_name()
    for one, other in zip(usual.states, solve_joint(joint).nominal.states, strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-9)


@pytest.mark.long
@pytest.mark.slow
def test_a_cell_is_condensed_to_the_same_by_either_solver(monkeypatch):
    cell = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8") + COARSER)
    model = cell_model(cell, build_cell(cell, 0.5))
    usual = condense_cell(model)
    monkeypatch.setenv(linear_solver.CHOICE, linear_solver.FRONTS)
    fronts = condense_cell(model)
    for one, other in ((usual.K, fronts.K), *((usual.loads[name], fronts.loads[name]) for name in usual.loads)):
        assert one == pytest.approx(other, rel=1e-8, abs=1e-11 * np.abs(one).max())


def test_one_thread_holds_for_a_library_that_is_loaded_under_it():
    told = subprocess.run([sys.executable, "-c", UNDER_ONE], capture_output=True, text=True, check=True, env=ALL_CORES)
    under, after = (int(one) for one in told.stdout.split())
    assert under == 1
    assert after == os.cpu_count()


def test_large_dense_algebra_gets_its_threads_back_and_only_meanwhile():
    def threads() -> set[int]:
        return {one["num_threads"] for one in threadpool_info() if one["internal_api"] == "openblas"}

    with dense_on_one_thread():
        with dense_on_all_threads():
            assert threads() == {allowed_threads()}
        assert threads() == {1}


def test_a_solver_that_there_is_not_is_named(monkeypatch):
    monkeypatch.setenv(linear_solver.CHOICE, "slide rule")
    with pytest.raises(InputError, match="HEADJOINT_SOLVER: must be 'pardiso' or 'fronts'"):
        linear_solver.solver_name()
    monkeypatch.setenv(linear_solver.CHOICE, linear_solver.PARDISO)
    monkeypatch.setattr(linear_solver, "_pardiso", lambda: None)
    with pytest.raises(InputError, match="is not available here; 'fronts' is"):
        linear_solver.solver_name()


def test_documents_of_what_was_solved_name_the_solver(monkeypatch):
    assert "solver" not in opening("headjoint-estimate", 1)["program"]
    monkeypatch.setenv(linear_solver.CHOICE, linear_solver.FRONTS)
    assert "fronts" in opening("headjoint-sweep", 2, solved=True)["program"]["solver"]
