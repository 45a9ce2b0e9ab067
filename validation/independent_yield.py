"""A waisted stud tightened past yield, heated, fired, cooled, let go and used again, by another finite-element library.

headjoint yields a fastener by a one-dimensional law per length, in series with an elastic mesh that is condensed. Here
the stud itself flows: an axisymmetric solid of FElupe with von Mises plasticity and linear isotropic hardening (radial
return) at every integration point. Both sides take the same dimensions and materials. The mesh, eight-node
quadrilaterals with four integration points, is this module's own, and so are the faces (layers that resist changes of
thickness only, for the gasket and under the nut), tightening (travel of the nut in its layer, one more unknown where a
force is wanted), heat (eigenstrains, and strength that falls with it), gas (pressure in the gasket's layer) and the
steps: nothing is condensed, full Newton over increments. The stud is pulled, so there is no torsion.

The slender stud's waist is so long that its ends do not count: there the one-dimensional law is exact. The short one's
is five diameters long, with a fillet at either end or without: what differs there is what that law leaves out. The
thick ends yield on neither side; here all flows from half their diameter outside the waist inwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from types import ModuleType
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from headjoint.model.base.errors import SolveError
from validation.check import Check
from validation.independent_cell import felupe
from validation.waisted_stud import (
    ALUMINIUM,
    BELOW,
    COLD,
    DEEP,
    ENGAGED,
    GAS,
    GASKET,
    HIGH,
    HOLE,
    HOT,
    NUT,
    OUTER,
    RIGID,
    SLOPE,
    STEEL,
    THICK,
    THIN,
    WEAKER,
    YIELD,
    Figures,
    FloatArray,
    Served,
    Stud,
    own_service,
)

IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]
FACE, FACE_STIFFNESS = 0.01, 1e6  # mm, MPa/mm of the layer under the nut: gives 0.1 um
SIZE, GROWTH = 2.5, 0.5  # mm of elements at edges, of which finer ones have a share; mm per mm away from there
INCREMENTS, ITERATIONS, BALANCED = 3, 40, 1e-2  # of a step, in one; N
VERTICAL = np.diag([1.0, 0.0, 0.0])  # the library's axis of rotation is its first one
EXACT, NEAR = 0.002, 0.01
HARDLY_HELD = "the ends of the waist, some 8 of 4000 mm, hardly flow"
HELD_FORCE = "the ends of the waist hardly flow, which the law leaves out: forces hardly feel it"
HELD_ENDS = "the ends of the waist hardly flow, which the law leaves out; the guide's `service` page tells how much"
SLENDER = Stud(30.0, 4000.0)
# with what the law leaves out at most, of lengths and strains, found here and told in the guide
SHORT = {
    "short stud": (Stud(40.0, 50.0), 0.12),
    "short stud with fillets": (Stud(40.0, 50.0, fillet=1.5), 0.17),
}
COARSE, FINE = 2.0, 6.0  # as many elements of the slender and of the short studs as of SIZE, along a line


def checks() -> list[Check]:
    """Return the checks of the slender stud."""
    fem = felupe()
    return [
        *compared("slender stud", _source(fem), own_service(SLENDER).figures(), slender_figures(), (EXACT, EXACT)),
        _converged("slender stud", fem, SLENDER, slender_figures(), COARSE, EXACT),
    ]


@cache
def slender_figures() -> Figures:
    """Return the other library's figures of the slender stud."""
    return OtherService(felupe(), SLENDER, COARSE).served().figures()


@cache
def end_checks() -> list[Check]:
    """Return the checks of short studs, whose waists have ends that count."""
    fem = felupe()
    found = []
    for name, (stud, left_out) in SHORT.items():
        other = OtherService(fem, stud, FINE).served().figures()
        found += compared(name, _source(fem), own_service(stud).figures(), other, (NEAR, left_out))
        found.append(_converged(name, fem, stud, other, FINE, NEAR))
    return found


