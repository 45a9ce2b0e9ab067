"""Faces that conduct heat by the pressure between them: from the pressures of a state to contacts of a heat problem."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.reduced_joint import Equilibrium, ReducedJoint
from headjoint.cases.heat.conduction import FloatArray
from headjoint.cases.heat.gap_round_shank import ShankGap
from headjoint.cases.heat.problem import Contact
from headjoint.cases.heat.surfaces import SurfacePoints
from headjoint.model.formulas.contact_heat import conductance_of_bearing, conductance_of_gasket, shank_gap_conductance
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material

FOLLOWED = 0.05  # of a face's conductance: what it may be off, in the mean over the face, before it is put in anew


@dataclass(frozen=True)
class Face:
    """A face in contact: its points, in the order of the mechanical ones, and the materials on either side.

    kind : "gasket" or "bearing".
    """

    name: str
    kind: str
    surface: SurfacePoints = field(repr=False)
    joint: Joint = field(repr=False)
    lower: Material = field(repr=False)
    upper: Material = field(repr=False)

    def conductance(self, pressure: FloatArray, opening: FloatArray) -> FloatArray:
        """Return W/(mm2 K) at every point for contact pressures (MPa) and openings (mm)."""
        if self.kind == "gasket":
            law = conductance_of_gasket(self.joint)
        else:
            law = conductance_of_bearing(self.joint, self.lower, self.upper)
        return np.broadcast_to(law.conductance(pressure, opening), pressure.shape)


@dataclass(frozen=True)
class Faces:
    """All faces in contact, whose points one after the other are the first ones of the reduced joint."""

    faces: tuple[Face, ...] = field(repr=False)
    reduced: ReducedJoint = field(repr=False)

    def contacts(self, permanent_set: FloatArray, at: Equilibrium) -> tuple[Contact, ...]:
        """Return the contacts that the pressures and openings of an equilibrium make."""
        opening = self._opening(permanent_set, at)
        made, first = [], 0
        for face in self.faces:
            own = slice(first, first + len(face.surface.weight))
            made.append(Contact(face.surface, face.conductance(at.pressure[own], opening[own]), face.name))
            first = own.stop
        return tuple(made)

    def _opening(self, permanent_set: FloatArray, at: Equilibrium) -> FloatArray:
        """Return how far (mm) every point stands open; 0 where it bears."""
        first_touch = np.zeros(self.reduced.points)
        for group in self.reduced.groups:
            if group.kind == "gasket":
                first_touch[group.points] = group.law.lift_offs(permanent_set[group.points])
        return np.where(at.pressure > 0.0, 0.0, np.maximum(first_touch - at.closure, 0.0))


def moved(before: tuple[Contact, ...], after: tuple[Contact, ...]) -> bool:
    """Return whether conductances moved so far that the heat should know."""
    for old, renewed in zip(before, after, strict=True):
        weight, h, new = old.surface.weight, np.asarray(old.conductance), np.asarray(renewed.conductance)
        if float(weight @ np.abs(new - h)) > FOLLOWED * float(weight @ h):
            return True
    return False


def gap_contact(joint: Joint, gap: ShankGap) -> Contact:
    """Return the contact across the gap between shank and hole."""
    conductance = shank_gap_conductance(joint.heat.shank_gap, gap.shank, gap.hole)
    return Contact(gap.surface, conductance, "shank and hole")
