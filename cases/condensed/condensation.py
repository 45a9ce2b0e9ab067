"""From a joint and its mesh to the `ReducedJoint`: assemble, cut the fastener, condense to interfaces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.cases.condensed.load_vectors import load_under
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.elements.axisymmetric import ElasticBody, axial_pressure_load, elastic_body, facet_row
from headjoint.cases.elements.linear_solver import Factorization, schur_complement
from headjoint.cases.elements.memory import check_memory
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.one_fastener.single_stud import CLOSE
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at
from headjoint.model.base.errors import SolveError
from headjoint.model.base.property_table import looked_up
from headjoint.model.joint import Joint

GAS = "gas"
RIGID_ERROR = 1e-9  # of the largest stiffness: what rounding may leave of a rigid shift


@dataclass(frozen=True)
class FullModel:
    """The assembled model before condensation, kept to recover full fields.

    matrix : (N + 1, N + 1) over displacements and, last, the overlap. loads : name -> (N + 1,) unit loads:
    each part's unit free strain, and a unit force on the head's gas ring, with the same pressure on the block's where
    combustion presses there, too. pulled, jump : elements that see the overlap at the
    pretension cut, and how (k, 16). kept : unknowns of the reduced joint in
    its order; inner : all other free unknowns. strains : (m, q) free strain of unit loads that temperature fields make.
    """

    joint_mesh: JointMesh
    body: ElasticBody
    pulled: IntArray = field(repr=False)
    jump: FloatArray = field(repr=False)
    matrix: sp.csr_matrix = field(repr=False)
    loads: dict[str, FloatArray] = field(repr=False)
    kept: IntArray
    inner: IntArray
    strains: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)

    @property
    def unknowns(self) -> int:
        """Free unknowns, the overlap included."""
        return len(self.kept) + len(self.inner)

    def strain_load(self, free_strain: FloatArray) -> FloatArray:
        """Return the load (N + 1,) of a free strain at the Gauss points (m, q)."""
        element_load = self.body.element_thermal_load(free_strain)
        return np.append(self.body.vector(element_load), float(np.sum(element_load[self.pulled] * self.jump)))


def full_model(joint: Joint, joint_mesh: JointMesh, temperature: FloatArray | None = None) -> FullModel:
    """Assemble the joint with its pretension cut.

    temperature : (m,) degC of the elements, by which they are as stiff; that of assembly by default. Raises SolveError
    where there is not enough memory.
    """
    used = [joint_mesh.parts[index] for index in np.unique(joint_mesh.part)]
    moduli, ratios = np.zeros(len(joint_mesh.part)), np.zeros(len(joint_mesh.part))
    for name in used:
        of_part = joint_mesh.part == joint_mesh.parts.index(name)
        material = joint.part_material(name)
        at_assembly = material.E.at(joint.assembly_temperature)
        moduli[of_part] = at_assembly if temperature is None else looked_up(material.E, temperature[of_part])
        ratios[of_part] = material.nu
    body = elastic_body(joint_mesh.mesh, moduli, ratios)
    facets = sum(len(interface.upper) for interface in joint_mesh.interfaces)
    check_memory(body.unknowns, 4 * facets, solid=False)  # two new nodes a facet, on both faces

    element_stiffness = body.element_stiffness()
    matrix, pulled, jump = _with_cut(body, joint_mesh, element_stiffness)
    element_strain_load = body.element_thermal_load()
    loads: dict[str, FloatArray] = {}
    for name in used:
        of_part = (joint_mesh.part == joint_mesh.parts.index(name)).astype(float)
        element_load = element_strain_load * of_part[:, None]
        on_overlap = float(np.sum(element_load[pulled] * jump))
        loads[name] = np.append(body.vector(element_load), on_overlap)
    if joint.gas is not None:
        per_pressure = axial_pressure_load(body.basis, joint_mesh.gas_facets, body.unknowns)
        per_pressure -= axial_pressure_load(body.basis, joint_mesh.deck_gas_facets, body.unknowns)
        loads[GAS] = np.append(per_pressure / joint.gas.ring_area, 0.0)

    fixed = _supported(body, joint_mesh)
    kept = np.append(np.setdiff1d(_interface_unknowns(body, joint_mesh), fixed), body.unknowns)
    inner = np.setdiff1d(np.arange(body.unknowns), np.concatenate([fixed, kept]))
    return FullModel(joint_mesh, body, pulled, jump, matrix, loads, kept, inner)


def _with_cut(
    body: ElasticBody, joint_mesh: JointMesh, element_stiffness: FloatArray
) -> tuple[sp.csr_matrix, IntArray, FloatArray]:
    """Return the assembled matrix with the overlap as last unknown, the cut elements and their jump vector.

    Elements above the cut see u_z - overlap at the nodes of the cut, so the overlap needs no doubled nodes
    and its conjugate force is the fastener force, tension positive.
    """
    row = facet_row(body.basis, joint_mesh.cut_facets)
    cut_unknowns = 2 * np.unique(row.nodes) + 1
    touching = np.isin(body.dofs[:, joint_mesh.above_cut], cut_unknowns).any(axis=0)
    pulled = joint_mesh.above_cut[touching]
    jump = -np.isin(body.dofs[:, pulled], cut_unknowns).T.astype(float)
    coupling_elements = np.einsum("mab,mb->ma", element_stiffness[pulled], jump)
    coupling = summed_at(body.dofs[:, pulled].T.ravel(), coupling_elements.ravel(), body.unknowns)
    own = float(np.sum(coupling_elements * jump))
    column = sp.csr_matrix(coupling[:, None])
    matrix = sp.bmat([[body.matrix(element_stiffness), column], [column.T, np.array([[own]])]]).tocsr()
    return matrix, pulled, jump


def _supported(body: ElasticBody, joint_mesh: JointMesh) -> IntArray:
    """Return the fixed unknowns: u_z on the block's lower face, u_r on the axis."""
    bottom = facet_row(body.basis, joint_mesh.bottom_facets)
    on_axis = np.flatnonzero(np.abs(body.basis.doflocs[0]) < 1e-9)
    return np.union1d(2 * bottom.nodes.ravel() + 1, 2 * on_axis)


