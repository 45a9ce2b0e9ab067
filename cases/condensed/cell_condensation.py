"""From a cell and its mesh to the `ReducedJoint`: assemble, tie by closures, condense to the interfaces.

The unknowns of the full model are displacements, but at matching interfaces the upper face's u_z is replaced by the
closure c = u_z(lower) - u_z(upper): u = T v. So half as many unknowns are kept, and what is left is held together
when they are. Each fastener's overlap is a strain laid over its free length; it makes the same rigid shift as a cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_interfaces import InterfacePoints, interface_points
from headjoint.cases.condensed.held import check_held
from headjoint.cases.condensed.load_vectors import load_under
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.condensed.store import CondensedStore, fingerprint
from headjoint.cases.condensed.tied import tied_by_closures
from headjoint.cases.condensed.watched import Watched, watched_in
from headjoint.cases.elements.linear_solver import (
    Factorization,
    InnerFactors,
    schur_of_half,
    solver_name,
)
from headjoint.cases.elements.memory import check_memory
from headjoint.cases.elements.solid import SolidBody, face_points, isotropic_stiffness
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.meshes.solid.symmetry import planes_through
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError, SolveError
from headjoint.model.base.property_table import looked_up
from headjoint.model.cell import Cell, Ring

LIFT_TOLERANCE = 0.02  # of the gas force; facets of a coarse mesh take some of it
MOST_DENSE = 8000  # unknowns kept and rows watched; for more, another factorisation needs less memory
EDGE_POINTS = 24  # along a face that the sealing line may cut


def gas_name(bore: int) -> str:
    """Return the name of the unit load (1 MPa) of a bore, numbered from 0."""
    return f"gas {bore + 1}"


class Assembly:
    """Stiffness and unit loads of parts on the unknowns v, then the overlaps: made when they are first asked for.

    A joint that was condensed before needs neither. Both raise SolveError where there is not enough memory.
    """

    def __init__(self, mesh: SolidMesh, body: SolidBody, transform: sp.csr_matrix) -> None:
        self._mesh, self._body, self._transform = mesh, body, transform

    @cached_property
    def _made(self) -> tuple[sp.csr_matrix, dict[str, FloatArray]]:
        mesh, body = self._mesh, self._body
        faces = len(np.unique(np.concatenate([pair.upper.ravel() for pair in mesh.pairs])))
        check_memory(mesh.points.size, min(4 * faces, max(faces, MOST_DENSE)), solid=True)
        stiffness, free_strain = body.half_stiffness_and_free_strain()
        overlaps = np.zeros((body.unknowns, len(mesh.fasteners)))
        own_stiffness = np.zeros(len(mesh.fasteners))
        for number, fastener in enumerate(mesh.fasteners):
            overlaps[:, number], own_stiffness[number] = body.travel_load(fastener.free, fastener.travel)
        transposed = self._transform.T.tocsr()
        inside = (transposed @ stiffness) @ self._transform
        count = inside.shape[0]
        inside.resize(count, count + len(mesh.fasteners))
        coupling = sp.csr_matrix(transposed @ overlaps)
        below = sp.hstack([coupling.T, sp.diags(own_stiffness / 2.0)], format="csr")
        half = sp.vstack([inside, below], format="csr")
        loads = {}
        for name in parts_of(mesh):
            own = (mesh.part == mesh.parts.index(name)).astype(float)[:, None]
            full = body.vector(free_strain * own)
            on_overlaps = [float(np.sum((free_strain * own)[f.free, 2::3] * f.travel.T)) for f in mesh.fasteners]
            loads[name] = np.concatenate([transposed @ full, on_overlaps])
        return half, loads

    @property
    def half(self) -> sp.csr_matrix:
        """H in any order, of which the stiffness is H + H': all that a condensation needs."""
        return self._made[0]

    @cached_property
    def matrix(self) -> sp.csr_matrix:
        """Stiffness, N/mm."""
        lower = self.half.T.tocsr()  # turned over and back, columns ascend
        return (lower.T.tocsr() + lower).tocsr()

    @property
    def loads(self) -> dict[str, FloatArray]:
        """Part -> load of its unit free strain, N."""
        return self._made[1]


