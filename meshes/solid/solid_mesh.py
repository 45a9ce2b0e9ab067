"""The tagged three-dimensional mesh of a cell: parts, paired interfaces, planes of symmetry, loaded faces."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from headjoint.meshes.solid import hexahedra, tetrahedra
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError

SMALLEST_SCALED_JACOBIAN = 0.05  # below this an element is refused


@dataclass(frozen=True)
class FacePair:
    """Faces that meet without sharing nodes: (8, f) or (6, f) nodes, corners then mid-edges.

    name : "gasket" or "bearing". Where `matching`, column by column the same places in plan and the same order.
    on_upper : quadrature goes over the upper faces, the smaller ones, instead of the lower. share : (f,) of each
    face that bears, where an edge cuts it; None where all of every face does.
    """

    name: str
    lower: IntArray = field(repr=False)
    upper: IntArray = field(repr=False)
    matching: bool = True
    on_upper: bool = False
    share: FloatArray | None = field(default=None, repr=False)

    @property
    def carriers(self) -> IntArray:
        """The faces that quadrature goes over."""
        return self.upper if self.on_upper else self.lower

    @property
    def opposite(self) -> IntArray:
        """The faces opposite the carriers."""
        return self.lower if self.on_upper else self.upper

    def bearing(self, weight: FloatArray) -> FloatArray:
        """Return the weight (f, q) of points on the carriers, less what of each face does not bear."""
        return weight if self.share is None else weight * self.share[:, None]


@dataclass(frozen=True)
class MeshedFastener:
    """One fastener of the mesh; x, y its axis (mm); share 1 whole, 0.5 cut by a plane of symmetry.

    free : elements over which its overlap is laid. travel : (k, f) share of the overlap that the k nodes of each of
    them travel, 0 at the thread and 1 at the seat: as a strain it makes the same rigid shift as a cut.
    cut_planes : unit normals (k, 2) of the planes of symmetry that halve it.
    """

    x: float
    y: float
    share: float
    free: IntArray = field(repr=False)
    travel: FloatArray = field(repr=False)
    cut_planes: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class SolidMesh:
    """Second-order hexahedra or tetrahedra of a cell.

    points : (3, n) mm. cells : (20 or 10, m) in VTK order. part : (m,) index into parts.
    pairs : gasket and bearing faces. fasteners : in the order of their numbers.
    planes : (unit normal (2,), nodes) of every plane of symmetry. travelling : the same of planes that stay plane but
    move along their normal as one, so that a row of bores expands freely; one entry for each body that moves alone.
    support : nodes held at the block's foot.
    chamber, wall, deck : per bore the faces under combustion, of the head, of the bore wall, and of the block's deck
    between bore and gasket.
    pins : rigid-body constraints, (node, direction (2,)), where symmetry leaves a horizontal shift or turn free.
    origin : where the mesh comes from, in words, when it is not the parametric one.
    filled : (m,) share of each element that is material, by which it is as stiff, heavy and conductive; None where all
    of every element is.
    """

    points: FloatArray = field(repr=False)
    cells: IntArray = field(repr=False)
    parts: tuple[str, ...]
    part: IntArray = field(repr=False)
    pairs: tuple[FacePair, ...]
    fasteners: tuple[MeshedFastener, ...]
    planes: tuple[tuple[tuple[float, float], IntArray], ...] = field(repr=False)
    support: IntArray = field(repr=False)
    chamber: tuple[IntArray, ...] = field(repr=False)
    wall: tuple[IntArray, ...] = field(repr=False)
    deck: tuple[IntArray, ...] = field(repr=False)
    pins: tuple[tuple[int, tuple[float, float]], ...] = ()
    travelling: tuple[tuple[tuple[float, float], IntArray], ...] = ()
    origin: str = ""
    filled: FloatArray | None = field(default=None, repr=False)

    @property
    def shares(self) -> FloatArray:
        """The share (m,) of each element that is material."""
        return np.ones(len(self.part)) if self.filled is None else self.filled

    @property
    def unknowns(self) -> int:
        """Displacement components, held ones included."""
        return 3 * self.points.shape[1]

    def pair(self, name: str) -> FacePair:
        """Return the pair of faces called `name`."""
        return next(pair for pair in self.pairs if pair.name == name)

    def quality(self) -> FloatArray:
        """Return the smallest scaled Jacobian of each element, over its corners."""
        shape = hexahedra if len(self.cells) == 20 else tetrahedra
        return shape.scaled_jacobians(self.points, self.cells)


def check_quality(mesh: SolidMesh, advice: str) -> None:
    """Raise MeshError, saying where, when an element is too distorted or folded."""
    quality = mesh.quality()
    worst = int(quality.argmin())
    if quality[worst] < SMALLEST_SCALED_JACOBIAN:
        x, y, z = mesh.points[:, mesh.cells[:, worst]].mean(axis=1)
        count = int((quality < SMALLEST_SCALED_JACOBIAN).sum())
        what = "folded (inverted)" if quality[worst] <= 0.0 else "too distorted"
        raise MeshError(
            f"{count} of {len(quality)} elements are {what}: the worst has a scaled Jacobian of {quality[worst]:.3f} "
            f"(allowed {SMALLEST_SCALED_JACOBIAN:g}), in the {mesh.parts[mesh.part[worst]]} near "
            f"x = {x:.1f}, y = {y:.1f}, z = {z:.1f} mm; {advice}"
        )
