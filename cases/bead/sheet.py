"""A beaded sheet as a body: inner forces, stiffness in band storage and memory at given displacements.

Total Lagrangian, on eight-node quadrilaterals with 2 x 2 Gauss points: no locking in bending or plastic flow, and the
one zero-energy mode that the rule leaves cannot spread over several elements. A section is plane strain, or a ring
whose forces are given per length at its own radius.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from headjoint.cases.bead.log_strain import log_strain, reference_stress, reference_tangent
from headjoint.cases.bead.plasticity import PlasticState, Step, stepped, virgin
from headjoint.meshes.bead.strip import GAUSS, Strip
from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at
from headjoint.model.base.errors import SolveError
from headjoint.model.bead.hardening import Backstress, SpringSteel

POINTS = GAUSS * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=float)


class Inner(NamedTuple):
    """What a sheet bears at given displacements. force : (n,) N/mm. after : memory. stress : (4 m, 4), logarithmic,
    MPa. stiffness : gives (2 band + 1, n), which a state that is found already never asks for."""

    force: FloatArray
    after: PlasticState
    stress: FloatArray
    stiffness: Callable[[], FloatArray]


@dataclass(frozen=True)
class Sheet:
    """Elements of one sheet, or of layers. ring : radius (mm) that x = 0 lies at, None for a straight bead.

    least_band : half band width that the stiffness has at least, for layers on each other.
    core, cored : another metal, and the numbers of elements that are of it; none where all are of one.
    """

    mesh: Strip
    steel: SpringSteel
    ring: float | None = None
    least_band: int = 0
    core: SpringSteel | None = None
    cored: IntArray | None = None

    @cached_property
    def _shape(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Values over radius (m, 4, 8), gradients (m, 4, 8, 2), weights (m, 4) in mm2, of a ring over its radius."""
        values, natural = face_functions(POINTS, 8)
        places = self.mesh.points[self.mesh.cells]
        jacobian = np.einsum("mad,qae->mqde", places, natural)
        gradients = natural[None] @ np.linalg.inv(jacobian)
        weight = np.linalg.det(jacobian)
        if self.ring is None:
            return np.zeros((*weight.shape, 8)), gradients, weight
        radius = self.ring + np.einsum("qa,ma->mq", values, places[:, :, 0])
        return values[None] / radius[:, :, None], gradients, weight * radius / self.ring

    @cached_property
    def _slopes(self) -> FloatArray:
        """Gradients (m, 8, 8) of nodes, by Gauss points and directions."""
        gradients = self._shape[1]
        return gradients.transpose(0, 2, 1, 3).reshape(len(gradients), 8, 8)

    @cached_property
    def dofs(self) -> IntArray:
        """Unknowns (m, 16) of elements; 2 n + c is component c of node n."""
        return (2 * self.mesh.cells[:, :, None] + np.arange(2)).reshape(len(self.mesh.cells), 16)

    @property
    def unknowns(self) -> int:
        """How many displacements there are."""
        return 2 * len(self.mesh.points)

    @cached_property
    def band(self) -> int:
        """Half band width of the stiffness."""
        return max(self.least_band, int((self.dofs.max(axis=1) - self.dofs.min(axis=1)).max()))

    @cached_property
    def _places(self) -> IntArray:
        rows, columns = self.dofs[:, :, None], self.dofs[:, None, :]
        return ((self.band + rows - columns) * self.unknowns + columns).ravel()

    def new(self) -> PlasticState:
        """Return the memory of a sheet that never yielded."""
        return virgin(4 * len(self.mesh.cells), self._metals[0][0])

    @cached_property
    def _metals(self) -> tuple[tuple[SpringSteel, IntArray], ...]:
        """Every metal, and the points that are of it; all have as many backstresses, some of which stay nothing."""
        everywhere = np.arange(4 * len(self.mesh.cells))
        if self.core is None or self.cored is None:
            return ((self.steel, everywhere),)
        most = max(len(one.backstresses) for one in (self.steel, self.core))
        inside = np.repeat(np.isin(np.arange(len(self.mesh.cells)), self.cored), 4)
        return (_filled(self.steel, most), everywhere[~inside]), (_filled(self.core, most), everywhere[inside])

    @property
    def youngs_moduli(self) -> FloatArray:
        """Young's modulus (MPa) of points (4 m,), of whatever metal they are."""
        found = np.empty(4 * len(self.mesh.cells))
        for metal, at in self._metals:
            found[at] = metal.E
        return found

    def _stepped(self, strain: FloatArray, before: PlasticState) -> Step:
        """Return what all points come to, of whatever metal they are."""
        if len(self._metals) == 1:
            return stepped(self.steel, strain, before)
        parts = [
            (at, stepped(steel, strain[at], PlasticState(before.strain[at], before.back[:, at], before.equivalent[at])))
            for steel, at in self._metals
        ]
        stress, after = np.empty_like(strain), PlasticState(*map(np.empty_like, vars(before).values()))
        for at, one in parts:
            stress[at], after.strain[at], after.equivalent[at] = one.stress, one.after.strain, one.after.equivalent
            after.back[:, at] = one.after.back

        def tangent() -> FloatArray:
            found = np.empty((len(strain), 4, 4))
            for at, one in parts:
                found[at] = one.tangent()
            return found

        return Step(stress, after, tangent)

    def forces(self, displacement: FloatArray, before: PlasticState) -> Inner:
        """Return what the sheet bears at displacements (n,) mm, from the memory `before`.

        Raises SolveError where an element turns inside out.
        """
        over_radius, g, weight = self._shape
        moved = displacement[self.dofs].reshape(-1, 8, 2)
        m = len(moved)
        F = (moved.transpose(0, 2, 1) @ self._slopes).reshape(m, 2, 4, 2).transpose(0, 2, 1, 3)
        F[..., 0, 0] += 1.0
        F[..., 1, 1] += 1.0
        hoop = 1.0 + (over_radius @ moved[:, :, :1])[..., 0]
        flat = F.reshape(-1, 2, 2)
        if (flat[:, 0, 0] * flat[:, 1, 1] - flat[:, 0, 1] * flat[:, 1, 0]).min() <= 0.0 or hoop.min() <= 0.0:
            raise SolveError("an element of the bead turns inside out")
        log = log_strain(flat, hoop.ravel())
        step = self._stepped(log.strain, before)
        S = reference_stress(log, step.stress).reshape(m, 4, 4) * weight[..., None]
        by_node = np.empty((m, 4, 4, 8, 2))
        for i in range(2):
            by_node[:, :, 0, :, i] = F[..., i, 0, None] * g[..., 0]
            by_node[:, :, 1, :, i] = F[..., i, 1, None] * g[..., 1]
            by_node[:, :, 3, :, i] = F[..., i, 0, None] * g[..., 1] + F[..., i, 1, None] * g[..., 0]
        by_node[:, :, 2, :, 0] = hoop[..., None] * over_radius
        by_node[:, :, 2, :, 1] = 0.0
        B = by_node.reshape(m, 16, 16)  # Gauss points and components, by unknowns
        inner = (S.reshape(m, 1, 16) @ B)[:, 0]
        force = summed_at(self.dofs.ravel(), inner.ravel(), self.unknowns)

        def stiffness() -> FloatArray:
            return self._stiffness(B, S, reference_tangent(log, step.stress, step.tangent()))

        return Inner(force, step.after, step.stress, stiffness)

    def _stiffness(self, B: FloatArray, S: FloatArray, tangent: FloatArray) -> FloatArray:
        """Return the stiffness (2 band + 1, n) from strains by unknowns B (m, 16, 16), stresses times weights S
        (m, 4, 4) and tangents (4 m, 4, 4) in MPa."""
        over_radius, g, weight = self._shape
        m = len(B)
        C = tangent.reshape(m, 4, 4, 4) * weight[..., None, None]
        K = B.transpose(0, 2, 1) @ (C @ B.reshape(m, 4, 4, 16)).reshape(m, 16, 16)
        gS = np.empty_like(g)
        gS[..., 0] = g[..., 0] * S[..., 0, None] + g[..., 1] * S[..., 3, None]
        gS[..., 1] = g[..., 0] * S[..., 3, None] + g[..., 1] * S[..., 1, None]
        geometric = self._slopes @ gS.transpose(0, 1, 3, 2).reshape(m, 8, 8)
        K[:, ::2, ::2] += geometric
        K[:, 1::2, 1::2] += geometric
        if self.ring is not None:
            K[:, ::2, ::2] += np.einsum("mq,mqa,mqb->mab", S[..., 2], over_radius, over_radius)
        size = (2 * self.band + 1) * self.unknowns
        return summed_at(self._places, K.ravel(), size).reshape(2 * self.band + 1, self.unknowns)


def _filled(steel: SpringSteel, count: int) -> SpringSteel:
    """Return a metal with so many backstresses, those that it has not of no modulus."""
    more = (Backstress(0.0, 0.0),) * (count - len(steel.backstresses))
    return replace(steel, backstresses=steel.backstresses + more)