@dataclass(frozen=True)
class CellModel:
    """The cell before condensation, kept to recover full fields.

    transform : T, displacements (3 n,) from v. kept, inner : unknowns of the reduced joint, and all others. gas : name
    -> unit load (1 MPa) of each bore on v and overlaps. gas_lift : the upward force (N) on the head of each. points :
    where the interface laws act. heat, strains : loads that temperature fields make, and their (m, q) free strains.
    """

    cell: Cell
    mesh: SolidMesh
    body: SolidBody
    assembly: Assembly = field(repr=False)
    transform: sp.csr_matrix = field(repr=False)
    kept: IntArray = field(repr=False)
    inner: IntArray = field(repr=False)
    gas: dict[str, FloatArray] = field(repr=False)
    gas_lift: dict[str, float]
    points: InterfacePoints = field(repr=False)
    heat: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)
    strains: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)

    @property
    def unknowns(self) -> int:
        """Free unknowns, closures and overlaps included."""
        return self.transform.shape[1] + len(self.mesh.fasteners)

    @property
    def matrix(self) -> sp.csr_matrix:
        """Stiffness over the unknowns v, then the overlaps."""
        return self.assembly.matrix

    @property
    def load_names(self) -> list[str]:
        """Names of the unit loads, in their order."""
        return [*parts_of(self.mesh), *self.gas, *self.heat]

    @property
    def loads(self) -> dict[str, FloatArray]:
        """Name -> unit load on v and overlaps: of parts, gas and temperature fields."""
        return {**self.assembly.loads, **self.gas, **self.heat}


def parts_of(mesh: SolidMesh) -> list[str]:
    """Return the names of the parts that have elements."""
    return [mesh.parts[index] for index in np.unique(mesh.part)]


def cell_model(cell: Cell, mesh: SolidMesh, temperature: FloatArray | None = None) -> CellModel:
    """Return the model of a cell; its stiffness is assembled when it is first asked for.

    temperature : (m,) degC of the elements, by which they are as stiff; that of assembly by default.

    Raises MeshError where a piece of the mesh is held by nothing, or the faces under gas are not those of the bore.
    """
    check_held(mesh)
    return assembled_cell(cell, mesh, temperature)


def assembled_cell(cell: Cell, mesh: SolidMesh, temperature: FloatArray | None = None) -> CellModel:
    """Return the model as `cell_model` does, whether its own planes and supports hold it or not."""
    moduli, ratios = np.zeros(len(mesh.part)), np.zeros(len(mesh.part))
    for name in parts_of(mesh):
        own = mesh.part == mesh.parts.index(name)
        material = cell.part_material(name)
        at_assembly = material.E.at(cell.joint.assembly_temperature)
        moduli[own] = at_assembly if temperature is None else looked_up(material.E, temperature[own])
        ratios[own] = material.nu
    body = SolidBody(mesh.points, mesh.cells, isotropic_stiffness(moduli * mesh.shares, ratios))
    transform, interface = tied_by_closures(mesh)
    gas, lift = {}, {}
    for bore in range(len(mesh.chamber)):
        full, force = _gas_load(cell, mesh, bore)
        _check_lift(cell, mesh, bore, force)
        gas[gas_name(bore)] = np.concatenate([transform.T @ full, np.zeros(len(mesh.fasteners))])
        lift[gas_name(bore)] = force
    count = transform.shape[1]
    kept = np.concatenate([interface, count + np.arange(len(mesh.fasteners))])
    inner = np.delete(np.arange(count), interface)
    points = interface_points(cell, mesh, transform, kept)
    return CellModel(cell, mesh, body, Assembly(mesh, body, transform), transform, kept, inner, gas, lift, points)


