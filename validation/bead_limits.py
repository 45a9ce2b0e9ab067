"""A pressed bead where theory knows the answer, and against another finite-element library.

Both beads of the other library, one elastic and one that yields and is let go, stand on the same nodes; its elements,
its laws (Neo-Hookean at large strain; plasticity at small strain), its contact with rigid planes and their assembly are
its own. Only the loop of Newton is ours.
"""

from __future__ import annotations

import math
from dataclasses import replace
from unittest import mock

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from headjoint.cases.bead import start
from headjoint.cases.bead.decks import RIGID, Deck
from headjoint.cases.bead.pressing import Pace, Pressed, Pressing, pressed_to, untouched
from headjoint.cases.bead.sheet import Sheet
from headjoint.cases.command.stated_files import shipped_files
from headjoint.meshes.bead.strip import Strip, strip
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import JointError
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.hardening import Backstress, SpringSteel
from headjoint.model.bead.profile import Profile, arcs, cosine
from headjoint.model.bead.reading import read_bead
from validation.bent_sheet import spring_backs
from validation.check import Check

E, NU = 200_000.0, 0.3
PLANE = E / (1.0 - NU**2)
ELASTIC = SpringSteel("elastic", E, NU, None)
SHALLOW = SpringSteel("shallow", E, NU, 150.0, modulus=2000.0)
HARDENING = SpringSteel("hardening", 185_000.0, NU, 700.0, backstresses=(Backstress(60_000.0, 150.0),))
OTHER_PENALTY = 1e5  # N/mm at a node of the other library's planes


def checks() -> list[Check]:
    return [
        *beams(),
        *arches(),
        *clamped_strips(),
        *plastic_hinges(),
        *spring_backs(),
        *stamped(),
        *converging(),
        *other_library(),
        *other_library_plastic(),
    ]


def half_of(profile: Profile, thickness: float, legs: float, size: float, through: int) -> Strip:
    return strip(profile, thickness, 0.0, profile.width / 2.0 + legs, size=size, through=through)


def between_decks(mesh: Strip, steel: SpringSteel, height: float, thickness: float, friction: float = 0.0) -> Pressing:
    below = Deck(1, mesh.lower, mesh.lower_weight, RIGID, friction)
    above = Deck(-1, mesh.upper, mesh.upper_weight, RIGID, friction)
    return Pressing(Sheet(mesh, steel), below, above, height + thickness, 2 * mesh.first)


def loads_at(pressing: Pressing, closures: list[float], step: float) -> list[float]:
    """Line loads (N/mm) of the whole bead at rising or falling closures (mm)."""
    state, found = untouched(pressing), []
    for closure in closures:
        *_, state = pressed_to(pressing, state, closure, Pace(step, step))
        found.append(2.0 * state.line_load)
    return found


def beams() -> list[Check]:
    """First stiffness of beads on feet that roll and slide: bending, shear and normal force of the curved line."""
    found = []
    for height, width, t in ((0.1, 6.0, 0.2), (0.3, 6.0, 0.3), (0.5, 8.0, 0.25)):
        x = np.linspace(0.0, width / 2.0, 4001)
        slope = math.pi * height / width * np.sin(2.0 * math.pi * x / width)
        cos2 = 1.0 / (1.0 + slope**2)
        M, shear, G = (width / 2.0 - x) / 2.0, 5.0 / 6.0, E / (2.0 * (1.0 + NU))
        density = M**2 / (PLANE * t**3 / 12.0) + cos2 / (4.0 * shear * G * t) + (1.0 - cos2) / (4.0 * PLANE * t)
        theory = 1.0 / (2.0 * np.trapezoid(density / np.sqrt(cos2), x))
        pressing = between_decks(half_of(cosine("full", height, width), t, 1.0, 0.1, 3), ELASTIC, height, t)
        closure = 0.004 * height
        stiffness = loads_at(pressing, [closure], closure / 2.0)[0] / closure
        found.append(
            Check(
                f"first stiffness of a cosine bead {height:g} x {width:g} mm in {t:g} mm",
                "Timoshenko beam by Castigliano's theorem, recomputed",
                theory, stiffness, 0.015, "N/mm per mm",
                "feet move inwards as they roll, by a per cent of the width",
            )
        )  # fmt: skip
    return found


