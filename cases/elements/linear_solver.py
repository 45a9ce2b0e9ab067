"""Sparse direct solution and the Schur complement on interface unknowns.

MKL Pardiso where it can be had (x86-64), the project's own Cholesky by fronts (`fronts.py`) otherwise: slower, same
answers. `solver_name()` says which one runs; every result carries it.
"""

from __future__ import annotations

import ctypes
import os
import sys
import weakref
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import scipy.sparse as sp

from headjoint.cases.elements.fronts import FrontFactors, complement
from headjoint.cases.elements.threads import allowed_threads
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import NO_MEMORY, InputError, SolveError

SYMMETRIC_POSITIVE_DEFINITE = 2  # Pardiso mtype
NUMERICAL_FACTORISATION, BACK_SUBSTITUTION, FORWARD, BACKWARD = 22, 33, 331, 333  # Pardiso phases
OUT_OF_MEMORY, ZERO_PIVOT = -2, -4  # Pardiso's error numbers
RESIDUAL = 1e-6  # of a right-hand side, above which factors are no good
CHOICE = "HEADJOINT_SOLVER"  # environment variable that chooses
PARDISO, FRONTS = "pardiso", "fronts"
MIRROR_BLOCK = 512
# Below this size threads wait for each other longer than they work, and on a busy machine very much longer.
SMALLEST_FOR_THREADS = 40_000  # unknowns


@cache
def _pardiso() -> Any | None:
    """Return the pypardiso module, or None where it or its library is missing."""
    # pypardiso otherwise searches the whole environment for the library, which takes longer than a solve
    for name in ("libmkl_rt.so.2", "libmkl_rt.so.3", "libmkl_rt.so"):
        library = Path(sys.prefix) / "lib" / name
        if library.exists():
            os.environ.setdefault("PYPARDISO_MKL_RT", str(library))
            break
    try:
        from pypardiso import pardiso_wrapper
    except (ImportError, OSError):
        return None
    return pardiso_wrapper


def by_pardiso() -> bool:
    """Return which of both runs; raises InputError where one is chosen that there is not."""
    chosen = os.environ.get(CHOICE, "")
    if chosen not in ("", PARDISO, FRONTS):
        raise InputError(f"must be '{PARDISO}' or '{FRONTS}'", field=CHOICE, value=chosen)
    if chosen == PARDISO and _pardiso() is None:
        raise InputError(f"is not available here; '{FRONTS}' is", field=CHOICE, value=chosen)
    return chosen != FRONTS and _pardiso() is not None


def solver_name() -> str:
    """Return the name of the sparse solver in use."""
    return "MKL Pardiso" if by_pardiso() else "Cholesky by fronts on LAPACK (slower than Pardiso, same answers)"


def _new_solver(unknowns: int, **options: int) -> Any:
    """Return a fresh Pardiso solver for symmetric positive definite matrices, with threads that fit the size."""
    pardiso = _pardiso()
    assert pardiso is not None
    solver = pardiso.PyPardisoSolver(mtype=SYMMETRIC_POSITIVE_DEFINITE, **options)
    threads = 1 if unknowns < SMALLEST_FOR_THREADS else allowed_threads()
    # of this thread: threadpoolctl sets that, and so what is set for all threads counts no more
    solver.libmkl.MKL_Set_Num_Threads_Local(ctypes.c_int(threads))
    return solver


class Factorization:
    """Cholesky factors of a sparse symmetric positive definite matrix, for repeated solves.

    `refined` False leaves out Pardiso's two steps of iterative refinement, for solves inside an iteration that corrects
    itself: a third of the time.
    """

    def __init__(self, matrix: sp.csc_matrix | sp.csr_matrix, refined: bool = True) -> None:
        self._upper: sp.csr_matrix | None = None
        self._fronts: FrontFactors | None = None
        if by_pardiso():
            self._solver = _new_solver(matrix.shape[0])
            # Pardiso keeps factors until it is told, also of what nobody has any more
            self._freed = weakref.finalize(self, self._solver.free_memory, everything=True)
            self._freed.atexit = False
            if not refined:
                self._solver.set_iparm(1, 1)  # no defaults
                self._solver.set_iparm(2, 3)  # parallel nested dissection
                self._solver.set_iparm(8, 0)  # no refinement
        else:
            self._fronts = FrontFactors()
        self.renew(matrix)

    def renew(self, matrix: sp.csc_matrix | sp.csr_matrix) -> None:
        """Factorise another matrix; where its pattern is the same the ordering is kept, most of the time it takes."""
        before, upper = self._upper, sp.triu(matrix, format="csr")
        upper.sort_indices()
        self._upper = upper
        ordered = before is not None and (
            np.array_equal(before.indptr, upper.indptr) and np.array_equal(before.indices, upper.indices)
        )
        if self._fronts is not None:
            self._fronts.renew(matrix.tocsr(), ordered)
            return
        try:
            if ordered:
                self._call(NUMERICAL_FACTORISATION, np.zeros(upper.shape[0]))
            else:
                self._solver.factorize(upper)
        except Exception as error:  # pypardiso has one own class and ValueError for empty rows
            if getattr(error, "value", None) == OUT_OF_MEMORY:
                raise SolveError(NO_MEMORY) from None
            raise SolveError(f"the stiffness matrix cannot be factorised ({error})") from None

    def solve(self, right_hand_side: FloatArray) -> FloatArray:
        """Return the solution for one vector (n,) or several columns (n, k)."""
        if self._fronts is not None:
            return self._fronts.solve(right_hand_side)
        return self._call(BACK_SUBSTITUTION, np.asfortranarray(right_hand_side, dtype=float))

    def _call(self, phase: int, right_hand_side: FloatArray) -> FloatArray:
        # pypardiso's own `solve` would compare the matrix entry by entry with the one it factorised, at every call
        self._solver.set_phase(phase)
        return self._solver._call_pardiso(self._upper, right_hand_side)

    def release(self) -> None:
        """Give the memory of the factors back."""
        if self._fronts is not None:
            self._fronts.release()
        else:
            self._freed()


