"""Limits of the bore cell: elements against closed form, interfaces by patch tests, cells against each other."""

from __future__ import annotations

import math
import re

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.cell_interfaces import UNMATCHED_POINTS, spread
from headjoint.cases.elements.solid import SolidBody, face_points, isotropic_stiffness
from headjoint.cases.load_cases.load_history import History, run
from headjoint.cases.load_cases.solved import solve_joint
from headjoint.cases.models.condensed import BoreCell, condensed_cell
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.hexahedra import ABOVE, BELOW, SIDES, stack
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.joint.findings import state_findings
from validation.check import Check

COARSE = '\n[mesh]\nring_size = "9 mm"\nstud_size = "9 mm"\nlargest = "25 mm"\n'
SQUARE = '\n[mesh]\nring_size = "4 mm"\nstud_size = "4 mm"\nlargest = "14 mm"\n'


def checks() -> list[Check]:
    return [*thick_cylinder(), *clamped_disc(), *patch(), *cell_and_axisymmetric_joint(), *bank_and_sector()]


def polar_plan(inner: float, outer: float, radial: int, around: int, angle: float = math.pi / 2) -> PlanMesh:
    """Return a sector of a ring (mm) in eight-node quadrilaterals."""
    points: list[tuple[float, float]] = []
    number: dict[tuple[int, int], int] = {}
    quads = []

    def node(i: int, j: int) -> int:
        if (i, j) not in number:
            r, t = inner + (outer - inner) * i / (2 * radial), angle * j / (2 * around)
            number[i, j] = len(points)
            points.append((r * math.cos(t), r * math.sin(t)))
        return number[i, j]

    for i in range(0, 2 * radial, 2):
        for j in range(0, 2 * around, 2):
            corners = [(i, j), (i + 2, j), (i + 2, j + 2), (i, j + 2)]
            middles = [(i + 1, j), (i + 2, j + 1), (i + 1, j + 2), (i, j + 1)]
            quads.append([node(*place) for place in corners + middles])
    return PlanMesh(np.array(points).T, np.array(quads).T)


def body_over(plan: PlanMesh, heights: np.ndarray, E: float = 70e3, nu: float = 0.3) -> SolidBody:
    """Return one elastic body stacked through heights (mm)."""
    columns = plan.quads.shape[1]
    stacked = stack(plan, heights, np.zeros((columns, len(heights) - 1), dtype=int), np.zeros(1, dtype=int))
    D = np.repeat(isotropic_stiffness(np.array([E]), np.array([nu])), stacked.cells.shape[1], axis=0)
    return SolidBody(stacked.points, stacked.cells, D)


def horizontal_faces(body: SolidBody, height: float) -> np.ndarray:
    """Return the faces (8, f) of a body that lie at a height."""
    for local in (BELOW, ABOVE):
        at = np.flatnonzero(np.abs(body.points[2, body.cells[local]] - height).max(axis=0) < 1e-9)
        if at.size:
            return body.cells[np.ix_(local, at)]
    raise ValueError(f"no faces at {height}")


def pressed(body: SolidBody, faces: np.ndarray, force: np.ndarray, shape: np.ndarray) -> np.ndarray:
    """Return the nodal load of forces (3, f, q) at the Gauss points of faces."""
    load = np.zeros(body.unknowns)
    for component in range(3):
        np.add.at(load, 3 * faces + component, np.einsum("fq,qk->kf", force[component], shape))
    return load


