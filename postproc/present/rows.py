"""A quantity over states by finite elements beside its closed-form estimate."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from headjoint.model.formulas.mesh_error import Relieved, mesh_error, mesh_errors


@dataclass(frozen=True)
class Row:
    """One quantity over all states; values in `unit`, None where a state has none.

    mesh_error : estimated error of the finite elements, empty where it is not known or there is none. peak : whether it
    stands at a sharp edge, or is the small rest of large displacements, where two meshes do not tell the error.
    untold : as of `mesh_errors`. relieved : of head-room on gas, pressure on the sealing line under it, and without; of
    one in MPa, the latter times the gas pressure.
    """

    quantity: str
    unit: str
    finite_elements: tuple[float | None, ...]
    estimate: tuple[float | None, ...]
    why: str = ""
    mesh_error: tuple[float | None, ...] = ()
    peak: bool = False
    untold: float = 0.0
    relieved: tuple[Relieved | None, ...] = ()

    @property
    def ratio(self) -> tuple[float | None, ...]:
        """Finite elements over estimate."""
        return tuple(
            None if a is None or b is None or abs(b) < 1e-9 else a / b
            for a, b in zip(self.finite_elements, self.estimate, strict=True)
        )


def with_mesh_errors(rows: Sequence[Row], coarse: Sequence[Row], *, solid: bool) -> tuple[Row, ...]:
    """Return rows with their mesh errors, from the same rows on a coarser mesh; `solid` as of `companion`.

    Angles, stated needs and peaks have none.
    """
    found = []
    for row, other in zip(rows, coarse, strict=True):
        stated = row.peak or row.unit == "deg" or row.finite_elements == other.finite_elements
        values = row.finite_elements, other.finite_elements
        errors = (
            ()
            if stated
            else mesh_errors(
                *values, row.relieved, other.relieved, factors=not row.unit, untold=row.untold, solid=solid
            )
        )
        found.append(dataclasses.replace(row, mesh_error=errors))
    return tuple(found)


def row_columns(rows: Sequence[Row], names: Sequence[str]) -> dict[str, list[Any]]:
    """Return rows over the states called `names` as columns: one line for every quantity and state."""
    columns: dict[str, list[Any]] = {
        name: [] for name in ("quantity", "unit", "state", "finite elements", "mesh error", "estimate", "ratio")
    }
    for row in rows:
        errors = row.mesh_error or (None,) * len(names)
        values = zip(names, row.finite_elements, errors, row.estimate, row.ratio, strict=True)
        for state, computed, error, beside, ratio in values:
            line = (row.quantity.strip(), row.unit, state, computed, error, beside, ratio)
            for column, value in zip(columns.values(), line, strict=True):
                column.append(value)
    return columns


@dataclass(frozen=True)
class JointFigure:
    """A figure of the whole joint beside its estimate. mesh_error : of the finite elements, None where not known."""

    quantity: str
    unit: str
    finite_elements: float
    estimate: float
    why: str = ""
    mesh_error: float | None = None


def with_errors(figures: Sequence[JointFigure], coarse: Sequence[JointFigure]) -> tuple[JointFigure, ...]:
    """Return figures with their mesh errors, from the same figures on a mesh of doubled element size."""
    pairs = zip(figures, coarse, strict=True)
    return tuple(
        dataclasses.replace(one, mesh_error=mesh_error(one.finite_elements, other.finite_elements))
        for one, other in pairs
    )
