"""Mesh errors of one fastener's joint from recovered stress, beside true ones: a study, no command uses it.

    python -m validation.recovered_error            # five joints at the default size and 1.6 times that: minutes
    python -m validation.recovered_error --kept F   # truths are kept there, and looked for

The error of a figure J is about the sum over elements of int (s*(u) - s_h(u)) : C^-1 : (s*(z) - s_h(z)), with z the
dual solution of the converged state and s* the stress that superconvergent patches recover (O. C. Zienkiewicz and
J. Z. Zhu, IJNME 33 (1992) 1331; M. Ainsworth and J. T. Oden, A Posteriori Error Estimation, 2000, ch. 8). Both fields
are sums over the unknowns of the condensed joint, so that the form is a matrix G on those: K - G is the stiffness that
recovery finds, and the joint is run on it once more, which needs no dual and counts what states remember. Recovery
exaggerates what the mesh hardly resolves, a single node of an interface say: of a shape whose error is the share x of
its energy, x / (1 + `LIMIT` x) is counted. `LIMIT` and `SAFETY` are choices by what is found here.
"""

from __future__ import annotations

import argparse
import dataclasses
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from skfem import Basis, ElementQuadS2

from headjoint.cases.condensed.condensation import FieldRecovery, FullModel, condense, full_model
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.elements.axisymmetric import ElasticBody, facet_row
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.load_cases.solved import NO_COARSER, SolvedJoint
from headjoint.cases.models.condensed import OneFastener
from headjoint.cases.service.tightened import tightened
from headjoint.meshes.one_fastener import single_stud
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.joint import Joint
from validation.mesh_error import COARSER, FINEST_JOINT, NEGLIGIBLE, Compared, printed, truth, values
from validation.mesh_figures import Kept, MeshFigures, figures_of_joint, joints

LIMIT, SAFETY = 5.0, 2.0
SAMPLES = 3  # order of the 2 x 2 rule, whose points are superconvergent
SMALLEST = 1e-11  # of the greatest energy: less is a rigid shift


@dataclasses.dataclass(frozen=True)
class Softened:
    """A condensed joint, and the same as soft as recovered stress finds it, `SAFETY` times over."""

    joint: Joint
    model: FullModel
    reduced: ReducedJoint
    softer: ReducedJoint


