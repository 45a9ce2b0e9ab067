"""A pressed bead's elements and steps at the order that theory knows: `python -m validation.bead_orders` prints tables.

Elements: a smooth large displacement is chosen, its stress follows from the law, and the nodal forces of that stress,
by far more Gauss points than elements have, load the mesh. What it then finds differs from what was chosen by the
error of its elements alone, which of quadratic ones falls with the third power of their size (G. Strang, G. J. Fix, An
Analysis of the Finite Element Method, 1973, ch. 3; from memory, high confidence).

Steps: an implicit step of plasticity errs by the first power of its length (J. C. Simo, T. J. R. Hughes, Computational
Inelasticity, 1998, ch. 3; from memory, high confidence). A point is strained along a circle, so that its direction
turns all the way, beside the same rate equations integrated in time by SciPy.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import scipy.sparse as sp
from scipy.integrate import solve_ivp
from scipy.sparse.linalg import splu

from headjoint.cases.bead.log_strain import log_strain, reference_stress
from headjoint.cases.bead.plasticity import METRIC, PlasticState, stepped, strength, virgin
from headjoint.cases.bead.sheet import Sheet
from headjoint.meshes.bead.strip import strip
from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.arrays import FloatArray, summed_at
from headjoint.model.base.errors import JointError
from headjoint.model.bead.hardening import Backstress, SpringSteel
from headjoint.model.bead.profile import cosine
from validation.check import Check

ELEMENTS, STEPS = 3.0, 1.0  # orders of theory, of displacement and of stress
ACROSS = (2, 4, 8, 16)  # elements across a strip as thick as its half is long
LENGTH, THICK, RISE, RADIUS = 2.0, 1.0, 0.2, 5.0  # mm
IN_STEPS = (20, 40, 80, 160)
ELASTIC = SpringSteel("elastic", 1000.0, 0.3, None)
# yields everywhere: in one step from nothing it is a smooth law, nearly incompressible
YIELDS = SpringSteel("yields", 1000.0, 0.3, 1.0, modulus=100.0)
TURNED = SpringSteel("turned", 200_000.0, 0.3, 400.0, saturation=100.0, rate=30.0,
                     backstresses=(Backstress(40_000.0, 200.0), Backstress(5_000.0, 0.0)))  # fmt: skip
CASES: dict[str, tuple[SpringSteel, float | None]] = {
    "elastic, plane": (ELASTIC, None),
    "elastic, a ring": (ELASTIC, RADIUS),
    "yielding, plane": (YIELDS, None),
    "yielding, a ring": (YIELDS, RADIUS),
}


def checks() -> list[Check]:
    source, why = "Strang and Fix 1973: the third power (from memory)", "two finite meshes are not the limit"
    found = [
        Check(f"order of displacement by elements, {name}", source, ELEMENTS, order(errors(name)), 0.1, "", why)
        for name in CASES
    ]
    why = "two finite steps are not the limit"
    source = "Simo and Hughes 1998: the first power (from memory); rate equations by SciPy"
    return [*found, Check("order of stress by steps of plasticity", source, STEPS, order(step_errors()), 0.1, "", why)]


def order(falling: Sequence[float]) -> float:
    """Return the power of a halved size by which the last error falls."""
    return math.log2(falling[-2] / falling[-1])


# --- elements


def errors(name: str, across: Sequence[int] = ACROSS) -> list[float]:
    """Errors of displacement on ever finer meshes, root of the mean square over the section, mm."""
    return [_error(name, number) for number in across]


def chosen(places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return displacement (n, 2) mm and its gradient (n, 2, 2) at places (n, 2): stretched, bent and turned."""
    x, y = places.T
    a, b, c, d = 1.3 * x + 0.2, 1.1 * y, 1.2 * x - 0.3, 0.9 * y + 0.4
    moved = np.column_stack([0.05 * x + 0.08 * np.sin(a) * np.cos(b), 0.10 * np.cos(c) * np.sin(d)])
    slope = np.empty((len(x), 2, 2))
    slope[:, 0, 0] = 0.05 + 0.08 * 1.3 * np.cos(a) * np.cos(b)
    slope[:, 0, 1] = -0.08 * 1.1 * np.sin(a) * np.sin(b)
    slope[:, 1, 0] = -0.10 * 1.2 * np.sin(c) * np.sin(d)
    slope[:, 1, 1] = 0.10 * 0.9 * np.cos(c) * np.cos(d)
    return moved, slope