def compared(name: str, source: str, own: Figures, other: Figures, tolerances: tuple[float, float]) -> list[Check]:
    """Return the checks of every figure; tolerances : of forces, and of lengths and strains."""
    of_forces, of_others = tolerances
    ends_count = of_others > EXACT
    found = []
    for (what, unit), there in other.items():
        is_force = unit == "kN"
        why = (HELD_FORCE if is_force else HELD_ENDS) if ends_count else HARDLY_HELD
        # what is lost is a part of the clamp, not a force of its own
        scale = SLENDER.first / 1e3 if "lost" in what and ends_count else None
        tolerance = of_forces if is_force else of_others
        found.append(Check(f"{name}: {what}", source, there, own[what, unit], tolerance, unit, why, scale))
    return found


def _converged(name: str, fem: ModuleType, stud: Stud, fine: Figures, fineness: float, tolerance: float) -> Check:
    """Return the figure that doubled elements change most in the other library's service, and by how much."""
    doubled = OtherService(fem, stud, fineness / 2.0).served().figures()
    what, unit = worst = max(fine, key=lambda one: abs(doubled[one] / fine[one] - 1.0))
    quantity = f"{name}, what changes most there on elements of twice the size: {what}"
    return Check(quantity, _source(fem), fine[worst], doubled[worst], tolerance, unit, "its own convergence")


def _source(fem: ModuleType) -> str:
    return f"FElupe {fem.__version__}, von Mises plasticity (validation/independent_yield.py)"


# -- mesh -------------------------------------------------------------------------------------------------


def lines(breaks: Sequence[tuple[float, float]], slope: float) -> FloatArray:
    """Return grid lines through `breaks` (place, size there); away from them sizes grow by `slope` of the distance."""
    found = [breaks[0][0]]
    for (start, first), (end, last) in zip(breaks, breaks[1:], strict=False):
        at = np.linspace(start, end, 2001)
        size = np.minimum(first + slope * (at - start), last + slope * (end - at))
        passed = np.concatenate([[0.0], np.cumsum((1.0 / size[1:] + 1.0 / size[:-1]) / 2.0) * (at[1] - at[0])])
        number = max(1, round(passed[-1]))
        found += list(np.interp(np.arange(1, number + 1) / number * passed[-1], passed, at))
    return np.array(found)