def arches() -> list[Check]:
    """First stiffness of a circular arch between plates: its feet slide, its crown bears the load.

    A curved bar of radius R and half angle a whose feet are at s from the middle bends by M = P/2 (s - R sin p), and
    its crown comes down by P R/(2 E'I) (s^2 a - 2 s R (1 - cos a) + R^2 (a/2 - sin(2a)/4)) (by Castigliano's theorem
    as in S. Timoshenko, Strength of Materials, part I, bending of curved bars; from memory, recomputed); shear adds
    P R/(4 k G t) (a + sin(2a)/2), k = 5/6, and normal force P R/(4 E't) (a - sin(2a)/2). The feet are the lower edges
    of the ends, s = (R - t/2) sin a.
    """
    found = []
    for R, a, t in ((10.0, 0.3, 0.1), (5.0, 0.5, 0.1), (5.0, 0.5, 0.2)):
        height, width, G = R * (1.0 - math.cos(a)), 2.0 * R * math.sin(a), E / (2.0 * (1.0 + NU))
        s = (R - t / 2.0) * math.sin(a)
        bends = s**2 * a - 2.0 * s * R * (1.0 - math.cos(a)) + R**2 * (a / 2.0 - math.sin(2.0 * a) / 4.0)
        down = R / (2.0 * PLANE * t**3 / 12.0) * bends
        down += R / (4.0 * 5.0 / 6.0 * G * t) * (a + math.sin(2.0 * a) / 2.0)
        down += R / (4.0 * PLANE * t) * (a - math.sin(2.0 * a) / 2.0)
        x = np.linspace(-width / 2.0, width / 2.0, 4001)
        level = np.sqrt(R**2 - x**2)
        arch = Profile("full", height, width, np.array([x, level - R * math.cos(a)]), -x / level)
        mesh = half_of(arch, t, 0.0, t / 2.0, 4)
        low = float(mesh.points[:, 1].min())
        mesh = replace(mesh, points=mesh.points - [0.0, low])
        pressing = between_decks(mesh, ELASTIC, height - low, t)
        closures = [0.002 * height, 0.004 * height]
        first, second = loads_at(pressing, closures, closures[0] / 2.0)
        found.append(
            Check(
                f"first stiffness of an arch of {R:g} mm radius and {2.0 * a:g} rad in {t:g} mm",
                "Castigliano's theorem for a curved bar (Timoshenko; from memory, recomputed)",
                1.0 / down, (second - first) / (closures[1] - closures[0]), 0.006, "N/mm per mm",
                "a foot is an edge that gives way, and the crown flattens under the plate",
            )
        )  # fmt: skip
    return found


def clamped_strips() -> list[Check]:
    """A strip between ends that hold it, pushed in its middle by half its thickness, so that it stretches.

    Ritz with the shape of small deflection, w = w0 (3 s^2 - 2 s^3), s = 2x/l: bending gives F = 192 E'I w0/l^3, and
    the mean strain e = 1/2 mean w'^2 = 12/5 w0^2/l^2 the derivative of E't l e^2/2.
    """
    length, t, w0 = 8.0, 0.1, 0.05
    (force,) = pushed(ELASTIC, length, t, 0.1, 2, [w0], 5)
    theory = 192.0 * PLANE * t**3 / 12.0 / length**3 * w0
    # energy E' t l/2 e^2, e = 12/5 w0^2/l^2: dU/dw0
    theory += PLANE * t * length * (12.0 / 5.0 * w0**2 / length**2) * (24.0 / 5.0 * w0 / length**2)
    return [
        Check(
            "middle load of a clamped strip pushed by half its thickness",
            "Ritz with the shape of small deflection, recomputed: an upper bound",
            theory, force, 0.015, "N/mm",
            "one term of Ritz is some tenths of a per cent stiff; shear makes the strip a little softer",
        )
    ]  # fmt: skip


