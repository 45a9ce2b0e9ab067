"""Bending of a cell's studs, and the slip of their nuts over the head, as rows on the condensed unknowns.

So studies need no full displacements. The faces under the nuts slide freely in the model; what a shear between nut and
head does besides is linear, and found here once, with the gasket's closures held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import CellModel, CellRecovery
from headjoint.cases.condensed.cell_interfaces import faces_met, nearest_fastener
from headjoint.cases.condensed.watched import Rows, Watched
from headjoint.meshes.solid.solid_mesh import MeshedFastener
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Bank, Cell
from headjoint.model.formulas.stud_bending import guided_beam
from headjoint.model.joint import Segment


@dataclass(frozen=True)
class BendingRows:
    """Bending and slip of every fastener.

    bending : of each fastener the gradients of axial stress across the axis at the thread (half of its rows), and how
    they change up to the seat. arm : (f,) mm, radius times shape, which makes stress of a gradient.
    slip : mm of nuts over the head, `of` the fasteners (r,); none where faces under nuts are tied or symmetry holds
    them. flexibility : (r, r) mm per N of shear on what the mesh has of each nut. by_shear : of each fastener, its
    bending per N of each shear. loose : (r, k) how the slips change as the whole head moves over the block in each way
    that nothing but the nuts holds; (r, 0) where planes or pins hold it. longer : (f,) mm of shank beyond the file's.
    """

    bending: tuple[Rows, ...]
    arm: FloatArray
    slip: Rows
    of: NDArray[np.int64]
    flexibility: FloatArray = field(repr=False)
    by_shear: tuple[FloatArray, ...] = field(repr=False)
    loose: FloatArray = field(repr=False)
    longer: FloatArray

    def gradients(self, q: FloatArray, load_factors: Mapping[str, float]) -> list[FloatArray]:
        """Return the bending of every fastener whose nut slides freely."""
        return [rows.at(q, load_factors) for rows in self.bending]

    def stress(self, gradients: list[FloatArray]) -> FloatArray:
        """Return the greatest bending stress (f,) MPa of gradients: that of the larger end."""
        found = []
        for one in gradients:
            at_thread, slope = np.split(one, 2)
            found.append(max(float(np.linalg.norm(at_thread)), float(np.linalg.norm(at_thread + slope))))
        return np.array(found) * self.arm


def against_shears(flexibility: FloatArray, loose: FloatArray | None = None) -> FloatArray:
    """Return the stiffness (r, r) N/mm against slips of nuts: shears are it times how far slips differ from free ones.

    flexibility : (r, r) mm/N, positive definite. loose : as in `BendingRows`: shears that would move the head there do
    not arise.
    """
    if not len(flexibility):
        return flexibility
    stiffness = np.asarray(np.linalg.inv(flexibility), dtype=np.float64)
    if loose is not None and loose.size:
        moved = stiffness @ loose
        stiffness = stiffness - moved @ np.linalg.pinv(loose.T @ moved, hermitian=True) @ moved.T
    return (stiffness + stiffness.T) / 2.0


@dataclass(frozen=True)
class StudWatch:
    """What is watched of a model's studs.

    on_all : (r, u) rows on all unknowns: the bending of each fastener, then the slip of nuts along what symmetry leaves
    them, then across ends. bends : of each fastener how many rows. arm : (f,) as in `BendingRows`. strained : name ->
    (r,) what the free strain of unit loads takes off. along, ends : whose slip the others are.
    """

    on_all: sp.csr_matrix = field(repr=False)
    bends: tuple[int, ...]
    arm: FloatArray
    strained: dict[str, FloatArray] = field(repr=False)
    along: NDArray[np.int64]
    ends: NDArray[np.int64]


def stud_watch(model: CellModel) -> StudWatch:
    """Return what is watched of every stud of a model."""
    rows, counts, arms, strained = [], [], [], []
    for number, fastener in enumerate(model.mesh.fasteners):
        on_all, arm, off = _bending(model, number, fastener)
        rows.append(on_all)
        counts.append(len(on_all))
        arms.append(arm)
        strained.append(off)
    faces, travels = _nut_over_head(model), _across_ends(model)
    slips = [row[None] for own in (*faces, [row for _, row in travels]) for row in own]
    off = {name: np.zeros(sum(counts) + len(slips)) for one in strained for name in one}
    for number, one in enumerate(strained):
        for name, own in one.items():
            start = sum(counts[:number])
            off[name][start : start + counts[number]] = own
    return StudWatch(
        sp.csr_matrix(np.vstack([*rows, *slips])),
        tuple(counts),
        np.array(arms),
        off,
        np.repeat(np.arange(len(faces)), [len(own) for own in faces]),
        np.array([number for number, _ in travels], dtype=np.int64),
    )


def by_recovery(model: CellModel, recovery: CellRecovery, on_all: sp.csr_matrix) -> Watched:
    """Return rows (r, u) on all unknowns as rows on the kept ones, by one back-substitution of the recovery a row."""
    coupling = model.matrix[model.inner][:, model.kept]
    on_inner = on_all[:, model.inner].toarray()
    back = np.stack([recovery.solve_inner(row) for row in on_inner]) if len(on_inner) else on_inner
    loads = {name: back @ load[model.inner] for name, load in model.loads.items()}
    return Watched(Rows(on_all[:, model.kept].toarray() - (coupling.T @ back.T).T, loads), back @ on_inner.T)


def bending_by_recovery(model: CellModel, recovery: CellRecovery) -> BendingRows:
    """Return the rows of every fastener of a model where they were not condensed along."""
    watch = stud_watch(model)
    return bending_rows(model, watch, by_recovery(model, recovery, watch.on_all))


def bending_rows(model: CellModel, watch: StudWatch, found: Watched) -> BendingRows:
    """Return the rows of every fastener of a model.

    A stud on the far end of a bank is cut by a plane that head and block move along each by itself: across that plane
    its nut slips, too, as far as one has moved over the other. It is round, so it bends there as it does along it, all
    studs of that end pulled outwards: then nothing else has to hold the head.
    """
    starts = np.concatenate([[0], np.cumsum(watch.bends)])
    bending, of, ends = int(starts[-1]), watch.along, watch.ends
    count, more = len(of), len(ends)
    slips = slice(bending, bending + count)
    flexibility = np.zeros((count + more, count + more))
    share = np.array([one.share for one in model.mesh.fasteners])
    flexibility[:count, :count] = found.crossed[slips, slips] + np.diag(thinner(model.cell) / share[of])
    outwards = _outwards(model, of, ends)
    rows, by_shear = [], []
    for number in range(len(watch.bends)):
        at = slice(starts[number], starts[number + 1])
        own = found.rows.part(at)
        for name, off in watch.strained.items():
            own.on_loads[name] = own.on_loads[name] - off[at]
        shears = np.zeros((watch.bends[number], count + more))
        shears[:, :count] = found.crossed[at, slips]
        if number in ends:
            twin, new = np.flatnonzero(of == number)[0], count + int(np.flatnonzero(ends == number)[0])
            flexibility[new, new] = flexibility[twin, :count] @ outwards[number]
            own, shears = _with_direction(own, shears, shears[:, :count] @ outwards[number], new)
        rows.append(own)
        by_shear.append(shears)
    slip = found.rows.part(slice(bending, bending + count + more))
    return BendingRows(
        tuple(rows),
        watch.arm,
        slip,
        np.concatenate([of, ends]),
        flexibility,
        tuple(by_shear),
        loose=_loose(model, of, count + more),
        longer=np.zeros(len(rows)),
    )


def _outwards(model: CellModel, along: IntArray, ends: IntArray) -> dict[int, FloatArray]:
    """Return, of every stud on a far end, the shears (count,) with which all there are pulled outwards, itself by 1."""
    side = np.sign([one.y for one in model.mesh.fasteners])
    found = {}
    for number in ends:
        alike = np.isin(along, ends) if side[number] else along == number
        found[int(number)] = np.where(alike, side[along] * side[number] if side[number] else 1.0, 0.0)
    return found


def _loose(model: CellModel, along: IntArray, slips: int) -> FloatArray:
    """Return the ways (slips, k) in which nothing but the nuts holds the head: across the row where sides are unlike.

    Where they are alike, shears across it are in balance by themselves.
    """
    layout = model.cell.layout
    if not isinstance(layout, Bank) or layout.exhaust is None:
        return np.zeros((slips, 0))
    found = np.zeros((slips, 1))
    across = [-way[1] for fastener in model.mesh.fasteners for way in ways_of_nut(fastener)]
    found[: len(along), 0] = across[: len(along)]  # none where faces under nuts are tied
    return found


def _bending(
    model: CellModel, number: int, fastener: MeshedFastener
) -> tuple[FloatArray, float, dict[str, FloatArray]]:
    """Return the rows (r, u) of one fastener's bending, its arm, and what free strains of unit loads take off."""
    fit, inside, arm = bending_fit(model.cell, model, fastener)
    on_all, strained = fitted_rows(model, number, fastener, fit, inside)
    return on_all, arm, strained


