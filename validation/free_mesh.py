"""A shipped joint solved again by other means: free triangles, other forms, other pretension, full Newton.

Nothing of `headjoint.meshes.one_fastener` or `headjoint.cases` is used. The mesh is gmsh's free triangles; elasticity
is scikit-fem's own form language on quadratic triangles; pretension is an axial eigenstrain in a length of shank
(equal to an overlap by Saint-Venant's principle, not by construction); all unknowns go through one sparse Newton;
the gasket laws are the scalar ones of the model. What both sides share is the reading of the joint file.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriP0, ElementTriP2, ElementVector, LinearForm, MeshTri
from skfem.helpers import grad

from headjoint.cases.load_cases.solved import solve_joint
from headjoint.meshes.solid.gmsh_session import gmsh_session
from headjoint.model.joint import Joint, Zone, bearing_ring, washer_ring
from headjoint.model.load_case import LoadCase
from headjoint.model.reading.reading import read_joint
from headjoint.postproc.joint.findings import state_findings
from validation.check import Check
from validation.joints import joint_files

JOINT = "boosted-four-composite"
SIZE, LARGEST = 0.6, 4.0  # mm
CONTACT = 1e7  # MPa/mm
PARTS = ("fastener", "nut", "washer", "head", "block")
GAUSS = np.array([-math.sqrt(0.6), 0.0, math.sqrt(0.6)])
GAUSS_WEIGHT = np.array([5.0, 8.0, 5.0]) / 9.0
EDGE = np.column_stack([GAUSS * (GAUSS - 1) / 2, GAUSS * (GAUSS + 1) / 2, 1 - GAUSS**2])


def checks() -> list[Check]:
    joint = read_joint(joint_files()[JOINT])
    other = FreeMeshJoint(joint).run()
    solved = solve_joint(joint)
    source = "free triangles, eigenstrain pretension, full sparse Newton (validation/free_mesh.py)"
    reason = "both meshes"
    found = [
        Check(
            "compliance of the joint",
            source,
            other.compliance * 1e6,
            solved.nominal.cut_compliance * 1e6,
            0.002,
            "um/kN",
            reason,
        )
    ]
    for state, there in zip(state_findings(solved.nominal), other.states, strict=True):
        found.append(
            Check(
                f"fastener force, {state.name}",
                source,
                there.force / 1e3,
                state.fastener_force / 1e3,
                0.001,
                "kN",
                reason,
            )
        )
        found.append(
            Check(
                f"sealing-line pressure, {state.name}",
                source,
                there.sealing_pressure,
                state.sealing_pressure,
                0.005,
                "MPa",
                reason,
            )
        )
        if state.load_factor is not None and there.load_factor is not None:
            found.append(
                Check(f"load factor, {state.name}", source, there.load_factor, state.load_factor, 0.005, "", reason)
            )
    return found


@dataclass(frozen=True)
class FreeState:
    name: str
    force: float
    sealing_pressure: float
    load_factor: float | None


@dataclass(frozen=True)
class FreeHistory:
    compliance: float
    states: list[FreeState]


@BilinearForm
def stiffness(u, v, w):
    r, du, dv = w.x[0], grad(u), grad(v)
    trace_u, trace_v = du[0, 0] + du[1, 1] + u[0] / r, dv[0, 0] + dv[1, 1] + v[0] / r
    shear = (du[0, 1] + du[1, 0]) * (dv[0, 1] + dv[1, 0])
    direct = du[0, 0] * dv[0, 0] + du[1, 1] * dv[1, 1] + u[0] * v[0] / r**2
    return 2 * np.pi * r * (w["lame"] * trace_u * trace_v + w["shear"] * (2 * direct + shear))


@LinearForm
def thermal(v, w):
    r, dv = w.x[0], grad(v)
    return 2 * np.pi * r * (3 * w["lame"] + 2 * w["shear"]) * w["strain"] * (dv[0, 0] + dv[1, 1] + v[0] / r)


@LinearForm
def axial_eigenstrain(v, w):
    r, dv = w.x[0], grad(v)
    trace = dv[0, 0] + dv[1, 1] + v[0] / r
    return 2 * np.pi * r * w["strain"] * (w["lame"] * trace + 2 * w["shear"] * dv[1, 1])


class FreeMeshJoint:
    """The joint on its free mesh, with assembled matrices and interface operators."""

    def __init__(self, joint: Joint) -> None:
        self.joint = joint
        self.top = joint.gasket.thickness + joint.head.height
        self.bearing = self.top + (joint.washer.thickness if joint.washer else 0.0)
        self.heights = (0.0, joint.gasket.thickness, self.top, self.bearing)
        self.rings = [d / 2 for zone in joint.gasket.zones for d in (zone.inner_diameter, zone.outer_diameter)]
        self.nut_ring = tuple(d / 2 for d in bearing_ring(joint))
        self._mesh()
        self._assemble()
        self._interfaces()

    # -- mesh ---------------------------------------------------------------------------------------------

    def _lower_rectangles(self) -> list[tuple[float, float, float, float]]:
        """Return r0, r1, z0, z1 of block, stud and nut, which are one body."""
        fastener, block, seat = self.joint.fastener, self.joint.block, self.joint.seat
        bonded, edge = fastener.bonded_diameter / 2, block.outer_diameter / 2
        top = -block.counterbore_depth
        bottom = top - fastener.engagement
        found = [(0.0, edge, -block.height, bottom - block.hole_below)]
        if block.hole_below > 0.0:
            found.append((bonded, edge, bottom - block.hole_below, bottom))
        found += [(bonded, edge, bottom, top), (0.0, bonded, bottom, top)]
        if block.counterbore_depth > 0.0:
            found.append((block.counterbore_diameter / 2, edge, top, 0.0))
        z = self.bearing
        longest = max(fastener.segments, key=lambda segment: segment.length)
        for segment in fastener.segments:
            low, r = z - segment.length, segment.diameter / 2
            cuts = [low, z]
            if segment is longest:
                middle, half = (low + z) / 2, 0.15 * segment.length
                self.strained = (middle - half, middle + half)
                cuts = [low, *self.strained, z]
            found += [(0.0, r, a, b) for a, b in zip(cuts, cuts[1:], strict=False)]
            z = low
        nut = fastener.nut_bonded_diameter / 2 if fastener.kind == "stud" else 0.0
        found.append((nut, seat.outer_diameter / 2, self.bearing, self.bearing + seat.height))
        if nut:
            found.append((0.0, nut, self.bearing, self.bearing + seat.height))
        if fastener.protrusion > 0.0:
            high = self.bearing + seat.height
            found.append((0.0, nut, high, high + fastener.protrusion))
        return found

    def _mesh(self) -> None:
        joint = self.joint
        gas = [] if joint.gas is None else [joint.gas.inner_diameter / 2, joint.gas.outer_diameter / 2]
        washer_radii = [d / 2 for d in washer_ring(joint)] if joint.washer else []
        head = (joint.head.hole_diameter / 2, joint.head.outer_diameter / 2, joint.gasket.thickness, self.top)
        bodies = [
            (
                self._lower_rectangles(),
                [(r, 0.0) for r in self.rings + gas] + [(r, self.bearing) for r in self.nut_ring],
            )
        ]
        on_head = [(r, self.top) for r in (washer_radii or self.nut_ring)]
        bodies.append(([head], [(r, joint.gasket.thickness) for r in self.rings + gas] + on_head))
        if joint.washer:
            rectangle = (joint.washer.inner_diameter / 2, joint.washer.outer_diameter / 2, self.top, self.bearing)
            on_washer = [(r, self.top) for r in washer_radii] + [(r, self.bearing) for r in self.nut_ring]
            bodies.append(([rectangle], on_washer))
        with gmsh_session("free mesh") as gmsh:
            occ, body_of = gmsh.model.occ, {}
            for number, (rectangles, points) in enumerate(bodies):
                sheets = [(2, occ.addRectangle(r0, z0, 0, r1 - r0, z1 - z0)) for r0, r1, z0, z1 in rectangles]
                pieces, _ = occ.fragment(sheets, [(0, occ.addPoint(r, z, 0)) for r, z in points])
                body_of.update({tag: number for dim, tag in pieces if dim == 2})
            occ.synchronize()
            gmsh.option.setNumber("Mesh.MeshSizeExtendFromBoundary", 0)
            gmsh.option.setNumber("Mesh.MeshSizeFromPoints", 0)
            gmsh.model.mesh.setSizeCallback(self._size)
            for _, curve in gmsh.model.getEntities(1):
                r0, z0, _, r1, z1, _ = gmsh.model.getBoundingBox(1, curve)
                if z1 - z0 < 1e-5 and min(abs((z0 + z1) / 2 - z) for z in self.heights) < 1e-5:
                    # equal division on both faces, so that they can be paired
                    gmsh.model.mesh.setTransfiniteCurve(curve, max(2, math.ceil((r1 - r0) / (0.5 * SIZE))) + 1)
            gmsh.model.mesh.generate(2)
            tags, xyz, _ = gmsh.model.mesh.getNodes()
            number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
            number[tags.astype(int)] = np.arange(len(tags))
            triangles, owner = [], []
            for _, surface in gmsh.model.getEntities(2):
                _, _, nodes = gmsh.model.mesh.getElements(2, surface)
                triangles.append(number[nodes[0].astype(int)].reshape(-1, 3).T)
                owner += [body_of[surface]] * triangles[-1].shape[1]
        used, connectivity = np.unique(np.hstack(triangles), return_inverse=True)
        points = np.ascontiguousarray(xyz.reshape(-1, 3)[used, :2].T)
        self.mesh = MeshTri(points, np.ascontiguousarray(connectivity.reshape(3, -1)))
        self.body = np.array(owner)
        self.part = self._parts()

    def _size(self, dim: int, tag: int, r: float, z: float, _: float, given: float) -> float:
        edges = [
            self.joint.head.hole_diameter / 2,
            self.joint.fastener.bonded_diameter / 2,
            *self.rings,
            *self.nut_ring,
        ]
        levels = (*self.heights, -self.joint.block.counterbore_depth)
        away = 0.25 * min(abs(z - level) for level in levels) + 0.12 * min(abs(r - edge) for edge in edges)
        return min(SIZE + away, LARGEST)

    def _parts(self) -> np.ndarray:
        r, z = self.mesh.p[:, self.mesh.t].mean(axis=1)
        fastener, block = self.joint.fastener, self.joint.block
        top = -block.counterbore_depth
        free = (z > top) & (z < self.bearing) & (r < max(s.diameter for s in fastener.segments) / 2)
        engaged = (z < top) & (z > top - fastener.engagement) & (r < fastener.bonded_diameter / 2)
        above = (z > self.bearing) & (r < fastener.nut_bonded_diameter / 2) & (fastener.kind == "stud")
        lower = np.where(free | engaged | above, 0, np.where(z > self.bearing, 1, 4))
        return np.select([self.body == 1, self.body == 2], [3, 2], lower)

    # -- matrices -----------------------------------------------------------------------------------------

    def _assemble(self) -> None:
        joint, at = self.joint, self.joint.assembly_temperature
        self.used = [PARTS[index] for index in np.unique(self.part)]
        materials = {name: joint.part_material(name) for name in self.used}
        E = np.array([materials[PARTS[index]].E.at(at) for index in self.part])
        nu = np.array([materials[PARTS[index]].nu for index in self.part])
        self.basis = Basis(self.mesh, ElementVector(ElementTriP2()), intorder=4)
        flat = self.basis.with_element(ElementTriP0())
        fields = {
            "lame": flat.interpolate(E * nu / ((1 + nu) * (1 - 2 * nu))),
            "shear": flat.interpolate(E / (2 * (1 + nu))),
        }
        self.K = stiffness.assemble(self.basis, **fields)
        z = self.mesh.p[1][self.mesh.t].mean(axis=0)
        low, high = self.strained
        strained = ((self.part == 0) & (z > low) & (z < high)).astype(float)
        self.pull = axial_eigenstrain.assemble(self.basis, strain=flat.interpolate(-strained / (high - low)), **fields)
        self.heat = {
            name: thermal.assemble(
                self.basis, strain=flat.interpolate((self.part == PARTS.index(name)).astype(float)), **fields
            )
            for name in self.used
        }
        place, n = self.basis.doflocs, self.basis.N
        axial = np.zeros(n, dtype=bool)
        axial[self.basis.nodal_dofs[1]] = True
        axial[self.basis.facet_dofs[1]] = True
        held = axial & (np.abs(place[1] + joint.block.height) < 1e-6)
        self.free = np.flatnonzero(~(held | (~axial & (np.abs(place[0]) < 1e-9))))

    def _facets(self, height: float, ring: tuple[float, ...], body: int) -> np.ndarray:
        r, z = self.mesh.p[0][self.mesh.facets], self.mesh.p[1][self.mesh.facets]
        at = (
            (np.abs(z - height) < 1e-6).all(axis=0)
            & (r.min(axis=0) > ring[0] - 1e-6)
            & (r.max(axis=0) < ring[1] + 1e-6)
        )
        neighbours = self.mesh.f2t
        own = ((self.body[neighbours] == body) & (neighbours >= 0)).any(axis=0)
        facets = np.flatnonzero(at & own)
        return facets[np.argsort(r[:, facets].mean(axis=0))]

    def _edge_unknowns(self, facet: int) -> list[int]:
        ends = self.mesh.facets[:, facet]
        low, high = ends[np.argsort(self.mesh.p[0, ends])]
        return [self.basis.nodal_dofs[1, low], self.basis.nodal_dofs[1, high], self.basis.facet_dofs[1, facet]]

    def _interfaces(self) -> None:
        joint = self.joint
        stack = [(self.bearing, self.bearing, self.nut_ring, 2 if joint.washer else 1, 0, None)]
        if joint.washer:
            stack.append((self.top, self.top, tuple(d / 2 for d in washer_ring(joint)), 1, 2, None))
        for zone in joint.gasket.zones:
            ring = (zone.inner_diameter / 2, zone.outer_diameter / 2)
            stack.append((0.0, joint.gasket.thickness, ring, 0, 1, zone))
        rows, columns, values = [], [], []
        self.weight, self.radius, self.zone = [], [], []
        for low, high, ring, below, above, zone in stack:
            lower, upper = self._facets(low, ring, below), self._facets(high, ring, above)
            for a, b in zip(lower, upper, strict=True):
                first = len(self.weight)
                for facet, sign in ((a, 1.0), (b, -1.0)):
                    for node, unknown in enumerate(self._edge_unknowns(facet)):
                        rows += [first, first + 1, first + 2]
                        columns += [unknown] * 3
                        values += list(sign * EDGE[:, node])
                r0, r1 = np.sort(self.mesh.p[0, self.mesh.facets[:, a]])
                r = (r0 + r1) / 2 + (r1 - r0) / 2 * GAUSS
                self.weight += list(2 * np.pi * r * (r1 - r0) / 2 * GAUSS_WEIGHT)
                self.radius += list(r)
                self.zone += [zone] * 3
        self.B = sp.csr_matrix((values, (rows, columns)), shape=(len(self.weight), self.basis.N))
        self.weight, self.radius = np.array(self.weight), np.array(self.radius)
        self.on_gasket = np.array([zone is not None for zone in self.zone])
        self.gas = np.zeros(self.basis.N)
        if joint.gas is not None:
            ring = (joint.gas.inner_diameter / 2, joint.gas.outer_diameter / 2)
            faces = [(1.0, facet) for facet in self._facets(joint.gasket.thickness, ring, 1)]
            if joint.gas.on_block:
                faces += [(-1.0, facet) for facet in self._facets(0.0, ring, 0)]
            for sign, facet in faces:
                r0, r1 = np.sort(self.mesh.p[0, self.mesh.facets[:, facet]])
                r = (r0 + r1) / 2 + (r1 - r0) / 2 * GAUSS
                share = 2 * np.pi * r * (r1 - r0) / 2 * GAUSS_WEIGHT @ EDGE / joint.gas.ring_area
                np.add.at(self.gas, self._edge_unknowns(facet), sign * share)

    # -- solution -----------------------------------------------------------------------------------------

    def _pressure(self, closure: np.ndarray, sets: np.ndarray, temperature: float) -> np.ndarray:
        return np.array(
            [
                max(0.0, CONTACT * c) if zone is None else zone.law.pressure(c - zone.step, s, temperature)
                for c, s, zone in zip(closure, sets, self.zone, strict=True)
            ]
        )

    def solve(self, overlap: float, case: LoadCase, u: np.ndarray, sets: np.ndarray, gas: float = 1.0):
        """Return displacement, closure, pressure and fastener force of one state."""
        joint, temperature = self.joint, case.temperatures["gasket"]
        load = overlap * self.pull + gas * case.gas_force * self.gas
        for name in self.used:
            strain = joint.part_material(name).free_strain(case.temperatures[name], joint.assembly_temperature)
            load = load + strain * self.heat[name]
        growth = self.on_gasket * joint.gasket.expansion * joint.gasket.thickness
        growth = growth * (temperature - joint.assembly_temperature)

        def residual(at: np.ndarray):
            closure = self.B @ at + growth
            p = self._pressure(closure, sets, temperature)
            return self.K @ at - load + self.B.T @ (self.weight * p), closure, p

        for step in range(60):
            R, closure, p = residual(u)
            if step and np.abs(R[self.free]).max() < 1e-7 * float(self.weight @ p):
                force = float(self.weight[self.on_gasket] @ p[self.on_gasket]) + gas * case.gas_force
                return u, closure, p, force
            slope = (self._pressure(closure + 1e-8, sets, temperature) - p) / 1e-8
            tangent = self.K + self.B.T @ sp.diags(self.weight * np.maximum(slope, 1e-2)) @ self.B
            direction = np.zeros(self.basis.N)
            direction[self.free] = -splu(tangent[self.free][:, self.free].tocsc()).solve(R[self.free])
            length, start = 1.0, float(direction @ R)
            for _ in range(12):
                ahead = float(direction @ residual(u + length * direction)[0])
                if ahead <= 0.0 or abs(ahead) < 0.5 * abs(start):
                    break
                length *= 0.5 if abs(ahead) > abs(start) else start / (start - ahead)
            u = u + length * direction
        raise RuntimeError(f"{case.name} did not converge")

    def _locked(self, total: float, force: float, case: LoadCase, u: np.ndarray, sets: np.ndarray, gas: float = 1.0):
        """Return the state whose overlap and thread-tooth stretch add up to `total`."""
        series = self.joint.fastener.meshed_compliance
        for _ in range(12):
            u, closure, p, new = self.solve(total - series * force, case, u, sets, gas)
            if abs(new - force) < 1e-8 * abs(new):
                break
            force = new
        return u, closure, p, new

    def run(self) -> FreeHistory:
        joint = self.joint
        series, wanted, case = joint.fastener.meshed_compliance, joint.tightening.preload, joint.load_cases[0]
        sets, u = np.zeros(len(self.weight)), np.zeros(self.basis.N)
        before, force_before, overlap = 0.0, 0.0, 9e-6 * wanted
        for _ in range(20):
            u, closure, p, force = self.solve(overlap, case, u, sets)
            if abs(force / wanted - 1.0) < 1e-8:
                break
            step = (wanted - force) * (overlap - before) / (force - force_before)
            before, force_before, overlap = overlap, force, overlap + step
        more = self.solve(1.001 * overlap, case, u, sets)[3]
        compliance = 0.001 * overlap / (more - force) + series
        total = overlap + series * force - joint.tightening.embedding
        sets = self._grown(closure, sets, case)
        states = [FreeState(case.name, force, self._sealing(p), None)]
        cases = list(joint.load_cases[1:])
        if joint.tightening.embedding > 0.0:
            cases.insert(0, dataclasses.replace(case, name="settled"))
        for case in cases:
            u, closure, p, force = self._locked(total, force, case, u, sets)
            sets = self._grown(closure, sets, case)
            factor = None
            if case.gas_force > 0.0:
                factor = (force - self._locked(total, force, case, u, sets, 0.0)[3]) / case.gas_force
            states.append(FreeState(case.name, force, self._sealing(p), factor))
        return FreeHistory(compliance, states)

    def _grown(self, closure: np.ndarray, sets: np.ndarray, case: LoadCase) -> np.ndarray:
        temperature = case.temperatures["gasket"]
        return np.array(
            [
                s if zone is None else zone.law.set_after(c - zone.step, s, temperature)
                for c, s, zone in zip(closure, sets, self.zone, strict=True)
            ]
        )

    def _sealing(self, p: np.ndarray) -> float:
        zone: Zone = self.joint.gasket.sealing_zone
        at = np.array([own is zone for own in self.zone])
        order = np.argsort(self.radius[at])
        return float(np.interp(zone.sealing_diameter / 2, self.radius[at][order], p[at][order]))