def pushed(
    steel: SpringSteel, length: float, thickness: float, size: float, through: int, downs: list[float], steps: int
) -> list[float]:
    """Loads (N/mm) that push the middle of a strip down by rising deflections (mm), between ends that hold it."""
    mesh = strip(cosine("full", 1e-9, 1.0), thickness, 0.0, length / 2.0, size=size, through=through)
    sheet = Sheet(mesh, steel)
    held = np.concatenate([2 * mesh.first, 2 * mesh.last, 2 * mesh.last + 1])
    push = 2 * mesh.first + 1
    u, memory, loads = np.zeros(sheet.unknowns), sheet.new(), []
    free = np.setdiff1d(np.arange(sheet.unknowns), [*held, *push])
    offsets = np.arange(sheet.band, -sheet.band - 1, -1)
    for down in np.unique(np.concatenate([np.linspace(0.0, downs[-1], steps + 1)[1:], downs])):
        moved = False
        for _ in range(40):
            force, after, _, stiffness = sheet.forces(u, memory)
            if moved and np.linalg.norm(force[free]) < 1e-8 * np.linalg.norm(force):
                break
            K = stiffness()
            sparse = sp.dia_array((K, offsets), shape=(sheet.unknowns, sheet.unknowns)).tocsc()
            further = -down - u[push]
            u[free] -= splu(sparse[free][:, free].tocsc()).solve(force[free] + sparse[free][:, push] @ further)
            u[push], moved = -down, True
        else:
            raise JointError(f"the strip finds no equilibrium at a deflection of {down:g} mm")
        memory = after
        if down in downs:
            loads.append(2.0 * float(-force[push].sum()))
    return loads


def plastic_hinges() -> list[Check]:
    """A clamped strip that yields in three hinges and then stretches, and a bead that yields at its crown.

    Clamped, rigid and perfectly plastic: P_c = 8 M_p/l, and with hinges that bend and stretch, (N/N_0)^2 + M/M_p = 1,
    P/P_c = 1 + (w/t)^2 up to w = t (R. M. Haythornthwaite, Beams with full end fixity, Engineering 183 (1957) 110, as
    in N. Jones, Structural Impact, 1989, ch. 7; from memory, recomputed by the work of the hinges).
    The bead lies on feet that slide, so its crown alone makes a mechanism: P = 4 M_p/s with s from foot to foot, less
    what the crown's two places of contact are apart.
    M_p = 2/sqrt(3) sigma_0 t^2/4 of plane strain (R. Hill, The Mathematical Theory of Plasticity, 1950).
    """
    length, t, sigma = 16.0, 0.2, 20.0
    collapse = 8.0 * _plastic_moment(sigma, t) / length
    shares = (0.25, 0.5, 0.75)
    # hardens by 5 MPa per unit of plastic strain, which is less than 0.1 in its hinges
    steel = SpringSteel("nearly perfect", E, NU, sigma, modulus=5.0)
    loads = pushed(steel, length, t, 0.1, 3, [share * t for share in shares], 24)
    found = [
        Check(
            f"load of a clamped plastic strip pushed by {share:g} of its thickness",
            "Haythornthwaite 1957, rigid and perfectly plastic hinges (from memory, recomputed)",
            collapse * (1.0 + share**2), load, 0.04, "N/mm",
            "elastic stretch leaves some of the plastic one, 3 %; hinges have a length, a hundredth of the span",
        )
        for share, load in zip(shares, loads, strict=True)
    ]  # fmt: skip
    height, width, t, sigma = 0.5, 6.0, 0.3, 100.0
    steel = SpringSteel("perfect", E, NU, sigma, modulus=1.0)
    pressing = between_decks(half_of(cosine("full", height, width), t, 1.0, 0.075, 4), steel, height, t)
    *_, state = pressed_to(pressing, untouched(pressing), 0.06, Pace(0.004, 0.004))
    feet, crown = (
        float(np.average(_across(pressing, state, deck), weights=np.abs(one.force[:, 1])))
        for deck, one in zip((pressing.below, pressing.above), state.touches, strict=True)
    )
    found.append(
        Check(
            "load of a plastic bead whose crown is a hinge", "4 M_p over the distance of its feet (Hill 1950)",
            2.0 * _plastic_moment(sigma, t) / (feet - crown), 2.0 * state.line_load, 0.05, "N/mm",
            "theory is a lower bound: a hinge right under a deck that presses on it bears some per cent more",
        )
    )  # fmt: skip
    return found


def _plastic_moment(sigma: float, thickness: float) -> float:
    return 2.0 / math.sqrt(3.0) * sigma * thickness**2 / 4.0


