"""Metal faces that bear on a part of their area only: how much of it, and what is said of that."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from headjoint.model.base.arrays import FloatArray

WHOLE = 0.99  # of a face's area: quadrature points at its rim may be without pressure


def bearing_share(weight: FloatArray, pressure: FloatArray) -> float:
    """Return the share of a face's area that presses, from areas (k,) mm2 and pressures (k,) MPa of its points."""
    return float(np.sum(weight[pressure > 0.0]) / np.sum(weight))


def lifted_words(shares: Iterable[tuple[str, str, float | None]]) -> tuple[str, ...]:
    """Say which faces have lifted off in part, at their worst; shares : face, state, and the share that bears."""
    worst: dict[str, tuple[float, str]] = {}
    for face, state, share in shares:
        if share is not None and share < min(WHOLE, worst.get(face, (WHOLE, ""))[0]):
            worst[face] = (share, state)
    return tuple(
        f"{face}: only {100.0 * share:.0f} % of the face bears ({state}), the rest has lifted off"
        for face, (share, state) in worst.items()
    )