def fitted_rows(
    model: CellModel, number: int, fastener: MeshedFastener, fit: FloatArray, inside: NDArray[np.bool_]
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Return figures that a fit (r, k) makes of axial stress at the points `inside` of a fastener's free length.

    As rows (r, u) on all unknowns, and what free strains of unit loads take off them, name -> (r,).
    """
    mesh, body = model.mesh, model.body
    own = fastener.free
    operator, weight = body.operators(own)
    on_points = np.zeros((len(fit), inside.size))
    on_points[:, inside] = fit
    on_points = on_points.reshape(len(fit), *weight.shape)
    vertical = body.D[own][:, 2]  # sigma_zz of the six strains
    on_nodes = np.einsum("rmq,mi,mqid->rmd", on_points, vertical, operator, optimize=True)
    displacement = np.zeros((len(fit), body.unknowns))
    dofs = body.dofs(own)
    for row in range(len(fit)):
        np.add.at(displacement[row], dofs.ravel(), on_nodes[row].ravel())
    on_all = np.zeros((len(fit), model.unknowns))
    on_all[:, : model.transform.shape[1]] = (model.transform.T @ displacement.T).T
    first_overlap = model.transform.shape[1]
    on_all[:, first_overlap + number] = np.einsum("rma,am->r", on_nodes[:, :, 2::3], fastener.travel)
    free = np.einsum("rmq,mi->rm", on_points, body.D[own][:, 2, :3])
    strained = {mesh.parts[part]: free[:, mesh.part[own] == part].sum(axis=1) for part in np.unique(mesh.part[own])}
    for name, strain in model.strains.items():
        strained[name] = np.einsum("rmq,mi,mq->r", on_points, body.D[own][:, 2, :3], strain[own])
    return on_all, strained


@dataclass(frozen=True)
class ShankPoints:
    """Gauss points of a fastener's free length, half a diameter away from its ends, where thread and seat disturb it.

    inside : (points,) which of all those are (k,). across : (2, k) mm from the axis. height : (k,) 0 at the thread and
    1 at the seat. root : (k,) of their weights. arm : mm, radius times shape, which makes stress of a gradient; the
    smallest stated section bears its moment at d^3 of its own.
    """

    inside: NDArray[np.bool_] = field(repr=False)
    across: FloatArray = field(repr=False)
    height: FloatArray = field(repr=False)
    root: FloatArray = field(repr=False)
    arm: float

    def fitted(self, columns: Sequence[FloatArray]) -> FloatArray:
        """Return the weighted least squares fit (c, k): the factors of columns (k,) that come nearest to a stress."""
        fit = np.linalg.pinv(self.root[:, None] * np.column_stack(columns)) * self.root
        return np.asarray(fit, dtype=np.float64)


def shank_points(cell: Cell, model: CellModel, fastener: MeshedFastener) -> ShankPoints:
    """Return the points at which a fastener's bending is read."""
    mesh = model.mesh
    places, weight = model.body.places(fastener.free)
    diameter = cell.shank_diameter
    smallest = min(segment.diameter for segment in cell.joint.fastener.segments)
    z = mesh.points[2, mesh.cells[:, fastener.free]]
    bottom, top = float(z[fastener.travel == 0.0].max()), float(z[fastener.travel == 1.0].min())
    height = (places[2].ravel() - bottom) / (top - bottom)
    across = np.stack([(places[0] - fastener.x).ravel(), (places[1] - fastener.y).ravel()])
    inside = np.abs(height - 0.5) < 0.5 - diameter / 2.0 / (top - bottom)
    arm = diameter / 2.0 * (diameter / smallest) ** 3
    return ShankPoints(inside, across[:, inside], height[inside], np.sqrt(weight.ravel()[inside]), arm)


def bending_fit(cell: Cell, model: CellModel, fastener: MeshedFastener) -> tuple[FloatArray, NDArray[np.bool_], float]:
    """Return the fit (r, k) that gives gradients from axial stress at k Gauss points of the free length, which of its
    points those are, and the arm (mm) that makes bending stress of a gradient.

    No side force acts on the shank but at its ends, so its moment goes evenly from one end of the free length to the
    other: axial stress is fitted by a constant and gradients across the axis that are linear in height. The larger end
    counts.
    """
    points = shank_points(cell, model, fastener)
    directions = list(points.across)
    if fastener.cut_planes:  # about an axis in a plane of symmetry nothing bends
        (nx, ny), *others = fastener.cut_planes
        directions = [] if others else [-ny * points.across[0] + nx * points.across[1]]
    constant = np.ones_like(points.height)
    fit = points.fitted([constant, *directions, *(points.height * one for one in directions)])
    return fit[1:], points.inside, points.arm


def _with_direction(rows: Rows, shears: FloatArray, bent: FloatArray, new: int) -> tuple[Rows, FloatArray]:
    """Return bending along one way (two rows) and another; `bent` : (2,) what the shear `new` bends there."""
    empty = np.zeros((1, rows.on_unknowns.shape[1]))
    unknowns = np.vstack([rows.on_unknowns[:1], empty, rows.on_unknowns[1:], empty])
    loads = {name: np.array([load[0], 0.0, load[1], 0.0]) for name, load in rows.on_loads.items()}
    both = np.vstack([shears[:1], np.zeros((1, shears.shape[1])), shears[1:], np.zeros((1, shears.shape[1]))])
    both[[1, 3], new] = bent
    return Rows(unknowns, loads), both


def _nut_over_head(model: CellModel) -> list[list[FloatArray]]:
    """Return, of every fastener, the mean of nut over head on all unknowns along each way that symmetry leaves."""
    found: list[list[FloatArray]] = [[] for _ in model.mesh.fasteners]
    for number, mean in enumerate(mean_over_nuts(model)):
        for way in ways_of_nut(model.mesh.fasteners[number]):
            found[number].append(on_all_unknowns(model, np.outer(mean, (*way, 0.0)).ravel()))
    return found


def ways_of_nut(fastener: MeshedFastener) -> list[tuple[float, float]]:
    """Return the ways in plan along which symmetry leaves a nut to slip."""
    if not fastener.cut_planes:
        return [(1.0, 0.0), (0.0, 1.0)]
    (nx, ny), *others = fastener.cut_planes
    return [] if others else [(-ny, nx)]


def mean_over_nuts(model: CellModel) -> list[FloatArray]:
    """Return, of every fastener, the weights (n,) of nodes that give the mean of nut over head; none where tied."""
    mesh = model.mesh
    if all(pair.name != "bearing" for pair in mesh.pairs):
        return []
    met = faces_met(mesh, mesh.pair("bearing"))
    whose = nearest_fastener(mesh, met.at)
    weights = [np.where(whose == number, met.weight, 0.0) for number in range(len(mesh.fasteners))]
    return [(met.upper - met.lower).T @ (weight / weight.sum()) for weight in weights]


def _across_ends(model: CellModel) -> list[tuple[int, FloatArray]]:
    """Return the number of every fastener on a far end that head and block leave each by itself, with its row."""
    mesh = model.mesh
    found: list[tuple[int, FloatArray]] = []
    if len(mesh.travelling) < 2 or all(pair.name != "bearing" for pair in mesh.pairs):
        return []
    (normal, head), (_, others) = mesh.travelling
    at = float(np.dot(normal, mesh.points[:2, head[0]]))
    apart = np.zeros((mesh.points.shape[1], 3))
    apart[others[0], :2], apart[head[0], :2] = normal, [-component for component in normal]
    for number, fastener in enumerate(mesh.fasteners):
        cut = [abs(float(np.dot(normal, plane))) > 1.0 - 1e-9 for plane in fastener.cut_planes]
        if cut == [True] and abs(float(np.dot(normal, (fastener.x, fastener.y))) - at) < 1e-3:
            found.append((number, on_all_unknowns(model, apart.ravel())))
    return found


def on_all_unknowns(model: CellModel, on_displacements: FloatArray) -> FloatArray:
    """Return a row (3 n,) on displacements as one on all unknowns (u,)."""
    found = np.zeros(model.unknowns)
    found[: model.transform.shape[1]] = model.transform.T @ on_displacements
    return found


def thinner(cell: Cell, longer: float = 0.0) -> float:
    """Return what the stated segments add (mm/N) to the flexibility of the cylinder that stands for a whole fastener.

    longer : mm of shank that a fastener is longer than the cylinder.
    """
    fastener = cell.joint.fastener
    E, nu = fastener.material.E.at(cell.joint.assembly_temperature), fastener.material.nu
    cylinder = (Segment(fastener.clamped_length, cell.shank_diameter, False),)
    more = (Segment(longer, cell.shank_diameter, False),) if longer > 0.0 else ()
    stated = guided_beam((*fastener.segments, *more), E, nu)
    return stated.compliance - guided_beam(cylinder, E, nu).compliance