def schur_complement(matrix: sp.csr_matrix, kept: IntArray) -> FloatArray:
    """Return A_kk - A_ki A_ii^-1 A_ik for the kept unknowns k, i all others; dense (n_k, n_k).

    `matrix` is symmetric with a positive definite block A_ii; the kept block may be anything, so load
    vectors can ride along as kept columns with a zero diagonal: their rows then hold the condensed loads.
    """
    return schur_of_half(matrix / 2.0, kept)[0]


class InnerFactors:
    """Factors of the block A_ii that a Schur complement leaves behind, for solves with it.

    They take a gigabyte and more, so only the latest are there: new ones release those before. They go with the answer
    that has them.
    """

    _latest: weakref.ref[InnerFactors] | None = None

    def __init__(self, solver: Any, upper: sp.csr_matrix, inner: int) -> None:
        self._solver, self._upper, self._inner = solver, upper, inner
        self._freed = weakref.finalize(self, solver.free_memory, everything=True)
        self._freed.atexit = False
        InnerFactors.release_latest()
        InnerFactors._latest = weakref.ref(self)

    @property
    def released(self) -> bool:
        """Whether the memory was given back."""
        return not self._freed.alive

    @staticmethod
    def release_latest() -> None:
        """Give the memory of the latest factors back, if they are still there."""
        latest = None if InnerFactors._latest is None else InnerFactors._latest()
        if latest is not None:
            latest.release()

    def solve(self, right_hand_side: FloatArray) -> FloatArray:
        """Return the solution (n_i,) of A_ii x = b; raises SolveError where the factors are gone."""
        if self.released:
            raise SolveError("the factors of this joint are no longer kept")
        size = self._upper.shape[0]
        loads, halfway, found = np.zeros(size), np.zeros(size), np.zeros(size)
        loads[: self._inner] = right_hand_side
        for phase, start, out in ((FORWARD, loads, halfway), (BACKWARD, halfway, found)):
            start[self._inner :] = 0.0  # kept unknowns are held
            self._solver.set_phase(phase)
            error = _call(self._solver, self._upper, out, start)
            if error != 0:
                raise SolveError(f"displacements cannot be recovered (Pardiso error {error})")
        return found[: self._inner]

    def release(self) -> None:
        """Give the memory of the factors back."""
        self._freed()


def schur_of_half(
    half: sp.csr_matrix, kept: IntArray, beside: sp.csr_matrix | None = None, *, keeps: bool = False
) -> tuple[FloatArray, InnerFactors | None]:
    """Return the Schur complement of H + H' as `schur_complement` does, and the factors of its inner block.

    half : H (n, n), which is quicker to assemble than all of a symmetric matrix. beside : (n, b) columns that ride
    along, kept after the `kept` unknowns, with zeros where they meet. keeps : whether factors are wanted, in the order
    of the inner unknowns; None where not, and where there are none.
    """
    beside = sp.csr_matrix((half.shape[0], 0)) if beside is None else beside
    if by_pardiso():
        return _schur_by_pardiso(half, kept, beside, keeps)
    whole = sp.bmat([[half + half.T, beside], [beside.T, None]]).tocsr() if beside.shape[1] else half + half.T
    return complement(whole.tocsr(), np.concatenate([kept, half.shape[0] + np.arange(beside.shape[1])])), None


