"""Published checks of the axisymmetric elements: cylinders, heat, thick plates, contact, member stiffness."""

from __future__ import annotations

import math

import numpy as np
from skfem import MeshQuad

from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.cases.condensed.reduced_joint import Demand, Equilibrium, ReducedJoint, solve
from headjoint.cases.elements.axisymmetric import ElasticBody, axial_pressure_load, elastic_body, facet_row
from headjoint.cases.elements.linear_solver import Factorization, schur_complement
from headjoint.meshes.one_fastener.grading import graded_lines
from validation.check import Check

FINE = "finite elements on a fine mesh"


def checks() -> list[Check]:
    return [*lame(), *hot_cylinder(), *le11(), *thick_plate(), *unilateral_plates(), *member_stiffness()]


def grid(radii: np.ndarray, heights: np.ndarray) -> MeshQuad:
    """Return a rectangle mesh, element (i, j) numbered i (len(heights) - 1) + j."""
    rows = len(heights)
    points = np.stack([np.repeat(radii, rows), np.tile(heights, len(radii))])
    i, j = (index.ravel() for index in np.indices((len(radii) - 1, rows - 1)))
    corner = i * rows + j
    return MeshQuad(points, np.stack([corner, corner + rows, corner + rows + 1, corner + 1]))


def body_of(mesh: MeshQuad, E: float, nu: float) -> ElasticBody:
    m = mesh.nelements
    return elastic_body(mesh, np.full(m, E), np.full(m, nu))


def solved(body: ElasticBody, load: np.ndarray, fixed: np.ndarray) -> np.ndarray:
    """Return displacements with `fixed` unknowns held at zero."""
    matrix = body.matrix(body.element_stiffness())
    free = np.setdiff1d(np.arange(body.unknowns), fixed)
    displacement = np.zeros(body.unknowns)
    displacement[free] = Factorization(matrix[free][:, free]).solve(load[free])
    return displacement


def unknowns_at(body: ElasticBody, component: int, where) -> np.ndarray:
    """Return the unknowns of one component at places where `where(r, z)` holds."""
    return 2 * np.flatnonzero(where(*body.basis.doflocs)) + component


def stress_at(body: ElasticBody, stress: np.ndarray, element: int, r: float, z: float) -> np.ndarray:
    """Return stress at a place of an element, by a quadratic through its nine Gauss points."""
    x, y = body.basis.global_coordinates()[:, element]
    scale = max(np.ptp(x), np.ptp(y))

    def terms(a, b):
        a, b = (np.atleast_1d(a) - r) / scale, (np.atleast_1d(b) - z) / scale
        return np.stack([np.ones_like(a), a, b, a * b, a**2, b**2], axis=1)

    coefficients, *_ = np.linalg.lstsq(terms(x, y), stress[element], rcond=None)
    return coefficients[0]


def radial_pressure(body: ElasticBody, radius: float) -> np.ndarray:
    """Return the load of a unit pressure pushing outwards on the cylinder r = radius."""
    mesh = body.basis.mesh
    facets = np.flatnonzero((np.abs(mesh.p[0][mesh.facets] - radius) < 1e-9).all(axis=0))
    load = np.zeros(body.unknowns)
    for facet in facets:
        low, high = mesh.facets[:, facet]
        area = 2.0 * math.pi * radius * abs(mesh.p[1, high] - mesh.p[1, low])
        # Simpson's weights of a quadratic edge
        for unknown, share in (
            (body.basis.nodal_dofs[0, low], 1 / 6),
            (body.basis.nodal_dofs[0, high], 1 / 6),
            (body.basis.facet_dofs[0, facet], 4 / 6),
        ):
            load[2 * unknown] += share * area
    return load


def lame() -> list[Check]:
    """Thick cylinder a = 100, b = 200, p = 60, E = 210 GPa, nu = 0.3, free and held ends."""
    body = body_of(grid(np.linspace(100.0, 200.0, 25), np.linspace(0.0, 20.0, 3)), 210e3, 0.3)
    load = 60.0 * radial_pressure(body, 100.0)
    bottom = unknowns_at(body, 1, lambda r, z: z < 1e-9)
    ends = unknowns_at(body, 1, lambda r, z: (z < 1e-9) | (z > 20.0 - 1e-9))
    free, held = solved(body, load, bottom), solved(body, load, ends)
    stress = body.stress(held, np.zeros(body.D.shape[0]))
    inner = stress_at(body, stress, 0, 100.0, 5.0)
    outer = stress_at(body, stress, body.D.shape[0] - 1, 200.0, 15.0)
    at_bore = unknowns_at(body, 0, lambda r, z: (r < 100.0 + 1e-9) & (z < 1e-9))
    seen = "thick cylinder, open finite-element validation manual v3.04.130 (seen, recomputed)"
    formula = "Lame's formula (Timoshenko), recomputed"
    return [
        Check("hoop stress at the bore", seen, 100.0, inner[2], 0.005, "MPa", FINE),
        Check("hoop stress outside", seen, 40.0, outer[2], 0.005, "MPa", FINE),
        Check("radial stress at the bore", seen, -60.0, inner[0], 0.005, "MPa", FINE),
        Check("axial stress, held ends", formula, 12.0, inner[1], 0.005, "MPa", FINE),
        Check("bore growth, free ends", formula, 0.05619, free[at_bore][0], 0.001, "mm", FINE),
        Check("bore growth, held ends", formula, 0.05448, held[at_bore][0], 0.001, "mm", FINE),
    ]


