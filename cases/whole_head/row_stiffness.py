"""The stiffness of a row of bores as what it is: a few small matrices, each for all bores at once, never one large one.

K v = sum over blocks of G' (M for every bore) G v. G takes a bore's unknowns apart into their parities, which is a
change of signs and places and so a sparse matrix; M is a condensed tile.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.elements.side_by_side import side_by_side
from headjoint.model.base.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Repeated:
    """One symmetric matrix (n, n) for `count` bores. taken : (count n, N) from the row's unknowns to the bores' own."""

    matrix: FloatArray = field(repr=False)
    taken: sp.csr_matrix = field(repr=False)
    given: sp.csr_matrix = field(repr=False)

    @staticmethod
    def of(matrix: FloatArray, taken: sp.csr_matrix) -> Repeated:
        """Return one with the transposed of `taken` beside it."""
        return Repeated(matrix, taken, taken.T.tocsr())

    def own(self, v: FloatArray) -> FloatArray:
        """Return the bores' own unknowns (count, n) of the row's (N,)."""
        return (self.taken @ v).reshape(-1, len(self.matrix))

    def times(self, v: FloatArray) -> FloatArray:
        """Return the product with a vector (N,)."""
        return self.given @ (self.own(v) @ self.matrix).ravel()

    def roughly(self, v: FloatArray) -> FloatArray:
        """Return the product with a vector (N,) in single precision: half the traffic, which is what it takes."""
        return self.given @ (self.own(v).astype(np.float32) @ self.single).ravel().astype(float)

    @cached_property
    def single(self) -> NDArray[np.float32]:
        """The matrix in single precision."""
        return self.matrix.astype(np.float32)


@dataclass(frozen=True)
class RowStiffness:
    """The stiffness of a row (N, N) by its blocks; held : (N,) N/mm of springs that hold what shifts freely."""

    blocks: tuple[Repeated, ...] = field(repr=False)
    held: FloatArray = field(repr=False)

    def __len__(self) -> int:
        return len(self.held)

    def __matmul__(self, v: FloatArray) -> FloatArray:
        total = self.held * v
        for product in side_by_side(lambda block: block.times(v), self.blocks):
            total += product
        return total

    def roughly(self, v: FloatArray) -> FloatArray:
        """Return the product with a vector (N,) in single precision, for steps that are rough themselves."""
        total = self.held * v
        for product in side_by_side(lambda block: block.roughly(v), self.blocks):
            total += product
        return total

    def __getitem__(self, rows: IntArray) -> SomeRows:
        return SomeRows(self, rows)

    def dense(self) -> FloatArray:
        """Return it written out, for small rows."""
        return np.column_stack([self @ column for column in np.eye(len(self))])


@dataclass(frozen=True)
class SomeRows:
    """Some rows of a row's stiffness."""

    whole: RowStiffness
    rows: IntArray

    def __matmul__(self, v: FloatArray) -> FloatArray:
        return (self.whole @ v)[self.rows]


def selection(
    entries: Sequence[tuple[IntArray, IntArray, FloatArray | float]], shape: tuple[int, int]
) -> sp.csr_matrix:
    """Return the sparse matrix with entries (rows, columns, values) added up; columns below zero are left out."""
    rows, columns, values = [], [], []
    for row, column, value in entries:
        row, column, value = np.broadcast_arrays(row, column, value)
        here = column >= 0
        rows.append(row[here])
        columns.append(column[here])
        values.append(value[here])
    places = (np.concatenate(rows), np.concatenate(columns))
    return sp.coo_matrix((np.concatenate(values), places), shape=shape).tocsr()