def quadrilaterals(z: FloatArray, r: FloatArray, wanted: Mask) -> tuple[FloatArray, IntArray]:
    """Return points (n, 2) and eight-node cells (m, 8) of the fields of a grid that are `wanted` (z, r)."""
    row, column = np.nonzero(wanted)
    # nodes on a grid of half steps; corners, then the middles of edges
    corners, edges = ((0, 0), (2, 0), (2, 2), (0, 2)), ((1, 0), (2, 1), (1, 2), (0, 1))
    wide = 2 * len(r) - 1
    keys = np.stack([(2 * row + dz) * wide + 2 * column + dr for dz, dr in (*corners, *edges)], axis=1)
    unique, cells = np.unique(keys, return_inverse=True)
    halves = [np.interp(np.arange(2 * len(at) - 1) / 2.0, np.arange(len(at)), at) for at in (z, r)]
    return np.column_stack([halves[0][unique // wide], halves[1][unique % wide]]), cells.reshape(keys.shape)


@dataclass(frozen=True)
class Body:
    """Displacement field over the elements of one part, and the volume (mm3) at their integration points."""

    field: Any
    volume: FloatArray = field(repr=False)


class OtherService:
    """The joint as FElupe sees it; `fineness` divides the size of its elements."""

    def __init__(self, fem: ModuleType, stud: Stud, fineness: float) -> None:
        self.fem, self.stud = fem, stud
        self._mesh(SIZE / fineness)
        self.bodies = {name: self._body(cells) for name, cells in self.cells.items()}
        self.flows = fem.LinearElasticPlasticIsotropicHardening(E=STEEL[0], nu=STEEL[1], sy=YIELD, K=stud.hardening)
        volume = self.bodies["stud"].volume
        self.memory = np.zeros((self.flows.x[-1].shape[0], *volume.shape))
        self.elastic, self.heat = self._elastic()
        gasket, face = self.bodies["gasket"], self.bodies["face"]
        self.springs = self._springs("stud", STEEL)
        self.gasket = self._layer(gasket, SLOPE * GASKET)
        self.face = self._layer(face, FACE_STIFFNESS * FACE)
        self.gas = self._load(gasket, VERTICAL) / (gasket.volume.sum() / GASKET)
        self.travelled = self._load(face, FACE_STIFFNESS * VERTICAL)
        self.face_spring = FACE_STIFFNESS * face.volume.sum() / FACE
        self.free = self._free()
        self.u, self.travel = np.zeros(self.points.size), 0.0

    def _mesh(self, size: float) -> None:
        stud, top = self.stud, GASKET + self.stud.head
        block = [(-DEEP, 20.0), (-ENGAGED - BELOW, 10.0), (-ENGAGED, 5.0), (0.0, size)]
        above = [
            (GASKET, size), (stud.end - THICK / 2.0, THICK), (stud.end, size), (top - stud.end, size),
            (top - stud.end + THICK / 2.0, THICK), (top, size), (top + FACE, size), (top + FACE + HIGH, 5.0),
        ]  # fmt: skip
        # layers are one element high: nothing would hold a waviness of the nodes between more of them
        z = np.concatenate([lines(block, GROWTH), lines(above, GROWTH)])
        fine = ((THIN, size), (THICK, size), (HOLE, size), (NUT, size), (OUTER, 10.0))
        r = lines([(0.0, size), *((across / 2.0, wanted) for across, wanted in fine)], GROWTH)
        at_z, at_r = np.meshgrid((z[1:] + z[:-1]) / 2.0, (r[1:] + r[:-1]) / 2.0, indexing="ij")

        def ring(low: float, high: float, inner: float, outer: float) -> Mask:
            return (at_z > low) & (at_z < high) & (at_r > inner / 2.0) & (at_r < outer / 2.0)

        whole, waist = ring(-ENGAGED, top + FACE + HIGH, 0.0, THICK), ring(stud.end, top - stud.end, THIN, THICK)
        flows = (at_z > stud.end - THICK / 2.0) & (at_z < top - stud.end + THICK / 2.0)
        parts = {
            "stud": whole & ~waist & flows,
            "ends": whole & ~waist & ~flows,
            "nut": ring(top + FACE, top + FACE + HIGH, THICK, NUT),
            "head": ring(GASKET, top, HOLE, OUTER),
            "block": ring(-DEEP, 0.0, 0.0, OUTER) & ~ring(-ENGAGED - BELOW, 0.0, 0.0, THICK),
            "gasket": ring(0.0, GASKET, HOLE, OUTER),
            "face": ring(top, top + FACE, HOLE, NUT),
        }
        self.points, cells = quadrilaterals(z, r, np.any(list(parts.values()), axis=0))
        middle = self.points[cells[:, :4]].mean(axis=1)
        number = np.searchsorted(z, middle[:, 0]) - 1, np.searchsorted(r, middle[:, 1]) - 1
        self.cells = {name: cells[wanted[number]] for name, wanted in parts.items()}
        self.points[:, 1] = self._rounded(*self.points.T)

    def _rounded(self, z: FloatArray, r: FloatArray) -> FloatArray:
        """Return the radii of points, those of the stud moved outwards to make the fillets."""
        thin, thick = THIN / 2.0, THICK / 2.0
        wider = self.stud.outline(z) * thin
        inside = np.where(r <= thin, r * wider / thin, wider + (r - thin) * (thick - wider) / (thick - thin))
        return np.where(r < thick, inside, r)

    def _body(self, cells: IntArray) -> Body:
        fem = self.fem
        rule = fem.GaussLegendre(order=1, dim=2)
        region = fem.RegionQuadraticQuad(fem.Mesh(self.points, cells, "quad8"), quadrature=rule)
        displacement = fem.FieldAxisymmetric(region, dim=2)
        return Body(fem.FieldContainer([displacement]), 2.0 * math.pi * displacement.radius * region.dV)

    # -- matrices and unit loads --------------------------------------------------------------------------

    def _load(self, body: Body, stress: FloatArray) -> FloatArray:
        """Return the nodal forces of a stress (3, 3) or (3, 3, points, elements) that wants to expand a body."""
        full = stress if stress.ndim == 4 else stress[..., None, None]
        full = np.ascontiguousarray(np.broadcast_to(full, (3, 3, *body.volume.shape)))
        return self.fem.IntegralForm([full], body.field, body.field.region.dV).assemble().toarray().ravel()

    def _matrix(self, body: Body, tensor: FloatArray) -> sp.csr_matrix:
        shape = (3, 3, 3, 3, *body.volume.shape)
        full = np.ascontiguousarray(np.broadcast_to(tensor, shape))
        return self.fem.IntegralForm([full], body.field, body.field.region.dV, body.field).assemble().tocsr()

    def _layer(self, body: Body, modulus: float) -> sp.csr_matrix:
        return self._matrix(body, modulus * np.einsum("ij,kl->ijkl", VERTICAL, VERTICAL)[..., None, None])

    def _elastic(self) -> tuple[sp.csr_matrix, FloatArray]:
        """Return the stiffness of all that stays elastic, and the load of its heat by 1 K."""
        materials = {"ends": STEEL, "nut": RIGID, "block": RIGID, "head": ALUMINIUM}
        matrix, load = sp.csr_matrix((self.points.size, self.points.size)), np.zeros(self.points.size)
        for name, material in materials.items():
            modulus, ratio, expansion = material
            matrix = matrix + self._springs(name, material)
            load += self._load(self.bodies[name], modulus / (1.0 - 2.0 * ratio) * expansion * np.eye(3))
        return matrix, load

    def _springs(self, part: str, material: tuple[float, float, float]) -> sp.csr_matrix:
        """Return the elastic stiffness of a part."""
        law, body = self.fem.LinearElastic(E=material[0], nu=material[1]), self.bodies[part]
        return self._matrix(body, law.hessian([*body.field.extract(), None])[0])

    def _free(self) -> dict[bool, IntArray]:
        """Return the unknowns that nothing holds, where the nut touches (False) and where it is loose (True).

        Held are foot and axis, and nodes within layers sideways, or in all directions where nothing touches.
        """
        z, r = self.points.T
        solid = [self.cells[name].ravel() for name in ("stud", "ends", "nut", "head", "block")]
        within = ~np.isin(np.arange(len(z)), np.concatenate(solid))
        untouched = within & (z > GASKET)
        held = {
            loose: np.column_stack([(z < -DEEP + 1e-6) | (untouched & loose), (r < 1e-6) | within])
            for loose in (False, True)
        }
        return {loose: np.flatnonzero(~one.ravel()) for loose, one in held.items()}

    # -- steps --------------------------------------------------------------------------------------------

    def _stud(self, u: FloatArray, warmer: float) -> tuple[FloatArray, sp.csr_matrix, FloatArray]:
        """Return forces, tangent and memory of the stud under nodal displacements, `warmer` (K) than it was."""
        body = self.bodies["stud"]
        body.field[0].values[:] = u.reshape(-1, 2)
        left = 1.0 - (1.0 - WEAKER) * warmer / (HOT - COLD)
        self.flows.kwargs |= {"σy": YIELD * left, "K": self.stud.hardening * left}
        strained = body.field.extract()[0] - STEEL[2] * warmer * np.eye(3)[..., None, None]
        stress, memory = self.flows.gradient([strained, self.memory])
        tangent = self._matrix(body, self.flows.hessian([strained, self.memory])[0])
        return self._load(body, stress), tangent, memory

    def reach(self, *, warmer: float, gas: float, force: float | None = None, loose: bool = False) -> float:
        """Go to an equilibrium in one increment, remember it, and return the force (N) under the nut.

        force : that the nut is turned to, None where it stays. loose : the nut does not touch. Raises SolveError where
        Newton's iterations do not end, or a face lifts off, which layers do not know.
        """
        free, matrix = self.free[loose], self.elastic + self.gasket + (0.0 if loose else 1.0) * self.face
        border = np.zeros_like(self.u) if loose else -self.travelled
        for iteration in range(ITERATIONS):
            inner, tangent, memory = self._stud(self.u, warmer)
            residual = matrix @ self.u + inner - warmer * self.heat - gas * self.gas + border * self.travel
            bears = float(border @ self.u) + (0.0 if loose else self.face_spring * self.travel)
            missing = 0.0 if force is None else bears - force
            if np.abs(residual[free]).max() < BALANCED and abs(missing) < BALANCED:
                self.memory = memory
                if not loose:
                    self._refuse_lift_off()
                return bears
            # whether the stud loads or unloads is not known at first: rounding would decide
            stiff = matrix + (tangent if iteration else self.springs)
            change, turned = self._change(stiff[free][:, free], -residual[free], border[free], force, missing)
            self.u[free] += change
            self.travel += turned
        raise SolveError("the independent service does not converge")

    def _change(
        self, stiff: sp.csr_matrix, right: FloatArray, border: FloatArray, force: float | None, missing: float
    ) -> tuple[FloatArray, float]:
        """Return the change of the free unknowns, and of the nut's travel where a force is wanted."""
        if force is not None:
            column = sp.csr_matrix(border[:, None])
            stiff = sp.bmat([[stiff, column], [column.T, [[self.face_spring]]]])
            right = np.append(right, -missing)
        options = {"SymmetricMode": True}
        factors = splu(stiff.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
        change = factors.solve(right)
        return (change, 0.0) if force is None else (change[:-1], float(change[-1]))

    def _refuse_lift_off(self) -> None:
        for name, travel in (("gasket", 0.0), ("face", self.travel)):
            layer = self.bodies[name].field
            layer[0].values[:] = self.u.reshape(-1, 2)
            thickness = GASKET if name == "gasket" else FACE
            # the mean of each element: at the sharp edge of the nut pressure rises without end, and its points swing
            if (layer[0].grad()[0, 0].mean(axis=0) * thickness).max() >= travel:
                raise SolveError(f"the {name} lifts off, which the independent service cannot follow")

    # -- the service --------------------------------------------------------------------------------------

    def served(self) -> Served:
        """Return what the service does."""
        stud = self.stud

        def pull(start: float, end: float) -> float:
            self.reach(warmer=0.0, gas=0.0, force=0.97 * start)
            for force in np.linspace(0.97 * start, end, INCREMENTS + 1)[1:]:
                self.reach(warmer=0.0, gas=0.0, force=force)
            return self._longer()

        new = self._longer()
        stretch = pull(stud.first, stud.first) - new
        shares = np.arange(1, INCREMENTS + 1) / INCREMENTS
        hot = [self.reach(warmer=share * (HOT - COLD), gas=0.0) for share in shares][-1]
        fired = [self.reach(warmer=HOT - COLD, gas=share * GAS) for share in shares][-1]
        run, cold = self.reach(warmer=HOT - COLD, gas=0.0), self.reach(warmer=0.0, gas=0.0)
        let_go, strain = self._let_go()
        again = pull(stud.first, stud.again) - let_go
        longer, strain_again = self._let_go()
        return Served(
            first=stud.first,
            stretch=stretch,
            hot=hot,
            fired=fired,
            run=run,
            cold=cold,
            let_go=let_go - new,
            strain=strain,
            again=again,
            longer=longer,
            strain_again=strain_again,
        )

    def _let_go(self) -> tuple[float, float]:
        self.reach(warmer=0.0, gas=0.0, loose=True)
        return self._longer(), self._strain()

    def _longer(self) -> float:
        """Return how far the nut's face has gone from the deck, mm along the axis."""
        z, r = self.points.T
        ends = (int(np.hypot(z - at, r).argmin()) for at in (0.0, GASKET + self.stud.head + FACE))
        low, high = (self.u[2 * end] for end in ends)
        return float(high - low)

    def _strain(self) -> float:
        """Return the equivalent plastic strain, its mean over the elements half-way along the waist."""
        at = self.points[self.cells["stud"][:, :4], 0].mean(axis=1) - self.stud.end - self.stud.waist / 2.0
        middle = np.abs(at) < np.abs(at).min() + 1e-6
        volume = self.bodies["stud"].volume[:, middle]
        return float((self.memory[0][:, middle] * volume).sum() / volume.sum())
