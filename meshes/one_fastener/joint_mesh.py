"""The tagged axisymmetric mesh: parts, paired interfaces, pretension cut and loaded facets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from skfem import MeshQuad

from headjoint.model.base.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Interface:
    """Two faces that meet without sharing nodes, as paired facets.

    name : zone or contact it stands for; kind : "gasket" or "bearing".
    lower, upper : (n,) facet numbers of the lower and the upper face, pairwise over the same radii.
    """

    name: str
    kind: str
    lower: IntArray
    upper: IntArray


@dataclass(frozen=True)
class JointMesh:
    """Quadrilateral mesh in (r, z) with everything that loads and couples it.

    mesh : vertices (2, n) in mm and quadrilaterals (4, m).
    parts : names; part : (m,) index into parts per element.
    interfaces : gasket zones and frictionless bearing faces (tied faces share their nodes).
    cut_facets, above_cut : facets of the pretension cut, and elements on its upper side.
    gas_facets : facets of the head's lower face over the gas ring; deck_gas_facets : those of the block's deck that
    combustion presses on, too. bottom_facets : the block's support.
    """

    mesh: MeshQuad
    parts: tuple[str, ...]
    part: IntArray
    interfaces: tuple[Interface, ...]
    cut_facets: IntArray
    above_cut: IntArray
    gas_facets: IntArray
    deck_gas_facets: IntArray
    bottom_facets: IntArray

    def facet_radii(self, facets: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return inner and outer radius (mm) of horizontal facets."""
        radii = self.mesh.p[0][self.mesh.facets[:, facets]]
        return radii.min(axis=0), radii.max(axis=0)

    def part_volume(self, part: str) -> float:
        """Return the volume (mm3) of a part of this rectangular mesh, by Pappus, for checks."""
        corners = self.mesh.p[:, self.mesh.t[:, self.part == self.parts.index(part)]]
        r0, r1 = corners[0].min(axis=0), corners[0].max(axis=0)
        height = corners[1].max(axis=0) - corners[1].min(axis=0)
        return float(np.sum(np.pi * (r1**2 - r0**2) * height))