def _across(pressing: Pressing, state: Pressed, deck: Deck) -> FloatArray:
    """Return where the nodes of a face are now, mm from the middle."""
    return pressing.sheet.mesh.points[deck.nodes, 0] + state.displacement[2 * deck.nodes]


def converging() -> list[Check]:
    """An elastic-plastic bead on ever finer meshes, and in ever smaller steps."""
    profile, closures = arcs("full", 0.25, 2.5, 1.2, 1.2), [0.05, 0.1, 0.15, 0.2]
    fine = loads_at(between_decks(half_of(profile, 0.25, 1.2, 0.03, 6), HARDENING, 0.25, 0.25), closures, 0.01)
    found = []
    mesh = half_of(profile, 0.25, 1.2, 0.0625, 4)
    for step, name in ((0.01, "mesh as by default"), (0.005, "and half the steps")):
        loads = loads_at(between_decks(mesh, HARDENING, 0.25, 0.25), closures, step)
        for closure, load, best in zip(closures, loads, fine, strict=True):
            found.append(
                Check(
                    f"line load at {closure:g} mm, {name}", "half the element size, six elements across",
                    best, load, 0.015, "N/mm", "nodes touch one after the other: ripples of some parts in a thousand",
                )
            )  # fmt: skip
    return found


def stamped() -> list[Check]:
    """The height at which beads stand that dies of the stated height have let go, by mesh, by steps and as great rings;
    of a half bead at either end that stays, for it is its own mirror image upside down."""
    full, half = (read_bead(shipped_files("beads")[name]) for name in ("stamped-bead", "half-bead"))
    full, half = replace(full, stamped_in=full.steel), replace(half, stamped_in=half.steel)
    t, found = full.thickness, list[Check]()
    turned_half = replace(half, held=(True, False))
    for bead, name, turned in ((full, "stamped full bead", None), (half, "stamped half bead", turned_half)):
        height = _stands(bead)
        finer = "eight points across follow an elastic core to 0.8 %; steps move a half bead by 0.6 %"
        alike = "the same bead, rounded by its steps of iteration"
        others = [
            ("four times the steps", _stands(bead, times=4), 0.01, finer),
            ("eight elements across, half as long", _stands(replace(bead, through=8, size=t / 8.0)), 0.01, finer),
            ("as a ring of 100 m radius", _stands(replace(bead, ring=1e5)), 0.003, alike),
            *([] if turned is None else [("its other end in place", _stands(turned), 0.003, alike)]),
        ]
        found += [
            Check(f"height of a {name} let go, {what}", "itself, so", other, height, tolerance, "mm", why)
            for what, other, tolerance, why in others
        ]
    return found


def _stands(bead: Bead, times: int = 1) -> float:
    """Return the height (mm) of a bead that dies of the stated height let go, in so many times the steps."""
    with mock.patch.multiple(start, STEPS=times * start.STEPS, HALF_STEPS=times * start.HALF_STEPS):
        press, _, free = start.struck(bead, bead.profile, bead.steel)  # type: ignore[arg-type]
    y = press.sheet.mesh.points[:, 1] + free.displacement[1::2]
    return float(y.max() - y.min()) - bead.thickness


def other_library() -> list[Check]:
    """An elastic bead by FElupe."""
    height, thickness = 0.12, 0.2
    mesh = half_of(cosine("full", height, 3.0), thickness, 1.0, 0.1, 3)
    closures = [float(one) for one in np.linspace(0.0, 0.09, 19)[1:]]
    other = by_felupe(mesh, height + thickness, closures)
    own = loads_at(between_decks(mesh, ELASTIC, height, thickness), closures, 0.005)
    return [
        Check(
            f"line load of an elastic bead at {closures[i]:.3f} mm",
            "FElupe, eight-node elements, Neo-Hookean (validation/bead_limits.py)",
            other[i], own[i], 0.01, "N/mm", "same nodes; another law at large strain, other springs of contact",
        )
        for i in (3, 7, 11, 14, 17)
    ]  # fmt: skip