def _interface_unknowns(body: ElasticBody, joint_mesh: JointMesh) -> IntArray:
    nodes = [
        facet_row(body.basis, facets).nodes.ravel()
        for interface in joint_mesh.interfaces
        for facets in (interface.lower, interface.upper)
    ]
    return 2 * np.unique(np.concatenate(nodes)) + 1


def condense(joint: Joint, model: FullModel) -> ReducedJoint:
    """Return the reduced joint: Schur complement on interface unknowns and overlap, loads condensed along.

    The unit loads ride along as extra kept columns, so that one factorisation gives both.
    """
    free = np.concatenate([model.inner, model.kept])
    names = list(model.loads)
    columns = sp.csr_matrix(np.column_stack([model.loads[name][free] for name in names]))
    bordered = sp.bmat([[model.matrix[free][:, free], columns], [columns.T, None]]).tocsr()
    n = len(model.kept)
    kept = len(model.inner) + np.arange(n + len(names))
    schur = schur_complement(bordered, kept)
    closure, weight, radius, groups = _interface_points(joint, model)
    K = (schur[:n, :n] + schur[:n, :n].T) / 2.0
    loads = {name: schur[:n, n + index] for index, name in enumerate(names)}
    for body, gas_share in _free_bodies(model):
        K, loads = _without_rigid_error(K, loads, body, {GAS: gas_share})
    return ReducedJoint(
        K=K,
        loads=loads,
        B=closure,
        weight=weight,
        radius=radius,
        groups=groups,
        overlaps=np.array([n - 1]),
        series_compliance=np.array([joint.fastener.meshed_compliance]),
    )