def _schur_by_pardiso(
    half: sp.csr_matrix, kept: IntArray, beside: sp.csr_matrix, keeps: bool
) -> tuple[FloatArray, InnerFactors | None]:
    n, n_kept = half.shape[0] + beside.shape[1], len(kept) + beside.shape[1]
    upper = _upper_kept_last(half, kept, beside)
    solver = _new_solver(n, phase=12)
    solver.set_iparm(1, 1)  # no defaults
    solver.set_iparm(2, 3)  # parallel nested dissection
    solver.set_iparm(36, 2 if keeps else 1)  # return the Schur complement, and keep the factors or not
    solver.perm = np.zeros(n, dtype=np.int32)
    solver.perm[n - n_kept :] = 1
    schur = np.zeros((n_kept, n_kept))
    error = _call(solver, upper, schur)
    factors = InnerFactors(solver, upper, n - n_kept) if keeps else None
    # which kept factors also try on the kept block, whose zero diagonals are no matter here: they are tried instead
    if factors is not None and error == ZERO_PIVOT and _good(factors, upper[: n - n_kept, : n - n_kept]):
        error = 0
    if factors is None:
        solver.perm = np.zeros(0, dtype=np.int32)
        solver.free_memory(everything=True)
    elif error != 0:
        factors.release()
    if error == OUT_OF_MEMORY:
        raise SolveError(NO_MEMORY)
    if error != 0:
        raise SolveError(f"the joint cannot be condensed to its interfaces (Pardiso error {error})")
    _mirror(schur)
    return schur, factors


def _upper_kept_last(half: sp.csr_matrix, kept: IntArray, beside: sp.csr_matrix) -> sp.csr_matrix:
    """Return what is above the diagonal of H + H' with `beside`, as Pardiso wants it: all others first, then those
    kept and those beside; columns ascending, every diagonal entry stored, also a zero one.
    """
    n, size = half.shape[0], half.shape[0] + beside.shape[1]
    others = np.ones(n, dtype=bool)
    others[kept] = False
    place = np.empty(size, dtype=np.int32)
    place[np.flatnonzero(others)] = np.arange(n - len(kept))
    place[kept] = n - len(kept) + np.arange(len(kept))
    place[n:] = np.arange(n, size)
    inside, along = half.tocoo(), beside.tocoo()
    row, column = place[inside.row], place[inside.col]
    diagonal = np.arange(size, dtype=np.int32)
    rows = np.concatenate([np.minimum(row, column), place[along.row], diagonal])
    columns = np.concatenate([np.maximum(row, column), place[n + along.col], diagonal])
    data = np.concatenate([np.where(row == column, 2.0, 1.0) * inside.data, along.data, np.zeros(size)])
    lower = sp.coo_matrix((data, (columns, rows)), shape=(size, size))
    lower.has_canonical_format = True  # it is not, but turned over it is sorted for less than by sorting
    upper = lower.tocsr().tocsc().T
    upper.sum_duplicates()
    return upper


def _good(factors: InnerFactors, upper: sp.csr_matrix) -> bool:
    """Return whether factors solve for what a displacement makes. upper : what is above the diagonal, with it."""
    displacement = np.cos(np.arange(upper.shape[0]))
    load = upper @ displacement + upper.T @ displacement - upper.diagonal() * displacement
    residual = factors.solve(load) - displacement
    residual = upper @ residual + upper.T @ residual - upper.diagonal() * residual
    return bool(np.linalg.norm(residual) < RESIDUAL * np.linalg.norm(load))


def _mirror(schur: FloatArray) -> None:
    """Fill the triangle that Pardiso leaves empty for symmetric types, block by block: the matrix may be large."""
    for start in range(0, len(schur), MIRROR_BLOCK):
        stop = min(start + MIRROR_BLOCK, len(schur))
        corner = schur[start:stop, start:stop]
        lower, above = np.tril(corner, -1), np.triu(corner, 1)
        half = (lower + above.T) / (2.0 if lower.any() and above.any() else 1.0)
        corner[:] = half + half.T + np.diag(np.diag(corner))
        left, right = schur[stop:, start:stop], schur[start:stop, stop:]
        both = 2.0 if left.any() and right.any() else 1.0
        left[:] = (left + right.T) / both
        right[:] = left.T


def _call(solver: Any, upper: sp.csr_matrix, out: FloatArray, right_hand_side: FloatArray | None = None) -> int:
    """Call Pardiso with `out` as the solution array; returns its error code.

    pypardiso's own call sizes the solution after the right-hand side, too small for a Schur complement.
    """
    integers, doubles = ctypes.POINTER(ctypes.c_int32), ctypes.POINTER(ctypes.c_double)
    row_start, column = upper.indptr.astype(np.int32) + 1, upper.indices.astype(np.int32) + 1
    error = ctypes.c_int32(0)
    given = np.zeros(upper.shape[0]) if right_hand_side is None else right_hand_side

    def number(value: int) -> Any:
        return ctypes.byref(ctypes.c_int32(value))

    solver._mkl_pardiso(
        solver.pt.ctypes.data_as(ctypes.POINTER(solver._pt_type[0])),
        number(1),
        number(1),
        number(solver.mtype),
        number(solver.phase),
        number(upper.shape[0]),
        upper.data.ctypes.data_as(doubles),
        row_start.ctypes.data_as(integers),
        column.ctypes.data_as(integers),
        solver.perm.ctypes.data_as(integers),
        number(1),
        solver.iparm.ctypes.data_as(integers),
        number(0),
        given.ctypes.data_as(doubles),
        out.ctypes.data_as(doubles),
        ctypes.byref(error),
    )
    return error.value