def _gas_load(cell: Cell, mesh: SolidMesh, bore: int) -> tuple[FloatArray, float]:
    """Return nodal forces (3 n,) of 1 MPa in one bore, and the upward force on the head.

    Gas presses on the chamber face, the bore wall, the deck between bore and gasket, and on both faces of the gasket's
    gap inside the sealing line.
    """
    load = np.zeros(3 * mesh.points.shape[1])
    x, y = cell.bore_centres[bore]

    def press(faces: IntArray, force: FloatArray, shape: FloatArray) -> None:
        nodal = np.einsum("dfq,qk->dkf", force, shape, optimize=True)
        for component in range(3):
            np.add.at(load, 3 * faces + component, nodal[component])

    chamber = face_points(mesh.points, mesh.chamber[bore])
    up = np.zeros_like(chamber.area)
    up[2] = np.abs(chamber.area[2])
    press(mesh.chamber[bore], up, chamber.shape)
    lift = float(up[2].sum())
    if mesh.wall[bore].size:
        wall = face_points(mesh.points, mesh.wall[bore])
        outward = (wall.places[0] - x) * wall.area[0] + (wall.places[1] - y) * wall.area[1]
        press(mesh.wall[bore], wall.area * np.sign(outward), wall.shape)
    if mesh.deck[bore].size:
        deck = face_points(mesh.points, mesh.deck[bore])
        down = np.zeros_like(deck.area)
        down[2] = -np.abs(deck.area[2])
        press(mesh.deck[bore], down, deck.shape)
    gasket = mesh.pair("gasket")
    line = cell.sealing_zone.sealing_diameter / 2.0
    for faces, sign in ((gasket.upper, 1.0), (gasket.lower, -1.0)):
        reach = np.hypot(mesh.points[0, faces] - x, mesh.points[1, faces] - y)
        near = faces[:, reach.min(axis=0) < line]
        # the line cuts through faces: many points there, each counted whole or not at all
        gap = face_points(mesh.points, near, EDGE_POINTS)
        inside = np.hypot(gap.places[0] - x, gap.places[1] - y) < line
        force = np.zeros_like(gap.area)
        force[2] = sign * gap.weight * inside
        press(near, force, gap.shape)
        if sign > 0.0:
            lift += float(force[2].sum())
    return load, lift


def _check_lift(cell: Cell, mesh: SolidMesh, bore: int, lift: float) -> None:
    """Refuse faces under gas that are not those inside the sealing line: a free-body check would not notice."""
    through = planes_through(cell, *cell.bore_centres[bore])
    # the two planes of a sector are not at right angles
    share = 0.5 / cell.layout.number if isinstance(cell.layout, Ring) and through else 0.5 ** len(through)
    expected = share * np.pi / 4.0 * cell.sealing_zone.sealing_diameter**2
    if abs(lift / expected - 1.0) > LIFT_TOLERANCE:
        whose = f"{mesh.origin}: " if mesh.origin else ""
        raise MeshError(
            f"{whose}the faces under gas in bore {bore + 1} lift with {lift:.0f} mm2, the circle of the sealing line "
            f"has {expected:.0f} mm2: look at the faces 'chamber' and 'gasket head face'"
        )


def condense_cell(model: CellModel, store: CondensedStore | None = None) -> ReducedJoint:
    """Return the reduced joint: Schur complement on closures and overlaps, unit loads condensed along.

    With a `store`, one that was condensed before is taken from there.
    """
    return condensed_with(model, sp.csr_matrix((0, model.unknowns)), 0, store)[0]


def condensed_with(
    model: CellModel, watch: sp.csr_matrix, crossed: int, store: CondensedStore | None = None, *, keeps: bool = False
) -> tuple[ReducedJoint, Watched, InnerFactors | None]:
    """Return the reduced joint as `condense_cell` does, and figures that are rows (r, u) on all unknowns.

    crossed : how many rows, the first, are also wanted under each other as loads. keeps : whether factors are wanted
    that are left over; there are none where the joint was condensed before.
    """
    names, n = model.load_names, len(model.kept)
    shape = (n + len(names) + watch.shape[0], n + len(names) + crossed)
    name = _fingerprint_with(model, watch, crossed) if store is not None else ""
    schur = store.load(name) if store is not None else None
    factors = None
    if schur is None or schur.shape != shape:
        whole, factors = _condensed(model, names, watch, keeps=keeps)
        schur = whole[:, : shape[1]]
        if store is not None:
            store.save(name, schur)
    points = model.points
    fasteners = len(model.mesh.fasteners)
    reduced = ReducedJoint(
        K=np.ascontiguousarray((schur[:n, :n] + schur[:n, :n].T) / 2.0),
        loads={name: schur[:n, n + index].copy() for index, name in enumerate(names)},
        B=points.B,
        weight=points.weight,
        radius=np.zeros(len(points.weight)),
        groups=points.groups,
        overlaps=n - fasteners + np.arange(fasteners),
        series_compliance=np.full(fasteners, model.cell.series_compliance),
        share=np.array([fastener.share for fastener in model.mesh.fasteners]),
    )
    return reduced, watched_in(schur, n, names), factors