def strain_operator(basis: Basis) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return strains (m, q, 4, 16) of displacements, shape functions (m, q, 8) and places (2, m, q) at points."""
    places = np.asarray(basis.global_coordinates())
    m, q = places[0].shape
    operator, shapes = np.zeros((m, q, 4, 16)), np.zeros((m, q, 8))
    for i in range(8):
        shape = basis.basis[i][0]
        shapes[:, :, i] = np.asarray(shape)
        operator[:, :, 0, 2 * i], operator[:, :, 1, 2 * i + 1] = shape.grad
        operator[:, :, 3, 2 * i + 1], operator[:, :, 3, 2 * i] = shape.grad
        operator[:, :, 2, 2 * i] = shapes[:, :, i] / places[0]
    return operator, shapes, places


def stress_of(model: FullModel, operator: FloatArray) -> sp.csr_matrix:
    """Return stress (4 m q,) at points of displacements, the overlap, and the free strain of each element."""
    body, mesh = model.body, model.joint_mesh
    m, q = operator.shape[:2]
    stress = np.einsum("mij,mqja->mqia", body.D, operator)
    rows = np.arange(4 * m * q)
    columns = np.broadcast_to(body.dofs.T[:, None, None, :], stress.shape)
    of_displacement = sp.csr_matrix(
        (stress.ravel(), (np.repeat(rows, 16), columns.ravel())), shape=(len(rows), body.unknowns)
    )
    cut = 2 * np.unique(facet_row(body.basis, mesh.cut_facets).nodes) + 1
    jump = np.zeros((m, 16))
    jump[mesh.above_cut] = -np.isin(body.dofs.T[mesh.above_cut], cut).astype(float)
    of_overlap = np.einsum("mqia,ma->mqi", stress, jump).ravel()
    free = np.repeat(-body.D[:, :, :3].sum(axis=2)[:, None], q, axis=1).ravel()
    of_strain = sp.csr_matrix((free, (rows, np.repeat(np.arange(m), 4 * q))), shape=(len(rows), m))
    return sp.hstack([of_displacement, sp.csr_matrix(of_overlap[:, None]), of_strain]).tocsr()


def recovered(model: FullModel, places: FloatArray) -> tuple[sp.csr_matrix, IntArray]:
    """Return stress at nodes of every part from that at `places` (2, m, 4) of its elements, (n, 4 m), and the nodes
    of elements (8, m).

    A quadratic is fitted round every vertex that four elements of a part share; a node has the mean of what the
    patches round it say.
    """
    mesh, scalar = model.joint_mesh, model.body.basis.element_dofs
    nodes, count, entries = np.zeros_like(scalar), 0, []
    for part in np.unique(mesh.part):
        own = np.flatnonzero(mesh.part == part)
        names, inverse = np.unique(scalar[:, own], return_inverse=True)
        inverse = inverse.reshape(8, -1)
        nodes[:, own] = inverse + count
        entries += [(one[0] + count, one[1], one[2]) for one in _patches(model, places, own, names, inverse)]
        count += len(names)
    rows, columns, shares = (np.concatenate(one) for one in zip(*entries, strict=True))
    fit = sp.csr_matrix((shares, (rows, columns)), shape=(count, 4 * scalar.shape[1]))
    # every patch gives weights that add up to one at each of its nodes
    patches = np.asarray(fit.sum(axis=1)).ravel()
    return sp.diags(1.0 / patches) @ fit, nodes


def _patches(
    model: FullModel, places: FloatArray, own: IntArray, names: IntArray, inverse: IntArray
) -> Iterator[tuple[IntArray, IntArray, FloatArray]]:
    """Yield, of every patch of a part, node, sample and weight of what it says of its nodes."""
    at = model.body.basis.doflocs[:, names]
    touching: dict[int, list[int]] = {}
    for corner in range(4):
        for element, node in enumerate(inverse[corner]):
            touching.setdefault(int(node), []).append(element)
    whole = [node for node, elements in touching.items() if len(elements) == 4]
    reached = np.zeros(len(names), dtype=bool)
    for node in (*whole, *(one for one in touching if len(touching[one]) < 4)):
        elements = np.array(touching[node])
        targets = np.unique(inverse[:, elements])
        if len(elements) < 4:  # only where no whole patch reaches
            targets = targets[~reached[targets]]
        if len(targets):
            sampled = places[:, own[elements]].reshape(2, -1)
            size = np.abs(sampled - at[:, [node]]).max(axis=1)[:, None]
            terms = {1: 4, 2: 6, 3: 6, 4: 8}[len(elements)]
            fit = np.linalg.pinv(_terms((sampled - at[:, [node]]) / size)[:, :terms], rcond=1e-10)
            weight = _terms((at[:, targets] - at[:, [node]]) / size)[:, :terms] @ fit
            samples = (4 * own[elements][:, None] + np.arange(4)).ravel()
            yield np.repeat(targets, len(samples)), np.tile(samples, len(targets)), weight.ravel()
        if len(elements) == 4:
            reached[targets] = True


def _terms(x: FloatArray) -> FloatArray:
    a, b = x
    return np.stack([np.ones_like(a), a, b, a * b, a * a, b * b, a * a * b, a * b * b], axis=-1)


def energies(model: FullModel) -> tuple[FloatArray, FloatArray]:
    """Return energy and error, each a matrix over reduced unknowns and then unit loads, in N mm."""
    body, mesh = model.body, model.joint_mesh
    sampling, _, sampled = strain_operator(Basis(mesh.mesh, ElementQuadS2(), intorder=SAMPLES))
    gauss, shapes, _ = strain_operator(body.basis)
    at_nodes, nodes = recovered(model, sampled)
    rows = np.repeat(np.arange(shapes[..., 0].size), 8)
    columns = np.broadcast_to(nodes.T[:, None, :], shapes.shape).ravel()
    inside = sp.csr_matrix((shapes.ravel(), (rows, columns)), shape=(shapes[..., 0].size, at_nodes.shape[0]))
    smooth = sp.kron(inside @ at_nodes, sp.identity(4)).tocsr() @ stress_of(model, sampling)
    meshed = stress_of(model, gauss)
    root = _root_of_energy(body)
    fields = _fields(model)
    found, error = root @ (meshed @ fields), root @ ((smooth - meshed) @ fields)
    return found.T @ found, error.T @ error


def _root_of_energy(body: ElasticBody) -> sp.csr_matrix:
    """Return what makes a vector of stress at Gauss points, whose square is its energy."""
    lower = np.linalg.cholesky(np.linalg.inv(body.D))
    blocks = np.einsum("mij,mq->mqji", lower, np.sqrt(body.weight)).reshape(-1, 4, 4)
    return sp.bsr_matrix((blocks, np.arange(len(blocks)), np.arange(len(blocks) + 1))).tocsr()


def _fields(model: FullModel) -> FloatArray:
    """Return displacements, overlap and free strains (N + 1 + m, k) of every reduced unknown and every unit load."""
    mesh, n, unknowns = model.joint_mesh, len(model.kept), model.body.unknowns + 1
    recovery, names = FieldRecovery(model), list(model.loads)
    found = np.zeros((unknowns + len(mesh.part), n + len(names)))
    for number in range(n):
        q = np.zeros(n)
        q[number] = 1.0
        found[: unknowns - 1, number] = recovery.displacement(q, {})
        found[unknowns - 1, number] = q[-1]
    for number, name in enumerate(names, start=n):
        found[: unknowns - 1, number] = recovery.displacement(np.zeros(n), {name: 1.0})
        if name in mesh.parts:
            found[unknowns:, number] = mesh.part == mesh.parts.index(name)
    return found


def limited(energy: FloatArray, error: FloatArray) -> FloatArray:
    """Return the error with what the mesh hardly resolves counted for less."""
    size = np.sqrt(np.maximum(np.diag(energy), 1e-300))
    values_, vectors = np.linalg.eigh(energy / np.outer(size, size))
    kept = values_ > SMALLEST * values_[-1]
    down, up = vectors[:, kept] / np.sqrt(values_[kept]), vectors[:, kept] * np.sqrt(values_[kept])
    shares, shapes = np.linalg.eigh(down.T @ (error / np.outer(size, size)) @ down)
    back = up @ shapes
    found: FloatArray = (back * (shares / (1.0 + LIMIT * shares))) @ back.T * np.outer(size, size)
    return found


def softened(joint: Joint, refinement: float) -> Softened:
    """Return a joint on one mesh, and as soft as recovered stress finds it."""
    model = full_model(joint, single_stud.build(joint, refinement))
    reduced, n = condense(joint, model), len(model.kept)
    error = SAFETY * limited(*energies(model))
    loads = {name: reduced.loads[name] + error[:n, n + number] for number, name in enumerate(model.loads)}
    softer = dataclasses.replace(reduced, K=reduced.K - error[:n, :n], loads=loads)
    return Softened(joint, model, reduced, softer)


def figures(of: Softened, reduced: ReducedJoint) -> MeshFigures:
    """Return the figures of a joint with one of its stiffnesses."""
    model = OneFastener(of.joint, reduced)
    levels = tightened(model).over(of.joint.tightening)
    least, nominal, greatest = (run(model, levels[name]) for name in ("least", "nominal", "greatest"))
    return figures_of_joint(SolvedJoint(least, nominal, greatest, {}, NO_COARSER, of.model))


def compared(name: str, joint: Joint, size: float, kept: Kept) -> Iterator[Compared]:
    """Yield every figure of a joint whose elements are `size` times their default one, with its truth."""
    of = softened(joint, 1.0 / size)
    found, other = figures(of, of.reduced), values(figures(of, of.softer))
    true = truth(found, kept.on_mesh(name, joint, 1.0, FINEST_JOINT))
    titled = name if size == 1.0 else f"{name}, {size:g} x"
    for figure, value in values(found).items():
        if figure in true and figure in other and abs(true[figure][0] - value) > NEGLIGIBLE * abs(value):
            yield Compared(titled, figure, value, abs(other[figure] - value), *true[figure])


def main() -> int:
    """Print the table of the joints."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kept", type=Path, help="file in which truths are kept, and looked for")
    kept = Kept(parser.parse_args().kept)
    found = [
        one for name, joint in joints().items() for size in (1.0, COARSER) for one in compared(name, joint, size, kept)
    ]
    return printed(found)


if __name__ == "__main__":
    raise SystemExit(main())
