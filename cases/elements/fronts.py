"""Cholesky factors of a sparse matrix front by front: dense LAPACK on the pieces of a nested dissection.

For machines without Pardiso. Each piece's unknowns are eliminated from a dense matrix over them and what they touch
(J. W. H. Liu, The multifrontal method for sparse matrix solution, SIAM Review 34, 1992, from memory); what that leaves
on the others is added to the piece that comes after. Unknowns that are kept are left over at the end: their Schur
complement.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from scipy.linalg.blas import dsyrk, dtrsm
from scipy.linalg.lapack import dpotrf
from threadpoolctl import ThreadpoolController

from headjoint.cases.elements.dissection import dissected
from headjoint.cases.elements.threads import allowed_threads
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

SMALLEST_FOR_THREADS = 1000  # unknowns of a front; below that threads wait longer than they work


@dataclass(frozen=True)
class Plan:
    """How a pattern is eliminated, whatever the values.

    order : unknowns as they are eliminated, kept ones last. Piece k takes out begin[k] to end[k] of that order and
    touches the places beyond[k] after them. children : pieces that are added to each.
    """

    order: IntArray = field(repr=False)
    begin: IntArray = field(repr=False)
    end: IntArray = field(repr=False)
    beyond: list[IntArray] = field(repr=False)
    children: list[tuple[int, ...]] = field(repr=False)

    def lower(self, matrix: sp.csr_matrix) -> sp.csc_matrix:
        """Return the lower triangle of a matrix in the order of the plan."""
        return _lower(matrix, self.order)


@dataclass(frozen=True)
class Front:
    """What is kept of a piece: L_11 (p, p) of its own unknowns and L_21 (q, p) of those beyond."""

    own: FloatArray = field(repr=False)
    beyond: FloatArray = field(repr=False)


def plan_of(matrix: sp.csr_matrix, kept: IntArray) -> Plan:
    """Return how to eliminate all but the kept unknowns of a matrix of symmetric pattern."""
    inner = np.setdiff1d(np.arange(matrix.shape[0]), kept, assume_unique=True)
    label, graph = _graph(matrix, inner)
    weight = np.bincount(label, minlength=graph.shape[0])
    pieces = dissected(graph, weight)
    by_label = np.split(inner[np.argsort(label, kind="stable")], np.cumsum(weight)[:-1])
    none = np.empty(0, dtype=np.int64)
    own = [np.concatenate([none, *(by_label[vertex] for vertex in piece.own)]) for piece in pieces]
    order = np.concatenate([*own, kept])
    end = np.cumsum([len(one) for one in own])
    begin = end - [len(one) for one in own]
    pattern = _lower(matrix, order)
    beyond: list[IntArray] = []
    for number, piece in enumerate(pieces):
        touched = [pattern.indices[pattern.indptr[begin[number]] : pattern.indptr[end[number]]]]
        touched += [beyond[child] for child in piece.children]
        places = np.unique(np.concatenate(touched))
        beyond.append(places[places >= end[number]].astype(np.int64))
    return Plan(order, begin, end, beyond, [piece.children for piece in pieces])


def _graph(matrix: sp.csr_matrix, inner: IntArray) -> tuple[IntArray, sp.csr_matrix]:
    """Return which vertex each inner unknown belongs to, and their graph: unknowns of one pattern are one vertex."""
    key = np.random.default_rng(1).integers(0, 2**63, size=matrix.shape[0], dtype=np.uint64)
    filled = np.diff(matrix.indptr) > 0
    mark = np.zeros(matrix.shape[0], dtype=np.uint64)
    mark[filled] = np.add.reduceat(key[matrix.indices], matrix.indptr[:-1][filled])
    _, first, label = np.unique(mark[inner], return_index=True, return_inverse=True)
    rows = matrix[inner[first]]
    vertex = np.full(matrix.shape[0], -1)
    vertex[inner] = label
    column = vertex[rows.indices]
    row = np.repeat(np.arange(len(first)), np.diff(rows.indptr))[column >= 0]
    graph = sp.csr_matrix((np.ones(len(row)), (row, column[column >= 0])), shape=(len(first), len(first)))
    return label.astype(np.int64), graph


def _lower(matrix: sp.csr_matrix, order: IntArray) -> sp.csc_matrix:
    # a symmetric matrix: rows of the upper triangle are columns of the lower one
    upper = sp.triu(matrix[order][:, order], format="csr")
    return upper.T


def complement(matrix: sp.csr_matrix, kept: IntArray) -> FloatArray:
    """Return the Schur complement (k, k) on the kept unknowns; raises SolveError where the others are not held."""
    plan = plan_of(matrix, kept)
    lower = plan.lower(matrix)
    inner = len(plan.order) - len(kept)
    left = lower[inner:, inner:].toarray(order="F")
    for _ in _eliminated(plan, lower, left):
        pass
    return np.tril(left) + np.tril(left, -1).T


class FrontFactors:
    """Cholesky factors of a sparse symmetric positive definite matrix, for repeated solves."""

    def __init__(self) -> None:
        self._plan: Plan | None = None
        self._fronts: list[Front] = []

    def renew(self, matrix: sp.csr_matrix, ordered: bool) -> None:
        """Factorise a matrix; ordered : its pattern is that of the one before."""
        if self._plan is None or not ordered:
            self._plan = plan_of(matrix, np.empty(0, dtype=np.int64))
        self._fronts = list(_eliminated(self._plan, self._plan.lower(matrix), np.zeros((0, 0), order="F")))

    def release(self) -> None:
        """Give the memory of the factors back."""
        self._fronts = []

    def solve(self, right_hand_side: FloatArray) -> FloatArray:
        """Return the solution for one vector (n,) or several columns (n, k)."""
        plan = self._plan
        assert plan is not None
        x = np.asfortranarray(right_hand_side.reshape(len(plan.order), -1)[plan.order], dtype=float)
        for number, front in enumerate(self._fronts):
            own = slice(plan.begin[number], plan.end[number])
            if not len(front.own):
                continue
            x[own] = dtrsm(1.0, front.own, x[own], lower=1)
            x[plan.beyond[number]] -= front.beyond @ x[own]
        for number in reversed(range(len(self._fronts))):
            front, own = self._fronts[number], slice(plan.begin[number], plan.end[number])
            if not len(front.own):
                continue
            x[own] = dtrsm(1.0, front.own, x[own] - front.beyond.T @ x[plan.beyond[number]], lower=1, trans_a=1)
        solution = np.empty_like(x)
        solution[plan.order] = x
        return solution.reshape(right_hand_side.shape)


def _eliminated(plan: Plan, lower: sp.csc_matrix, left: FloatArray) -> Iterator[Front]:
    """Yield the fronts one after another; what they leave on kept unknowns is added to `left`, lower triangle alone."""
    waiting: dict[int, FloatArray] = {}
    parents = {child for children in plan.children for child in children}
    inner = len(plan.order) - len(left)
    threads, allowed = ThreadpoolController(), allowed_threads()
    for number in range(len(plan.children)):
        own, across, rest = _assembled(plan, lower, number)
        for child in plan.children[number]:
            _add(plan, number, plan.beyond[child], waiting.pop(child), (own, across, rest))
        if len(own):
            with threads.limit(limits=allowed if len(own) + len(rest) > SMALLEST_FOR_THREADS else 1):
                own, across, rest = _taken_out(own, across, rest)
        if number in parents:
            waiting[number] = rest
        else:
            places = plan.beyond[number] - inner
            for column, place in enumerate(places):
                left[places[column:], place] += rest[column:, column]
        yield Front(own, across)


def _taken_out(own: FloatArray, across: FloatArray, rest: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return L_11, L_21 and what eliminating the own unknowns leaves on the rest, lower triangles alone."""
    own, failed = dpotrf(own, lower=1, overwrite_a=1)
    if failed:
        raise SolveError("the stiffness matrix cannot be factorised: a part is held by nothing")
    if not len(rest):
        return own, across, rest
    across = dtrsm(1.0, own, across, side=1, lower=1, trans_a=1, overwrite_b=1)
    return own, across, dsyrk(-1.0, across, beta=1.0, c=rest, lower=1, overwrite_c=1)