def hot_cylinder() -> list[Check]:
    """Cylinder a = 1 in, b = 2 in, 10 degF hotter inside, free ends: hoop stress at both faces."""
    E, nu, alpha, psi = 3e7, 0.3, 6e-6, 1.0  # psi, in, degF
    body = body_of(grid(np.linspace(1.0, 2.0, 33), np.linspace(0.0, 12.0, 41)), E * psi, nu)
    r = body.basis.global_coordinates()[0]
    temperature = 10.0 * np.log(2.0 / r) / math.log(2.0)
    load = body.vector(body.element_thermal_load(alpha * temperature))
    bottom = unknowns_at(body, 1, lambda r, z: z < 1e-9)  # middle plane of a long cylinder
    stress = body.stress(solved(body, load, bottom), alpha * temperature)
    rows = 40
    source = "Roark's Formulas, cylinder with radial heat flow (seen, recomputed)"
    inside, outside = stress_at(body, stress, 0, 1.0, 0.15), stress_at(body, stress, 31 * rows, 2.0, 0.15)
    return [
        Check("hoop stress inside, 10 degF hotter", source, -1574.0, inside[2], 0.005, "psi", FINE),
        Check("hoop stress outside", source, 998.0, outside[2], 0.005, "psi", FINE),
    ]


def le11() -> list[Check]:
    """NAFEMS LE11: solid of revolution of cylinder, taper and sphere, T = r + z; lengths in m."""
    s = math.sqrt(0.5)

    def arc(radius, start, end, t):
        angle = np.radians(start + (end - start) * t)
        return np.stack([radius * np.cos(angle), radius * np.sin(angle)])

    def line(a, b, t):
        return np.outer(a, 1 - t) + np.outer(b, t)

    D, F, G = (1.4 * math.cos(math.pi / 6), 0.7), (1.1062, 1.045), (1.0, 1.39)
    F = ((D[0] + G[0]) / 2, (D[1] + G[1]) / 2)
    n, across = 24, 24
    inner, outer = [], []
    for k, (at_inner, at_outer) in enumerate(
        (
            (lambda t: arc(1.0, 0.0, 22.5, t), lambda t: arc(1.4, 0.0, 30.0, t)),
            (lambda t: arc(1.0, 22.5, 45.0, t), lambda t: line(D, F, t)),
            (lambda t: line((s, s), (s, 1.39), t), lambda t: line(F, G, t)),
            (lambda t: line((s, 1.39), (s, 1.79), t), lambda t: line(G, (1.0, 1.79), t)),
        )
    ):
        t = np.linspace(0.0, 1.0, n + 1)[(1 if k else 0) :]
        inner.append(at_inner(t))
        outer.append(at_outer(t))
    low, high = np.hstack(inner), np.hstack(outer)
    x = np.linspace(0.0, 1.0, across + 1)
    points = low[:, None, :] * (1 - x)[None, :, None] + high[:, None, :] * x[None, :, None]
    flat = grid(x, np.arange(low.shape[1], dtype=float))
    mesh = MeshQuad(points.reshape(2, -1), flat.t)
    body = body_of(mesh, 210e3, 0.3)
    place = body.basis.global_coordinates()
    free_strain = 2.3e-4 * (place[0] + place[1])
    load = body.vector(body.element_thermal_load(free_strain))
    ends = unknowns_at(body, 1, lambda r, z: (z < 1e-9) | (z > 1.79 - 1e-9))
    stress = body.stress(solved(body, load, ends), free_strain)
    at_A = stress_at(body, stress, 0, 1.0, 0.0)
    return [
        Check(
            "LE11: axial stress at A",
            "NAFEMS TNSB rev. 3 (1990), LE11 (seen, recomputed -105.09)",
            -105.0,
            at_A[1],
            0.02,
            "MPa",
            "96 x 24 elements with straight edges",
        )
    ]


