"""Conductance across gasket and bearing faces by pressure and opening, and across the gap round the shank, on arrays.

The formulas are those of `model.heat.transfer.RoughContact`, which is the scalar reference and names their sources.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.heat.duty import GasketFaces, RoughFaces
from headjoint.model.heat.transfer import CONDUCTIVITY_UNIT, RoughContact
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material

FACES_AT = 100.0  # degC at which the metal's conductivity is taken; it changes by some per cent over a warm-up


class ConductanceLaw(Protocol):
    """How well two faces pass heat to each other."""

    def conductance(self, pressure: FloatArray, opening: FloatArray) -> FloatArray:
        """Return W/(mm2 K) at contact pressures (MPa) and openings (mm), arrays of one shape."""
        ...


@dataclass(frozen=True)
class ConstantConductance:
    """A conductance in W/(mm2 K) that neither pressure nor opening changes."""

    value: float

    def conductance(self, pressure: FloatArray, opening: FloatArray) -> FloatArray:
        """Return the value for every pressure (MPa) and opening (mm)."""
        return np.full(np.broadcast(pressure, opening).shape, self.value)


@dataclass(frozen=True)
class FaceConductance:
    """Two rough faces: spots that touch and gaps between them, side by side."""

    contact: RoughContact

    def conductance(self, pressure: FloatArray, opening: FloatArray) -> FloatArray:
        """Return W/(mm2 K) at pressures (MPa; at or below 0 nothing touches) and openings (mm) between the faces."""
        faces = self.contact
        share = np.maximum(pressure, 0.0) / faces.hardness
        k_s = (
            2.0
            * faces.conductivity_lower
            * faces.conductivity_upper
            / (faces.conductivity_lower + faces.conductivity_upper)
        )
        spots = 1.25 * k_s * faces.slope / faces.roughness * share**0.95
        # the fit of the gap holds down to p/H = 1e-5, as in the reference
        Y = 1.53 * faces.roughness * np.maximum(share, 1e-5) ** -0.097
        return spots + faces.gap_conductivity / (Y + faces.jump_distance + np.maximum(opening, 0.0))


@dataclass(frozen=True)
class GasketConductance:
    """Lower face, body and upper face in series; body : W/(mm2 K).

    The body has the thickness at first touch. Where it stands open, all of the opening is at the upper face, which
    gives the same as half of it at either.
    """

    lower: FaceConductance
    body: float
    upper: FaceConductance

    def conductance(self, pressure: FloatArray, opening: FloatArray) -> FloatArray:
        """Return W/(mm2 K) at pressures (MPa) and openings (mm); 0 where nothing fills a gap that stands open."""
        lower = self.lower.conductance(pressure, np.zeros_like(opening))
        upper = self.upper.conductance(pressure, opening)
        # written without reciprocals of a face that passes nothing
        return lower * upper * self.body / (self.body * (lower + upper) + lower * upper + np.finfo(float).tiny)


def conductance_of_gasket(joint: Joint) -> ConductanceLaw:
    """Return how well heat crosses the joint's gasket.

    Raises InputError where the conductivity of head or block is needed and not known.
    """
    stated = joint.heat.gasket_contact
    if not isinstance(stated, GasketFaces):
        return ConstantConductance(stated)
    body = stated.body_conductivity
    lower, upper = (_conductivity(part.material) for part in (joint.block, joint.head))
    below, above = _face_conductance(stated, lower, body), _face_conductance(stated, body, upper)
    return GasketConductance(below, body / joint.gasket.thickness, above)


def conductance_of_bearing(joint: Joint, lower: Material, upper: Material) -> ConductanceLaw:
    """Return how well heat crosses bearing faces between two materials.

    Raises InputError where the conductivity of one is needed and not known.
    """
    stated = joint.heat.bearing_contact
    if not isinstance(stated, RoughFaces):
        return ConstantConductance(stated)
    return _face_conductance(stated, _conductivity(lower), _conductivity(upper))


def shank_gap_conductance(
    gap_conductivity: FloatArray | float, shank_radius: FloatArray | float, hole_radius: FloatArray | float
) -> FloatArray:
    """Return the conductance of a concentric gap per area of the shank, k/(r_s ln(r_h/r_s)), in W/(mm2 K).

    gap_conductivity : W/(mm K). shank_radius, hole_radius : mm. Conduction alone: in a gap below some millimetres a gas
    does not circulate, and radiation adds little below 200 degC (common practice, no source). Raises InputError where
    the hole is not larger than the shank.
    """
    shank, hole = np.asarray(shank_radius, dtype=float), np.asarray(hole_radius, dtype=float)
    if not np.all((shank > 0.0) & (hole > shank)):
        raise InputError("the hole must be larger than the shank for a gap between them", field="hole_radius")
    return np.asarray(gap_conductivity / (shank * np.log(hole / shank)))


def _conductivity(material: Material) -> float:
    """Return the conductivity in W/(mm K)."""
    if material.conductivity is None:
        raise InputError(f"the conductivity of {material.name} is not known; state it", field="conductivity")
    return CONDUCTIVITY_UNIT * material.conductivity.at(FACES_AT)


def _face_conductance(faces: RoughFaces, lower: float, upper: float) -> FaceConductance:
    return FaceConductance(
        RoughContact(
            roughness=faces.roughness,
            slope=faces.slope,
            hardness=faces.hardness,
            conductivity_lower=lower,
            conductivity_upper=upper,
            gap_conductivity=faces.gap_conductivity,
            jump_distance=faces.jump_distance,
        )
    )