def _condensed(
    model: CellModel, names: list[str], watch: sp.csr_matrix, *, keeps: bool
) -> tuple[FloatArray, InnerFactors | None]:
    if keeps:  # before memory is asked for
        InnerFactors.release_latest()
    loads = model.loads
    columns = sp.csr_matrix(np.column_stack([loads[name] for name in names]))
    beside = sp.hstack([columns, watch.T]).tocsr()
    schur, factors = schur_of_half(model.assembly.half, model.kept, beside, keeps=keeps)
    if not np.isfinite(schur).all():
        raise SolveError("the condensed stiffness is not finite: a part of the mesh is held by nothing")
    return schur, factors


def _fingerprint_with(model: CellModel, watch: sp.csr_matrix, crossed: int) -> str:
    own = np.frombuffer(model_fingerprint(model).encode(), dtype=np.uint8)
    return fingerprint(own, watch.data, watch.indices, watch.indptr, np.array([crossed]))


def model_fingerprint(model: CellModel) -> str:
    """Name all that the condensed stiffness and unit loads follow from."""
    mesh, transform = model.mesh, model.transform
    travel = [array for fastener in mesh.fasteners for array in (fastener.free, fastener.travel)]
    # every answer names the solver that it is from
    solver = np.frombuffer(solver_name().encode(), dtype=np.uint8)
    geometry = (solver, mesh.points, mesh.cells, mesh.part, model.body.D, model.kept)
    return fingerprint(*geometry, transform.data, transform.indices, transform.indptr, *model.gas.values(), *travel)


class CellRecovery:
    """Full displacement and stress of chosen states, by factors of the inner block: those given, or new ones.

    refined False leaves iterative refinement out: many loads, each in a third of the time, to some 1e-11 of its size.
    """

    def __init__(self, model: CellModel, refined: bool = True, factors: InnerFactors | None = None) -> None:
        self.model, self.left_over = model, factors is not None
        self._factors = factors or Factorization(model.matrix[model.inner][:, model.inner], refined)
        self._coupling = model.matrix[model.inner][:, model.kept]

    def condensed(self, load: FloatArray) -> FloatArray:
        """Return a load on all unknowns condensed to the reduced ones (n,), by one back-substitution."""
        model = self.model
        return load[model.kept] - self._coupling.T @ self._factors.solve(load[model.inner])

    def unknowns(self, q: FloatArray, load_factors: dict[str, float], heat: FloatArray | float = 0.0) -> FloatArray:
        """Return all unknowns v, overlaps included, for reduced unknowns `q` under the stated unit loads.

        heat : load on all unknowns of a temperature field besides them.
        """
        model = self.model
        load = load_under(model.loads, load_factors) + heat
        v = np.zeros(model.unknowns)
        v[model.kept] = q
        v[model.inner] = self._factors.solve(load[model.inner] - self._coupling @ q)
        return v

    def solve_inner(self, load: FloatArray) -> FloatArray:
        """Return the inner unknowns under a load on them alone, the kept ones held."""
        return self._factors.solve(load)

    def displacement(self, q: FloatArray, load_factors: dict[str, float], heat: FloatArray | float = 0.0) -> FloatArray:
        """Return displacements (3 n,) in mm for reduced unknowns `q` under the stated unit loads and `heat`."""
        transform = self.model.transform
        return transform @ self.unknowns(q, load_factors, heat)[: transform.shape[1]]

    def stress(self, displacement: FloatArray, overlaps: FloatArray, load_factors: dict[str, float]) -> FloatArray:
        """Return stress (m, q, 6) in MPa at the Gauss points; overlaps are those of the free lengths."""
        mesh = self.model.mesh
        free = np.array([load_factors.get(name, 0.0) for name in mesh.parts])[mesh.part][:, None]
        for name, strain in self.model.strains.items():
            free = free + load_factors.get(name, 0.0) * strain
        travel = np.zeros(mesh.cells.shape)
        for fastener, overlap in zip(mesh.fasteners, overlaps, strict=True):
            travel[:, fastener.free] = overlap * fastener.travel
        return self.model.body.stress(displacement, free, travel)

    def release(self) -> None:
        """Give the memory of the factors back."""
        self._factors.release()