def thick_plate() -> list[Check]:
    """Two thick plates glued at their middle plane, pressed over a circle: where the middle goes into tension."""
    source = "I. N. Sneddon (1946), thick plate by Hankel transform (recomputed from the integral)"
    radius_of = {0.5: 1.693, 1.0: 2.028, 2.0: 2.950}
    centre = {0.5: 0.471, 1.0: 0.963, 2.0: 1.062}
    found = []
    for a in radius_of:
        radii = graded_lines({0.0: 0.06, a: 0.04, radius_of[a]: 0.04, 9.0: 0.5}, 1.3, 0.5)
        heights = graded_lines({0.0: 0.03, 1.0: 0.06}, 1.3, 0.12)
        body = body_of(grid(radii, heights), 1000.0, 0.3)
        mesh = body.basis.mesh
        top = np.flatnonzero(
            (np.abs(mesh.p[1][mesh.facets] - 1.0) < 1e-9).all(axis=0) & (mesh.p[0][mesh.facets] < a + 1e-9).all(axis=0)
        )
        load = -axial_pressure_load(body.basis, top, body.unknowns)
        fixed = np.concatenate(
            [unknowns_at(body, 1, lambda r, z: z < 1e-9), unknowns_at(body, 0, lambda r, z: r < 1e-9)]
        )
        stress = body.stress(solved(body, load, fixed), np.zeros(mesh.nelements))
        rows = len(heights) - 1
        middle = (radii[1:] + radii[:-1]) / 2
        traction = np.array([stress_at(body, stress, i * rows, middle[i], 0.0)[1] for i in range(len(middle))])
        turn = int(np.flatnonzero((traction[:-1] < 0) & (traction[1:] > 0))[0])
        zero = np.interp(0.0, traction[turn : turn + 2], middle[turn : turn + 2])
        at_centre = stress_at(body, stress, 0, 0.0, 0.0)[1]
        found += [
            Check(f"r0/h where the glued middle lets go, a/h = {a}", source, radius_of[a], zero, 0.01, "", FINE),
            Check(f"middle pressure on the axis over p, a/h = {a}", source, centre[a], -at_centre, 0.01, "", FINE),
        ]
    return found


def two_plates(hole: float, ring: float) -> tuple[ReducedJoint, np.ndarray]:
    """Return two equal plates of unit height meeting without friction, and the load of a unit ring pressure."""
    outer = ring + 6.0
    start = 1.0 if hole == 0.0 else hole
    guess = {0.5: 1.2, 1.0: 1.52, 2.0: 2.44}[ring]
    radii = graded_lines({hole: 0.06, ring: 0.06, guess: 0.015, outer: 0.6 * start}, 1.25, 0.6)
    lines = graded_lines({0.0: 0.03, 1.0: 0.06}, 1.3, 0.12)
    plate = grid(radii, lines)
    n = plate.p.shape[1]
    points = np.hstack([plate.p * [[1.0], [-1.0]], plate.p])
    mesh = MeshQuad(points, np.hstack([plate.t[[0, 3, 2, 1]], plate.t + n]))
    body = body_of(mesh, 1000.0, 0.3)
    z, r = mesh.p[1][mesh.facets], mesh.p[0][mesh.facets]
    owner = mesh.f2t[0] < plate.nelements
    pressed = {
        sign: np.flatnonzero((np.abs(z - sign) < 1e-9).all(axis=0) & (r < ring + 1e-9).all(axis=0)) for sign in (-1, 1)
    }
    load = axial_pressure_load(body.basis, pressed[-1], body.unknowns) - axial_pressure_load(
        body.basis, pressed[1], body.unknowns
    )
    flat = (np.abs(z) < 1e-9).all(axis=0)
    lower, upper = (facet_row(body.basis, np.flatnonzero(flat & which)) for which in (owner, ~owner))
    order = [np.argsort(side.radius[:, 1]) for side in (lower, upper)]
    # both plates float; the far corner of the lower one is held, its reaction is zero by balance
    corner = unknowns_at(body, 1, lambda r, z: (r > outer - 1e-9) & (z < -1 + 1e-9))
    fixed = np.concatenate([corner, unknowns_at(body, 0, lambda r, z: r < 1e-9)])
    kept = 2 * np.unique(np.concatenate([lower.nodes, upper.nodes])) + 1
    inner = np.setdiff1d(np.arange(body.unknowns), np.concatenate([kept, fixed]))
    free = np.concatenate([inner, kept])
    import scipy.sparse as sp

    column = sp.csr_matrix(load[free][:, None])
    matrix = body.matrix(body.element_stiffness())[free][:, free]
    schur = schur_complement(
        sp.bmat([[matrix, column], [column.T, None]]).tocsr(), len(inner) + np.arange(len(kept) + 1)
    )
    rows, columns, values = [], [], []
    number = {int(unknown): index for index, unknown in enumerate(kept)}
    points_of = np.arange(lower.weight.size).reshape(-1, 3)
    for side, by, sign in ((lower, order[0], 1.0), (upper, order[1], -1.0)):
        for node in range(3):
            at = [number[int(unknown)] for unknown in 2 * side.nodes[by, node] + 1]
            rows.append(points_of.ravel())
            columns.append(np.repeat(at, 3))
            values.append(sign * np.tile(side.shape[:, node], len(at)))
    B = sp.csr_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(points_of.size, len(kept))
    )
    joint = ReducedJoint(
        K=schur[:-1, :-1],
        loads={"ring": schur[:-1, -1]},
        B=B,
        weight=lower.weight[order[0]].ravel(),
        radius=lower.radius[order[0]].ravel(),
        groups=(PointGroup("plates", "bearing", np.arange(points_of.size), BEARING),),
        overlaps=np.empty(0, dtype=np.int64),
        series_compliance=np.empty(0),
    )
    return joint, schur[:-1, -1]