def other_library_plastic() -> list[Check]:
    """A shallow bead that yields, pressed flat and let go, by FElupe: small strain, which it has its plasticity in."""
    height, thickness = 0.03, 0.2
    mesh = half_of(cosine("full", height, 3.0), thickness, 1.0, 0.1, 3)
    down = [float(one) for one in np.linspace(0.0, 0.024, 97)[1:]]
    back = [float(one) for one in np.linspace(0.024, 0.012, 49)[1:]]
    other = by_felupe(mesh, height + thickness, [*down, *back], (SHALLOW.yield_strength or 0.0, SHALLOW.modulus))
    own = loads_at(between_decks(mesh, SHALLOW, height, thickness), [*down, *back], 0.002)
    source = "FElupe, eight-node elements, small strain, linear isotropic hardening (validation/bead_limits.py)"
    why = "same nodes; to the other library slopes of some per cent are no slopes"
    found = [
        Check(
            f"line load of a shallow plastic bead, {way} {closure:.3f} mm", source, other[i], own[i], 0.02, "N/mm", why
        )
        for way, i in (("closed by", 47), ("closed by", 95), ("opened to", 103))
        for closure in ([*down, *back][i],)
    ]
    sets = [_gone([down[-1], *back], loads[95:]) for loads in (other, own)]
    return [*found, Check("set of that bead", source, sets[0], sets[1], 0.01, "mm", why)]


def _gone(closures: list[float], loads: list[float]) -> float:
    """Return the closure (mm) at which a falling load goes through a hundredth of where it began."""
    return float(np.interp(-0.01 * loads[0], -np.array(loads), closures))


def by_felupe(
    mesh: Strip, top: float, closures: list[float], plastic: tuple[float, float] | None = None
) -> list[float]:
    """Line loads (N/mm) of the whole bead by the other library; JointError where it is not there or finds nothing.

    plastic : yield strength and modulus of isotropic hardening (MPa) at small strain, None for elastic at large strain.
    """
    try:
        import felupe as fem
    except ImportError:
        raise JointError("needs FElupe: pip install felupe") from None
    if plastic is None:
        law = fem.LinearElasticLargeStrain(E=E, nu=NU)
    else:
        law = fem.LinearElasticPlasticIsotropicHardening(E=E, nu=NU, sy=plastic[0], K=plastic[1])
    n = len(mesh.points)
    points = np.vstack([mesh.points, [[0.0, 0.0], [0.0, top]]])
    region = fem.RegionQuadraticQuad(
        fem.Mesh(points, mesh.cells, "quad8"), quadrature=fem.GaussLegendre(order=1, dim=2)
    )
    field = fem.FieldContainer([fem.FieldPlaneStrain(region, dim=2)])
    planes = [
        fem.ContactRigidPlane(field, nodes, n + i, normal=normal, multiplier=OTHER_PENALTY)
        for i, (nodes, normal) in enumerate(((mesh.lower, [0, 1]), (mesh.upper, [0, -1])))
    ]
    items = [fem.SolidBody(law, field), *planes]
    free = np.setdiff1d(np.arange(2 * (n + 2)), np.concatenate([2 * mesh.first, 2 * n + np.arange(4)]))

    def forces(item: object) -> FloatArray:
        return np.asarray(item.assemble.vector(field).todense()).ravel()  # type: ignore[attr-defined]

    loads, ways = [], np.diff([0.0, *closures])
    before, rate = field[0].values.copy(), np.zeros_like(field[0].values)
    for closure, way in zip(closures, ways, strict=True):
        if plastic is not None:  # goes on as it went: its plasticity finds back from no wild step
            field[0].values[:] = before + way * rate
        field[0].values[n + 1, 1] = -closure
        for iteration in range(60):
            residual = sum(forces(item) for item in items)
            if iteration and np.linalg.norm(residual[free]) < 1e-6 * np.linalg.norm(residual):
                break
            K = sum(item.assemble.matrix(field) for item in items).tocsc()[free][:, free]
            moved = field[0].values.ravel().copy()
            moved[free] -= splu((K + 1e-4 * sp.eye(len(free))).tocsc()).solve(residual[free])
            field[0].values[:] = moved.reshape(-1, 2)
        else:
            raise JointError(f"the other library finds no equilibrium at a closure of {closure:g} mm")
        for item in items:
            item.results.update_statevars()
        before, rate = field[0].values.copy(), (field[0].values - before) / way
        loads.append(2.0 * abs(float(forces(planes[1])[1 : 2 * n : 2].sum())))
    return loads