def _assembled(plan: Plan, lower: sp.csc_matrix, number: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a piece's dense matrix with the entries of the sparse one: own (p, p), across (q, p), rest (q, q)."""
    begin, end, beyond = plan.begin[number], plan.end[number], plan.beyond[number]
    own = np.zeros((end - begin, end - begin), order="F")
    across = np.zeros((len(beyond), end - begin), order="F")
    entries = slice(lower.indptr[begin], lower.indptr[end])
    row, value = lower.indices[entries], lower.data[entries]
    column = np.repeat(np.arange(end - begin), np.diff(lower.indptr[begin : end + 1]))
    inside = row < end
    own[row[inside] - begin, column[inside]] = value[inside]
    across[np.searchsorted(beyond, row[~inside]), column[~inside]] = value[~inside]
    return own, across, np.zeros((len(beyond), len(beyond)), order="F")


def _add(plan: Plan, number: int, places: IntArray, update: FloatArray, to: tuple[FloatArray, ...]) -> None:
    """Add the lower triangle of what a child leaves at `places` to a piece's own, across and rest."""
    own, across, rest = to
    inside = int(np.searchsorted(places, plan.end[number]))
    here, there = places[:inside] - plan.begin[number], np.searchsorted(plan.beyond[number], places[inside:])
    for column, place in enumerate(here):
        own[here[column:], place] += update[column:inside, column]
        across[there, place] += update[inside:, column]
    for column, place in enumerate(there):
        rest[there[column:], place] += update[inside + column :, inside + column]