def press(joint: ReducedJoint, load: np.ndarray, pressure: float) -> Equilibrium:
    demand = Demand(pressure * load, np.zeros(joint.points), 20.0, 1.0, force=np.empty(0))
    return solve(joint, demand, np.zeros(joint.points))


def separation_radius(joint: ReducedJoint, state: Equilibrium) -> float:
    """Return the radius midway between the last closed and the first open interface point."""
    last = int(np.flatnonzero(state.pressure > 0)[-1])
    return float(joint.radius[last : last + 2].mean())


def unilateral_plates() -> list[Check]:
    """Two equal plates, no friction, pressed on a circle: how far they stay in contact."""
    source = "two independent finite-element solutions, agreeing within 0.02 h (computed, not published)"
    law = "contact extent does not depend on load (T. Temitope, PhD Sheffield 2015, after Gould and Mikic 1972; seen)"
    found = []
    for ring, radius in {0.5: 1.205, 1.0: 1.52, 2.0: 2.44}.items():
        joint, load = two_plates(0.0, ring)
        once, twice = press(joint, load, 1.0), press(joint, load, 2.0)
        r_1, r_2 = separation_radius(joint, once), separation_radius(joint, twice)
        force = float(joint.weight @ once.pressure)
        found += [
            Check(
                f"separation radius over height, pressed to B/h = {ring}", source, radius, r_1, 0.03, "", "mesh-limited"
            ),
            Check(f"the same under twice the load, B/h = {ring}", law, r_1, r_2, 0.001, "", "a law of linear contact"),
            Check(f"contact force, B/h = {ring}", "statics", math.pi * ring**2, force, 1e-8, ""),
        ]
    return found


def member_stiffness() -> list[Check]:
    """Two equal wide steel plates under a washer face d to 1.5 d: stiffness against a published fit."""
    d, ratio = 10.0, 0.5
    height = d / ratio / 2.0
    E, nu = 207e3, 0.291
    radii = graded_lines({d / 2: 0.1, 0.75 * d: 0.1, 6 * d: 3.0}, 1.25, 4.0)
    heights = graded_lines({0.0: 0.5, height: 0.1}, 1.25, 1.0)
    body = body_of(grid(radii, heights), E, nu)
    mesh = body.basis.mesh
    r, z = mesh.p[0][mesh.facets], mesh.p[1][mesh.facets]
    facets = np.flatnonzero((np.abs(z - height) < 1e-9).all(axis=0) & (r < 0.75 * d + 1e-9).all(axis=0))
    # a stiff head presses its ring down evenly and lets it slide
    face = 2 * np.unique(facet_row(body.basis, facets).nodes) + 1
    matrix = body.matrix(body.element_stiffness())
    pressed = np.zeros(body.unknowns)
    pressed[face] = -1e-3
    fixed = np.concatenate([face, unknowns_at(body, 1, lambda r, z: z < 1e-9)])
    displacement = pressed + solved(body, -(matrix @ pressed), fixed)
    force = -float((matrix @ displacement)[face].sum())
    stiffness = force / (2.0 * 1e-3)
    return [
        Check(
            "k_m/(E d) of two equal plates, d/l = 0.5",
            "J. Wileman et al. 1991, ASME J. Mech. Des. 113, 432 (fit seen in Shigley table 8-8)",
            0.78715 * math.exp(0.62873 * ratio),
            stiffness / (E * d),
            0.05,
            "",
            "an exponential fit; its head sits between sliding (here) and stuck (2 % above the fit)",
        )
    ]