def solved(matrix: sp.csr_matrix, load: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Return displacements (n, 3) with the unknowns `held` at zero."""
    free = np.setdiff1d(np.arange(len(load)), held)
    u = np.zeros(len(load))
    u[free] = spsolve(matrix[free][:, free].tocsc(), load[free])
    return u.reshape(-1, 3)


def quarter(body: SolidBody) -> np.ndarray:
    """Return the unknowns that the planes x = 0 and y = 0 hold."""
    x, y, _ = body.points
    return np.concatenate([3 * np.flatnonzero(x < 1e-9), 3 * np.flatnonzero(y < 1e-9) + 1])


def thick_cylinder() -> list[Check]:
    """A bore wall under gas pressure, plane strain."""
    a, b, E, nu, p = 43.0, 55.0, 70e3, 0.3, 10.0
    body = body_over(polar_plan(a, b, 3, 8), np.array([0.0, 6.0]), E, nu)
    x, y, _ = body.points
    inner = SIDES[3]
    on_bore = np.flatnonzero(np.abs(np.hypot(*body.points[:2][:, body.cells[inner]]) - a).max(axis=0) < 1e-9)
    faces = body.cells[np.ix_(inner, on_bore)]
    gauss = face_points(body.points, faces)
    outward = np.sign((gauss.places[:2] * gauss.area[:2]).sum(axis=0))
    load = pressed(body, faces, p * gauss.area * outward, gauss.shape)
    matrix, _ = body.stiffness_and_free_strain()
    u = solved(matrix, load, np.concatenate([quarter(body), 3 * np.arange(len(x)) + 2]))
    source = "Lame: u_r = (1+nu)/E p a2/(b2-a2) ((1-2nu) r + b2/r), Timoshenko & Goodier, art. 28 (formula from memory)"
    found = []
    for r, place in ((a, "bore"), (b, "outside")):
        at = np.flatnonzero((np.abs(np.hypot(x, y) - r) < 1e-9) & (y < 1e-9))
        exact = (1 + nu) / E * p * a**2 / (b**2 - a**2) * ((1 - 2 * nu) * r + b**2 / r)
        found.append(
            Check(f"thick bore wall, growth of the {place}", source, exact * 1e3, u[at, 0].mean() * 1e3, 1e-3, "um")
        )
    return found


def clamped_disc() -> list[Check]:
    """A fire deck as a clamped disc under gas pressure."""
    R, t, E, nu, p = 43.0, 3.0, 70e3, 0.3, 0.5
    body = body_over(polar_plan(1e-3, R, 40, 6), np.linspace(0.0, t, 5), E, nu)
    x, y, z = body.points
    r = np.hypot(x, y)
    rim = np.flatnonzero(r > R - 1e-6)
    below = horizontal_faces(body, 0.0)
    gauss = face_points(body.points, below)
    up = np.stack([np.zeros_like(gauss.weight), np.zeros_like(gauss.weight), p * gauss.weight])
    matrix, _ = body.stiffness_and_free_strain()
    held = np.concatenate([quarter(body), *(3 * rim + component for component in range(3))])
    u = solved(matrix, pressed(body, below, up, gauss.shape), held)
    D = E * t**3 / (12 * (1 - nu**2))
    exact = p * R**4 / (64 * D) + p * R**2 / (4 * (5 / 6) * E / (2 * (1 + nu)) * t)
    middle = np.flatnonzero(np.isclose(z, t / 2))
    computed = u[middle[np.argmin(r[middle])], 2]
    source = "p R4/(64 D), Timoshenko & Woinowsky-Krieger, art. 17, and p R2/(4 k G t) of shear, k = 5/6 (from memory)"
    reason = "three dimensions at the clamped rim: 0.8 % at 20 elements along the radius, 0.4 % at 40"
    return [Check("clamped disc under pressure, rise of its middle", source, exact, computed, 0.01, "mm", reason)]


def patch() -> list[Check]:
    """Uniform pressure through deck, gasket springs and head, faces matching and not."""
    slope, p, E = 400.0, 30.0, 70e3
    source = "uniform pressure stays uniform (statics)"
    found = []
    for above, tolerance, words in (((3, 5), 1e-6, "matching"), ((4, 7), 2e-3, "unmatched")):
        lower = body_over(polar_plan(20.0, 40.0, 3, 5), np.array([-10.0, -4.0, 0.0]), E, 0.0)
        upper = body_over(polar_plan(20.0, 40.0, *above), np.array([1.0, 6.0, 12.0]), E, 0.0)
        pressure = _pressed_together(lower, upper, slope, p, None if words == "matching" else UNMATCHED_POINTS)
        reason = (
            "" if words == "matching" else "quadrature on one face only, edges of the other cut through its elements"
        )
        for kind, value in (("least", pressure.min()), ("greatest", pressure.max())):
            quantity = f"patch test, {words} faces: {kind} pressure in the gasket"
            found.append(Check(quantity, source, p, float(value), tolerance, "MPa", reason))
    return found


def _pressed_together(lower: SolidBody, upper: SolidBody, slope: float, p: float, even: int | None) -> np.ndarray:
    """Return the pressures at the quadrature points between two bodies pressed together by `p`."""
    n = lower.points.shape[1]
    points = np.hstack([lower.points, upper.points])
    below, above = horizontal_faces(lower, 0.0), n + horizontal_faces(upper, 1.0)
    top = n + horizontal_faces(upper, 12.0)
    gauss = face_points(points, below, even)
    at, weight = gauss.places[:2].reshape(2, -1), np.abs(gauss.area[2]).ravel()
    first = spread(below, gauss.shape, points.shape[1])
    if even is None:
        second, both = spread(above, gauss.shape, points.shape[1]), np.ones(len(weight), dtype=bool)
    else:
        second, both = FaceSearch(points, above).operator(at, points.shape[1])
    vertical = sp.csr_matrix(
        (np.ones(points.shape[1]), (np.arange(points.shape[1]), 3 * np.arange(points.shape[1]) + 2))
    )
    closure = ((first - second)[both] @ vertical).tocsr()
    weight = weight[both]
    K = sp.block_diag([lower.stiffness_and_free_strain()[0], upper.stiffness_and_free_strain()[0]])
    K = (K + closure.T @ closure.multiply((slope * weight)[:, None])).tocsr()
    whole = SolidBody(points, np.hstack([lower.cells, n + upper.cells]), np.concatenate([lower.D, upper.D]))
    crown = face_points(points, top)
    down = np.stack([np.zeros_like(crown.weight), np.zeros_like(crown.weight), -p * crown.weight])
    foot = np.flatnonzero(points[2] < -10.0 + 1e-9)
    u = solved(K, pressed(whole, top, down, crown.shape), np.concatenate([quarter(whole), 3 * foot + 2]))
    return slope * (closure @ u.ravel())


def history(text: str) -> History[BoreCell]:
    """Return the history of a cell file's text."""
    cell = parse_cell(text)
    model = cell_model(cell, build_cell(cell))
    return run(condensed_cell(model, condense_cell(model)))


def cell_and_axisymmetric_joint() -> list[Check]:
    """The ring of six studs against one stud's share of it as an axisymmetric joint: no bridge, little bending."""
    ring = history(shipped_cells()["six-stud-ring"].read_text("utf-8") + COARSE)
    alone = state_findings(solve_joint(ring.model.joint).nominal)
    source = "one stud's share of the cell as an axisymmetric joint (headjoint's other elements and condensation)"
    reason = "the ring's head is hollow, the axisymmetric one solid"
    return [
        Check(
            f"stud force of the six-stud ring, {state.name}",
            source,
            single.fastener_force / 1e3,
            float(state.force.mean()) / 1e3,
            0.02,
            "kN",
            reason,
        )
        for state, single in zip(ring.states[1:], alone[1:], strict=True)
    ]


def bank_and_sector() -> list[Check]:
    """Four studs round one bore: as a bank of square tiles, and as a ring whose circle has the area of the square."""
    side, circle = 184.0, 142.0
    text = shipped_cells()["six-stud-ring"].read_text("utf-8").replace('bridge_wall = "8 mm"', "bridge_wall = 0")
    layout = re.search(r"\[layout\].*?\n\n", text, re.DOTALL)
    assert layout is not None
    place = circle / 2.0 / math.sqrt(2.0)
    outer = 2.0 * side / math.sqrt(math.pi)
    ring = f'kind = "ring"\nbore = 86\nnumber = 4\nstud_circle = {circle}\nouter_diameter = {outer}'
    bank = f'kind = "bank"\nbore = 86\npitch = {side}\nhalf_width = {side / 2}\n'
    bank += f"studs = [{{ x = {place}, y = {place} }}]"
    sector, square = (history(text.replace(layout[0], f"[layout]\n{words}\n\n") + SQUARE) for words in (ring, bank))
    source = "the same four studs as a sector of a ring (headjoint, other tile, other planes of symmetry)"
    reason = "the square's sides stay plane, the circle is free; under gas they bend differently, not compared"
    found = []
    for one, other in zip(square.states, sector.states, strict=True):
        if one.case.gas_pressure > 0.0:
            continue
        line, there = (
            state.equilibrium.pressure[of.model.points.lines[0].at] for state, of in ((one, square), (other, sector))
        )
        figures = {
            "stud force": (other.force[0] / 1e3, one.force[0] / 1e3, "kN"),
            "mean sealing-line pressure": (there.mean(), line.mean(), "MPa"),
            "least sealing-line pressure": (there.min(), line.min(), "MPa"),
        }
        for quantity, (expected, computed, unit) in figures.items():
            found.append(
                Check(f"{quantity} of the square bank, {one.name}", source, expected, computed, 0.01, unit, reason)
            )
    return found
