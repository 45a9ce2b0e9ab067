"""What is read off states of a pressed bead: where it touches, how its metal is strained, how far its ends travel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.cases.bead.decks import Deck
from headjoint.cases.bead.dies import Die
from headjoint.cases.bead.history import History
from headjoint.cases.bead.layers import Between
from headjoint.cases.bead.plasticity import METRIC
from headjoint.cases.bead.pressing import Pressed
from headjoint.model.base.arrays import FloatArray

LEAST_PATCH = 0.002  # of the load, below which a patch is not worth naming


@dataclass(frozen=True)
class Patch:
    """Where the sheet touches a deck.

    deck : lower or upper, or between layers, from below. start, end : mm from the bead's middle. force : N/mm. peak :
    greatest pressure at a node, MPa. corner : whether the patch holds the sheet's own edge, where it has no limit.
    """

    deck: str
    start: float
    end: float
    force: float
    peak: float
    corner: bool

    @property
    def width(self) -> float:
        """How wide it is, mm."""
        return self.end - self.start

    @property
    def mean(self) -> float:
        """Force over width, MPa."""
        return self.force / self.width


@dataclass(frozen=True)
class Strained:
    """Metal between two states at its worst point: ranges of stress (MPa) and plastic strain, amplitude of strain,
    greatest principal stress (MPa), and sigma_max eps_a (MPa)."""

    stress_range: float
    plastic_range: float
    amplitude: float
    greatest_stress: float
    parameter: float


def patches(history: History, state: Pressed) -> list[Patch]:
    """Return the patches of contact of a state, of the whole bead, from the inside out, lower deck first."""
    pressing, found = history.pressing, list[Patch]()
    faces: list[tuple[str, Deck | Die | Between, FloatArray]] = [
        ("lower", pressing.below, state.touches[0].pressure),
        ("upper", pressing.above, state.touches[1].pressure),
        *(
            (f"layers {number} and {number + 1}", one, pressure)
            for number, (one, pressure) in enumerate(zip(pressing.between, state.layers, strict=True), start=1)
        ),
    ]
    for name, deck, pressed in faces:
        last = len(deck.nodes) - 1
        x = pressing.sheet.mesh.points[deck.nodes, 0] + state.displacement[2 * deck.nodes]
        edges = np.concatenate([x[:1], (x[1:] + x[:-1]) / 2.0, x[-1:]])
        bears = np.flatnonzero(pressed > 1e-9)
        for run in np.split(bears, np.flatnonzero(np.diff(bears) > 1) + 1) if len(bears) else []:
            force = float((pressed * deck.weight)[run].sum())
            at_edge = run[-1] == last or (run[0] == 0 and history.share == 1.0)
            found.append(
                Patch(name, float(edges[run[0]]), float(edges[run[-1] + 1]), force,
                      float(pressed[run].max()), bool(at_edge))
            )  # fmt: skip
    if history.share < 1.0:
        found = [one for patch in found for one in _mirrored(patch)]
    least = LEAST_PATCH * state.line_load / history.share
    kept = [one for one in found if one.force > least]
    return sorted(kept, key=lambda one: (one.deck, one.start))


def _mirrored(patch: Patch) -> list[Patch]:
    """Return the patches of a whole bead that one of its right half stands for."""
    if patch.start <= 1e-12:
        return [Patch(patch.deck, -patch.end, patch.end, 2.0 * patch.force, patch.peak, patch.corner)]
    other = Patch(patch.deck, -patch.end, -patch.start, patch.force, patch.peak, patch.corner)
    return [other, patch]


def strained(youngs_moduli: FloatArray, one: Pressed, other: Pressed) -> Strained:
    """Return how metal of moduli (MPa) by point is strained between two states where sigma_max eps_a is greatest."""
    change = one.stress - other.stress
    stress_range = equivalent(change)
    plastic = one.metal.strain - other.metal.strain
    # equivalent strain; engineering shear counts half
    plastic_range = np.sqrt(2.0 / 3.0 * (plastic**2 @ np.array([1.0, 1.0, 1.0, 0.5])))
    amplitude = stress_range / (2.0 * youngs_moduli) + plastic_range / 2.0
    greatest = np.maximum(np.maximum(principal(one.stress), principal(other.stress)), 0.0)
    parameter = greatest * amplitude
    worst = int(np.argmax(parameter))
    figures = (stress_range, plastic_range, amplitude, greatest, parameter)
    return Strained(*(float(figure[worst]) for figure in figures))


def equivalent(stress: FloatArray) -> FloatArray:
    """Return the equivalent stress (von Mises, MPa) of stresses (n, 4)."""
    deviator = stress.copy()
    deviator[:, :3] -= stress[:, :3].mean(axis=1, keepdims=True)
    return np.sqrt(1.5 * (deviator**2 @ METRIC))


def principal(stress: FloatArray) -> FloatArray:
    """Return the greatest principal stress (MPa) of stresses (n, 4)."""
    mean, half = (stress[:, 0] + stress[:, 1]) / 2.0, (stress[:, 0] - stress[:, 1]) / 2.0
    return np.maximum(mean + np.hypot(half, stress[:, 3]), stress[:, 2])


def end_travel(history: History, state: Pressed) -> tuple[float, float]:
    """Return how far (mm) the inner and the outer end have moved outwards of the bead's middle."""
    mesh, moved = history.pressing.sheet.mesh, state.displacement[::2]
    outer = float(moved[mesh.last].mean())
    return (outer, outer) if history.share < 1.0 else (-float(moved[mesh.first].mean()), outer)