def _free_bodies(model: FullModel) -> list[tuple[FloatArray, float]]:
    """Return a rigid axial shift of every body that only interfaces hold, and the gas force it takes (0 or 1).

    A shift is a vector over the kept unknowns: 1 on the body's faces, -1 on the overlap for the body above the
    pretension cut.
    """
    basis, mesh = model.body.basis, model.joint_mesh
    elements = basis.element_dofs.copy()
    # the upper side of the cut gets nodes of its own, so that the graph falls apart there
    on_cut = np.unique(facet_row(basis, mesh.cut_facets).nodes)
    above = elements[:, mesh.above_cut]
    elements[:, mesh.above_cut] = np.where(np.isin(above, on_cut), above + basis.N, above)
    m = elements.shape[1]
    side = 2 * basis.N + m
    links = (elements.ravel(), np.tile(2 * basis.N + np.arange(m), 8))
    _, label = connected_components(sp.csr_matrix((np.ones(8 * m), links), shape=(side, side)), directed=False)
    supported = np.unique(label[facet_row(basis, mesh.bottom_facets).nodes])
    above_label = label[2 * basis.N + mesh.above_cut[0]]
    gas_label = label[facet_row(basis, mesh.gas_facets).nodes.ravel()[:1]]
    of_kept = np.append(label[model.kept[:-1] // 2], above_label)
    bodies = []
    for body in np.setdiff1d(np.unique(of_kept), supported):
        shift = (of_kept == body).astype(float)
        shift[-1] *= -1.0
        bodies.append((shift, float(body in gas_label)))
    return bodies


def _without_rigid_error(
    K: FloatArray, loads: dict[str, FloatArray], shift: FloatArray, resultant: dict[str, float]
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Return K and loads with the rounding of a rigid shift projected out.

    A rigid shift strains nothing, so K shift = 0 and shift . load is the load's known resultant. Very stiff parts
    lose this to rounding, and with it the balance of forces. Raises SolveError when more than rounding is off.
    """
    z = shift / np.linalg.norm(shift)
    error = K @ z
    if np.abs(error).max() > RIGID_ERROR * np.abs(K).max():
        raise SolveError("the condensed stiffness resists a rigid shift: the mesh is not what it should be")
    K = K - np.outer(error, z) - np.outer(z, error) + (z @ error) * np.outer(z, z)
    length = np.linalg.norm(shift)
    corrected = {name: load + z * (resultant.get(name, 0.0) / length - z @ load) for name, load in loads.items()}
    return K, corrected


class _Points:
    """Interface points as they are found: entries of the closure operator, weights, radii."""

    def __init__(self, kept: IntArray) -> None:
        self._number = {int(unknown): position for position, unknown in enumerate(kept)}
        self._entries: list[tuple[IntArray, IntArray, FloatArray]] = []
        self._weights: list[FloatArray] = []
        self._radii: list[FloatArray] = []
        self.count = 0

    def add(
        self, lower: IntArray, upper: IntArray, shape: FloatArray, weight: FloatArray, radius: FloatArray
    ) -> IntArray:
        """Add k points to each of f facets and return their numbers (f k,).

        lower, upper : (f, n) scalar unknowns of both faces. shape : (k, n) shape functions. weight, radius : (f, k).
        """
        points = self.count + np.arange(weight.size).reshape(weight.shape)
        self.count += weight.size
        for nodes, sign in ((lower, 1.0), (upper, -1.0)):
            for node in range(nodes.shape[1]):
                position = np.array([self._number[int(unknown)] for unknown in 2 * nodes[:, node] + 1])
                values = sign * np.tile(shape[:, node], len(position))
                self._entries.append((points.ravel(), np.repeat(position, len(shape)), values))
        self._weights.append(weight.ravel())
        self._radii.append(radius.ravel())
        return points.ravel()

    def operator(self) -> tuple[sp.csr_matrix, FloatArray, FloatArray]:
        """Return closure operator (g, kept), weights and radii (g,)."""
        rows, columns, values = (np.concatenate(one) for one in zip(*self._entries, strict=True))
        closure = sp.csr_matrix((values, (rows, columns)), shape=(self.count, len(self._number)))
        return closure, np.concatenate(self._weights), np.concatenate(self._radii)


def _interface_points(
    joint: Joint, model: FullModel
) -> tuple[sp.csr_matrix, FloatArray, FloatArray, tuple[PointGroup, ...]]:
    """Return closure operator, weights, radii and point groups of all interfaces.

    Three points a facet, and after all of them some of no area: one at either edge of every gasket zone, where it is
    pressed hardest, and one on the sealing line, so that nothing is interpolated there.
    """
    zones = {zone.name: zone for zone in joint.gasket.zones}
    points, groups = _Points(model.kept), []
    faces = [
        (facet_row(model.body.basis, one.lower), facet_row(model.body.basis, one.upper))
        for one in model.joint_mesh.interfaces
    ]
    own = [points.add(low.nodes, up.nodes, low.shape, low.weight, low.radius) for low, up in faces]
    for interface, (lower, upper), at in zip(model.joint_mesh.interfaces, faces, own, strict=True):
        zone = zones.get(interface.name) if interface.kind == "gasket" else None
        if zone is None:
            groups.append(PointGroup(interface.name, interface.kind, at, BEARING))
            continue
        diameters = {zone.inner_diameter, zone.outer_diameter} | ({zone.sealing_diameter} if zone.sealing else set())
        radius = np.array(sorted(diameters)) / 2.0
        found = _vertices_at(radius, np.stack(model.joint_mesh.facet_radii(interface.lower), axis=1))
        ends = [row.nodes[:, :2].ravel()[found][:, None] for row in (lower, upper)]
        alone = points.add(ends[0], ends[1], np.ones((1, 1)), np.zeros((len(radius), 1)), radius[:, None])
        groups.append(PointGroup(zone.name, interface.kind, np.concatenate([at, alone]), zone.law, zone.step))
    return *points.operator(), tuple(groups)


def _vertices_at(radius: FloatArray, ends: FloatArray) -> IntArray:
    """Return which of the ends of facets (f, 2), counted through, lies at each radius; the mesh has lines there."""
    found = np.abs(ends.ravel() - radius[:, None])
    assert (found.min(axis=1) <= CLOSE).all()
    return found.argmin(axis=1)


class FieldRecovery:
    """Full displacement and stress fields of chosen states, by one more factorisation of the inner block."""

    def __init__(self, model: FullModel) -> None:
        self.model = model
        inner = model.inner
        self._factors = Factorization(model.matrix[inner][:, inner])
        self._coupling = model.matrix[inner][:, model.kept]

    def condensed(self, load: FloatArray) -> FloatArray:
        """Return a load (N + 1,) on all unknowns condensed to the reduced ones (n,); it shall move no body as a whole.

        One back-substitution; the rounding of a resultant on a body that only interfaces hold is taken out.
        """
        model = self.model
        reduced = load[model.kept] - self._coupling.T @ self._factors.solve(load[model.inner])
        for shift, _ in _free_bodies(model):
            z = shift / np.linalg.norm(shift)
            reduced = reduced - z * (z @ reduced)
        return reduced

    def displacement(self, q: FloatArray, load_factors: dict[str, float], heat: FloatArray | float = 0.0) -> FloatArray:
        """Return all displacements (N,) in mm for reduced unknowns `q` under the stated unit loads.

        heat : load (N + 1,) of a temperature field besides them.
        """
        model = self.model
        load = load_under(model.loads, load_factors) + heat
        field = np.zeros(model.body.unknowns + 1)
        field[model.kept] = q
        field[model.inner] = self._factors.solve(load[model.inner] - self._coupling @ q)
        return field[:-1]

    def stress(self, displacement: FloatArray, overlap: float, load_factors: dict[str, float]) -> FloatArray:
        """Return stress (m, q, 4) in MPa at the Gauss points, the pretension cut taken into account."""
        body, mesh = self.model.body, self.model.joint_mesh
        free = np.array([load_factors.get(name, 0.0) for name in mesh.parts])[mesh.part][:, None]
        for name, strain in self.model.strains.items():
            free = free + load_factors.get(name, 0.0) * strain
        stress = body.stress(displacement, free)
        cut = 2 * np.unique(facet_row(body.basis, mesh.cut_facets).nodes) + 1
        shifted = displacement.copy()
        shifted[cut] -= overlap
        stress[mesh.above_cut] = body.stress(shifted, free)[mesh.above_cut]
        return stress
