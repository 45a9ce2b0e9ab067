"""A quantity over states by finite elements beside its closed-form estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Row:
    """One quantity over all states; values in `unit`, None where a state has none."""

    quantity: str
    unit: str
    finite_elements: tuple[float | None, ...]
    estimate: tuple[float | None, ...]
    why: str = ""

    @property
    def ratio(self) -> tuple[float | None, ...]:
        """Finite elements over estimate."""
        return tuple(
            None if a is None or b is None or abs(b) < 1e-9 else a / b
            for a, b in zip(self.finite_elements, self.estimate, strict=True)
        )


def row_columns(rows: Sequence[Row], names: Sequence[str]) -> dict[str, list[Any]]:
    """Return rows over the states called `names` as columns: one line for every quantity and state."""
    columns: dict[str, list[Any]] = {
        name: [] for name in ("quantity", "unit", "state", "finite elements", "estimate", "ratio")
    }
    for row in rows:
        for state, computed, beside, ratio in zip(names, row.finite_elements, row.estimate, row.ratio, strict=True):
            line = (row.quantity.strip(), row.unit, state, computed, beside, ratio)
            for column, value in zip(columns.values(), line, strict=True):
                column.append(value)
    return columns


@dataclass(frozen=True)
class JointFigure:
    """A figure of the whole joint beside its estimate."""

    quantity: str
    unit: str
    finite_elements: float
    estimate: float
    why: str = ""