def _error(name: str, across: int) -> float:
    steel, ring = CASES[name]
    mesh = strip(cosine("full", RISE, 2.0 * LENGTH), THICK, 0.0, LENGTH, size=THICK / across, through=across)
    sheet = Sheet(mesh, steel, ring)
    exact, _ = chosen(mesh.points)
    # as chosen all around: a free edge of what flows like this would neck
    rim = np.concatenate([mesh.first, mesh.last, mesh.lower, mesh.upper])
    held = np.concatenate([2 * rim, 2 * rim + 1])
    found = _solved(sheet, exact.ravel(), _load(sheet), np.setdiff1d(np.arange(sheet.unknowns), held))
    values, _, weight, places = _rule(sheet)
    there = np.einsum("qa,mai->mqi", values, found.reshape(-1, 2)[mesh.cells]).reshape(-1, 2)
    off = ((there - chosen(places.reshape(-1, 2))[0]) ** 2).sum(axis=1)
    return math.sqrt(float((off * weight.ravel()).sum() / weight.sum()))


def _rule(sheet: Sheet) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return values (q, 8), gradients (m, q, 8, 2), weights (m, q) mm2 and places (m, q, 2) at 5 x 5 Gauss points."""
    at, share = np.polynomial.legendre.leggauss(5)
    points = np.stack(np.meshgrid(at, at, indexing="ij"), axis=-1).reshape(-1, 2)
    values, natural = face_functions(points, 8)
    corners = sheet.mesh.points[sheet.mesh.cells]
    jacobian = np.einsum("mad,qae->mqde", corners, natural)
    weight = np.linalg.det(jacobian) * np.outer(share, share).ravel()
    return values, natural[None] @ np.linalg.inv(jacobian), weight, np.einsum("qa,mai->mqi", values, corners)


def _load(sheet: Sheet) -> FloatArray:
    """Return the forces (n,) N/mm by which nodes bear the stress of the chosen displacement."""
    values, gradients, weight, places = _rule(sheet)
    flat = places.reshape(-1, 2)
    moved, slope = chosen(flat)
    F = slope + np.eye(2)
    radius = np.full(len(flat), np.inf) if sheet.ring is None else sheet.ring + flat[:, 0]
    hoop = 1.0 + moved[:, 0] / radius
    log = log_strain(F, hoop)
    T = stepped(sheet.steel, log.strain, virgin(len(F), sheet.steel)).stress
    S = reference_stress(log, T)
    P = F @ np.stack([S[:, [0, 3]], S[:, [3, 1]]], axis=1)
    over = weight if sheet.ring is None else weight * radius.reshape(weight.shape) / sheet.ring
    P = P.reshape(*weight.shape, 2, 2) * over[..., None, None]
    force = np.einsum("mqij,mqaj->mai", P, gradients)
    around = (S[:, 2] * hoop / radius).reshape(weight.shape) * over
    force[:, :, 0] += np.einsum("mq,qa->ma", around, values)
    return summed_at(sheet.dofs.ravel(), force.reshape(len(force), 16).ravel(), sheet.unknowns)


def _solved(sheet: Sheet, start: FloatArray, load: FloatArray, free: FloatArray) -> FloatArray:
    u, memory = start.copy(), sheet.new()
    offsets = np.arange(sheet.band, -sheet.band - 1, -1)
    for _ in range(20):
        force, _, _, stiffness = sheet.forces(u, memory)
        if np.linalg.norm((force - load)[free]) < 1e-11 * np.linalg.norm(load):
            return u
        K = stiffness()
        sparse = sp.dia_array((K, offsets), shape=(sheet.unknowns, sheet.unknowns)).tocsc()
        u[free] -= splu(sparse[free][:, free].tocsc()).solve((force - load)[free])
    raise JointError("the chosen displacement is not found again")


# --- steps


def _strain(s: float) -> FloatArray:
    """Strain (11, 22, 33, 12) along the path: straight to s = 1, then half a circle round to s = 2, of one size."""
    size, angle = 0.01 * min(s, 1.0), math.pi * max(s - 1.0, 0.0)
    return size * np.array([math.cos(angle), -math.cos(angle), 0.0, 2.0 * math.sin(angle)])


def step_errors(numbers: Sequence[int] = IN_STEPS) -> list[float]:
    """Errors of stress at the end of the path in ever more steps, over the yield strength."""
    assert TURNED.yield_strength is not None
    best = integrated()
    return [float(np.abs(stressed(number) - best).max()) / TURNED.yield_strength for number in numbers]


def stressed(number: int) -> FloatArray:
    """Stress (4,) MPa at the end of the path, in so many steps straight and as many round."""
    memory: PlasticState = virgin(1, TURNED)
    stress = np.zeros((1, 4))
    for s in np.arange(1, 2 * number + 1) / number:
        stress, memory, _ = stepped(TURNED, _strain(float(s))[None], memory)
    return stress[0]


def integrated() -> FloatArray:
    """Stress (4,) MPa at the end of the path by the rate equations themselves.

    With n the direction of s - X: dp (sigma_y' + 3 G + sum C - sqrt(3/2) sum gamma n.X) = sqrt(3/2) n.2 G de.
    """
    G, terms = TURNED.E / (2.0 * (1.0 + TURNED.nu)), TURNED.backstresses
    start = np.zeros(4 + 4 * len(terms) + 1)

    def rates(way: Callable[[float], FloatArray], s: float, state: FloatArray) -> FloatArray:
        plastic, back, p = state[:4], state[4:-1].reshape(-1, 4), np.array([state[-1]])
        h = 1e-6
        rate = (way(s + h) - way(s - h)) / (2.0 * h) * [1.0, 1.0, 1.0, 0.5]
        deviator = 2.0 * G * (way(s) * [1.0, 1.0, 1.0, 0.5] - plastic)
        Z = deviator - back.sum(axis=0)
        size = math.sqrt(float(Z**2 @ METRIC))
        _, slope = strength(TURNED, p)
        n = Z / size  # it yields all along, from where straight loading reaches its strength
        loads = float(n * METRIC @ rate)
        moved = sum(one.fading * (n * METRIC @ X) for one, X in zip(terms, back, strict=True))
        hard = slope[0] + 3.0 * G + sum(one.modulus for one in terms) - math.sqrt(1.5) * moved
        dp = math.sqrt(1.5) * 2.0 * G * loads / hard
        flow = math.sqrt(1.5) * dp * n
        grown = [2.0 / 3.0 * one.modulus * flow - one.fading * X * dp for one, X in zip(terms, back, strict=True)]
        return np.concatenate([flow, *grown, [dp]])

    yields = TURNED.yield_strength
    assert yields is not None
    first = yields / (math.sqrt(1.5) * 2.0 * G * math.sqrt(2.0) * 0.01)  # share of the straight way that is elastic
    straight = lambda s: s * _strain(1.0)  # noqa: E731
    at = solve_ivp(lambda s, v: rates(straight, s, v), (first, 1.0), start, rtol=1e-9, atol=1e-12)
    round_ = lambda s: 0.01 * np.array([math.cos(s), -math.cos(s), 0.0, 2.0 * math.sin(s)])  # noqa: E731
    end = solve_ivp(lambda s, v: rates(round_, s, v), (0.0, math.pi), at.y[:, -1], rtol=1e-9, atol=1e-12)
    return 2.0 * G * (round_(math.pi) * [1.0, 1.0, 1.0, 0.5] - end.y[:4, -1])


def main() -> None:
    """Print errors and orders."""
    for name in CASES:
        found = errors(name)
        told = ", ".join(f"{one:.2e}" for one in found)
        print(f"{name}: {told} mm with {ACROSS} elements across, order {order(found):.2f} (theory {ELEMENTS:g})")
    found = step_errors()
    told = ", ".join(f"{one:.2e}" for one in found)
    print(f"stress round a circle: {told} of the yield strength in {IN_STEPS} steps, order {order(found):.2f} (1)")


if __name__ == "__main__":
    main()
