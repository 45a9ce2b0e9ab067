"""A quantity over states by finite elements beside its closed-form estimate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    pass


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


@dataclass(frozen=True)
class JointFigure:
    """A figure of the whole joint beside its estimate."""

    quantity: str
    unit: str
    finite_elements: float
    estimate: float
    why: str = ""
