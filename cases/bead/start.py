"""How a bead begins: free of stress in its stated shape, or stamped from flat sheet, with the stress that this leaves.

Stamped, a flat sheet lies on the lower die, the upper one comes down until sheet fills the gap, and goes up again. The
dies have the stated profile, stretched upwards so far that the bead let go is as high as stated. Friction in the dies,
their own springing and a heat treatment afterwards are not followed.

Where the sheet slides and how it turns needs a word. Of a full bead the crown stays in its place between the dies, and
let go both its edges lie equally high: by symmetry of a straight one. A ring alone would dish by the stress left around
it, stamped or pressed flat, and lean on the decks so with some N/mm however far they part; a bead in a sheet that goes
on does not, and what a dish bears is left out. Of a half bead one end stays upright in its place, in the dies and let
go, the inner one unless the outer alone is held; the other end slides and turns.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from headjoint.cases.bead.decks import RIGID, Deck, in_series
from headjoint.cases.bead.dies import Die, die_rows
from headjoint.cases.bead.layers import Between, band_needed, laid, upside_down
from headjoint.cases.bead.plasticity import PlasticState
from headjoint.cases.bead.pressing import Pace, Pressed, Pressing, placed, pressed_to, settled, untouched
from headjoint.cases.bead.sheet import Sheet
from headjoint.meshes.bead.solid import solid_mesh
from headjoint.meshes.bead.strip import Strip, strip
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.hardening import SpringSteel
from headjoint.model.bead.profile import Profile
from headjoint.model.bead.solid import Solid

CLEARANCE = 0.01  # of the thickness that dies leave it more, so that they bend and do not coin: a choice
STEPS, HALF_STEPS = 20, 60  # of the dies' way; half beads turn on it as they bend
FIRST = 5  # times as many would the first one after a turn make
CLEAR = 10.0  # mm that decks stand off a sheet that is let go
FLAT = 0.02  # of the stated height, below which a bead let go counts as flat
ACCURACY = 0.002  # of the height, to which the stamped bead is as high as stated
TRIES = 8


@dataclass(frozen=True)
class Start:
    """A bead between decks that just touch it. share : how much of it is meshed, 1 or 1/2. dies : height (mm) of the
    profile that stamped it, None where it starts as stated."""

    pressing: Pressing = field(repr=False)
    share: float
    state: Pressed = field(repr=False)
    dies: float | None


@dataclass(frozen=True)
class Formed:
    """A bead as it left the dies, in the steel that it was stamped in. dies : height (mm) of their profile."""

    sheet: Sheet = field(repr=False)
    state: Pressed = field(repr=False)
    dies: float


def start_of(bead: Bead, steel: SpringSteel, formed: Formed | None = None) -> Start:
    """Return a bead as it begins, at the temperature of `steel`; SolveError where stamping finds no equilibrium.

    formed : what `formed_of` gave, where it is known.
    """
    share = 0.5 if bead.symmetric else 1.0
    if bead.stamped_in is None:
        pressing = _laid(bead, steel) if bead.stack.laid else _alone(bead, steel)
        return Start(pressing, share, untouched(pressing), None)
    formed = formed or formed_of(bead)
    assert formed is not None
    sheet, state = formed.sheet, formed.state
    if steel != bead.stamped_in:
        sheet = replace(sheet, steel=steel)
        state = _let_go(bead, sheet, replace(state, metal=warmed(state.metal, bead.stamped_in, steel)))
    pressing = _between_decks(bead, sheet, _reach(sheet, state.displacement))
    return Start(pressing, share, placed(pressing, state.displacement, state.metal), formed.dies)


def _alone(bead: Bead, steel: SpringSteel) -> Pressing:
    if isinstance(bead.profile, Solid):
        mesh = solid_mesh(bead.profile, bead.size, half=bead.symmetric)
        middles = mesh.points[mesh.cells].mean(axis=1) - [0.0, bead.height / 2.0]
        cored = np.flatnonzero(np.hypot(*middles.T) < bead.profile.core / 2.0)
        sheet = Sheet(mesh, steel, bead.ring, core=bead.core_beside(steel), cored=cored)
    else:
        sheet = Sheet(_layer(bead, bead.profile, bead.thickness), steel, bead.ring)
    return _between_decks(bead, sheet, bead.height + bead.thickness)


def _layer(bead: Bead, profile: Profile, thickness: float) -> Strip:
    half = profile.width / 2.0 + bead.legs
    return strip(
        profile, thickness, 0.0 if bead.symmetric else -half, half,
        size=bead.size, through=bead.through, kept=bead.kept,
    )  # fmt: skip


def _laid(bead: Bead, steel: SpringSteel) -> Pressing:
    """Return layers in contact, all of one steel."""
    assert isinstance(bead.profile, Profile)
    meshes = []
    for one in bead.stack.laid:
        if one.name == "flat":
            mesh = _layer(bead, _flat(bead.profile, bead.profile.width), bead.stack.flat_thickness)
        else:
            mesh = _layer(bead, bead.profile.higher((one.share - 1.0) * bead.height), bead.thickness)
        mesh = upside_down(mesh) if one.name == "bead down" else mesh
        meshes.append(replace(mesh, points=mesh.points + [one.offset, 0.0]))
    stack = laid(meshes)
    points = stack.mesh.points
    over = _over(bead, stack.mesh)
    stiffness = in_series(None if bead.coating is None else bead.coating / 2.0)  # both faces have theirs
    between = tuple(
        Between(nodes, weight * over[nodes], face, points, stiffness, bead.friction)
        for nodes, weight, face in stack.faces
    )
    sheet = Sheet(stack.mesh, steel, bead.ring, band_needed(between))
    return replace(_between_decks(bead, sheet, stack.top), between=between)


def _flat(profile: Profile, width: float) -> Profile:
    ends = np.array([-width / 2.0, width / 2.0])
    return Profile(profile.kind, 0.0, width, np.array([ends, np.zeros(2)]), np.zeros(2))


def _between_decks(bead: Bead, sheet: Sheet, top: float) -> Pressing:
    mesh = sheet.mesh
    over, stiffness = _over(bead, mesh), in_series(bead.coating)
    below = Deck(1, mesh.lower, mesh.lower_weight * over[mesh.lower], stiffness, bead.friction)
    above = Deck(-1, mesh.upper, mesh.upper_weight * over[mesh.upper], stiffness, bead.friction)
    held = [np.zeros(0, dtype=np.int64)]
    held += [2 * mesh.first] if bead.symmetric or bead.held[0] else []
    held += [2 * mesh.last] if bead.held[1] else []
    ring = bead.ring is not None and bead.profile.kind == "full" and not any(bead.held) and not bead.stack.laid
    return Pressing(sheet, below, above, top, np.concatenate(held), level=_edges(mesh) if ring else None)


def formed_of(bead: Bead) -> Formed | None:
    """Return a bead as it leaves dies that are found by secants, None where it is not stamped.

    Raises SolveError where no dies make it as high as stated.
    """
    cold = bead.stamped_in
    if cold is None:
        return None
    assert isinstance(bead.profile, Profile)
    height, tried = bead.height, list[tuple[float, float]]()
    for _ in range(TRIES):
        press, _, state = struck(bead, bead.profile.higher(height - bead.height), cold)
        sheet = press.sheet
        stands = _reach(sheet, state.displacement) - bead.thickness
        if abs(stands - bead.height) <= ACCURACY * bead.height:
            break
        if stands <= FLAT * bead.height:  # it says nothing of how high dies would have to be
            raise SolveError(
                f"a bead {bead.height:g} mm high springs back flat, for dies as high hardly make its sheet yield; "
                "state a greater height or a narrower bead"
            )
        tried.append((height, stands))
        if len(tried) == 1:
            height *= bead.height / stands
        else:
            (a, at_a), (b, at_b) = tried[-2:]
            height = b + (bead.height - at_b) * (b - a) / (at_b - at_a)
    else:
        raise SolveError(f"no dies stamp a bead that stands {bead.height:g} mm high when let go")
    return Formed(sheet, state, height)


def warmed(metal: PlasticState, cold: SpringSteel, steel: SpringSteel) -> PlasticState:
    """Return the memory of metal that came to another temperature.

    A backstress is X = 2/3 C a, and what the metal remembers is a, with da = d(eps_p) - 3/2 gamma a dp: of C alone that
    changes with temperature, X goes with C (the term of dC/dT in J.-L. Chaboche, Int. J. Plasticity 5 (1989) 247; from
    memory, medium confidence). Equivalent plastic strain stays, so that isotropic hardening is that of the new steel.
    """
    shares = [new.modulus / old.modulus for new, old in zip(steel.backstresses, cold.backstresses, strict=True)]
    return replace(metal, back=np.array(shares).reshape(-1, 1, 1) * metal.back)


def struck(bead: Bead, profile: Profile, steel: SpringSteel) -> tuple[Pressing, Pressed, Pressed]:
    """Return a flat sheet, or its half, between dies of a profile, in them as they close, and let go on a plane at
    y = 0."""
    mesh = _blank(bead, profile)
    sheet, t, over = Sheet(mesh, steel, bead.ring), bead.thickness, _over(bead, mesh)
    gap = (1.0 + CLEARANCE) * t
    below = Die(1, mesh.lower, mesh.lower_weight * over[mesh.lower], RIGID, die_rows(profile, -gap / 2.0, t / 2.0))
    above = Die(-1, mesh.upper, mesh.upper_weight * over[mesh.upper], RIGID, die_rows(profile, gap / 2.0, t / 2.0))
    press = Pressing(sheet, below, above, profile.height, _kept_in_dies(bead, mesh))
    way = profile.height
    state = placed(press, _raised(np.zeros(sheet.unknowns), way), sheet.new())
    steps = STEPS if profile.kind == "full" else HALF_STEPS
    pace = Pace(way / steps, way / (FIRST * steps))
    *_, closed = pressed_to(press, state, way, pace)
    *_, opened = pressed_to(press, closed, 0.0, pace, opens=True)
    return press, closed, _let_go(bead, sheet, opened)


def _over(bead: Bead, mesh: Strip) -> FloatArray:
    """Return radius over the ring's own radius of all nodes, one of a straight bead."""
    return np.ones(len(mesh.points)) if bead.ring is None else 1.0 + mesh.points[:, 0] / bead.ring


def _blank(bead: Bead, profile: Profile) -> Strip:
    """Return the flat sheet that dies of a profile make a bead of, as long as its middle line: the right half where
    that stands for both. The end that stays in its place lies where the bead's does."""
    x, _ = profile.rows
    width = float(profile.along(x[-1:])[0])
    half = width / 2.0 + bead.legs
    mesh = strip(
        _flat(profile, width), bead.thickness, 0.0 if bead.symmetric else -half, half,
        size=bead.size, through=bead.through,
    )  # fmt: skip
    if profile.kind == "full":
        return mesh
    longer = (width - profile.width) / 2.0
    return replace(mesh, points=mesh.points + [-longer if bead.outer_stays else longer, 0.0])


def _kept_in_dies(bead: Bead, mesh: Strip) -> IntArray:
    """Return the unknowns of a sheet that stay between the dies."""
    if bead.symmetric:
        return 2 * mesh.first
    if bead.profile.kind == "half":
        return 2 * (mesh.last if bead.outer_stays else mesh.first)
    crown = np.argmin(np.hypot(*(mesh.points - [0.0, bead.thickness / 2.0]).T))
    return 2 * np.array([crown])


def _let_go(bead: Bead, sheet: Sheet, state: Pressed) -> Pressed:
    """Return a sheet that nothing touches any more, its lowest point at y = 0."""
    mesh = sheet.mesh
    below = Deck(1, mesh.lower, mesh.lower_weight, RIGID, 0.0)
    above = Deck(-1, mesh.upper, mesh.upper_weight, RIGID, 0.0)
    whole = bead.profile.kind == "full" and not bead.symmetric
    kept = np.zeros(0, dtype=np.int64) if whole else _kept_in_dies(bead, mesh)
    free = Pressing(sheet, below, above, 3.0 * CLEAR, kept, level=_edges(mesh) if whole else None)
    before = placed(free, _raised(state.displacement, CLEAR), state.metal)
    found = settled(free, before, 0.0, before.displacement)
    lowest = float((mesh.points[:, 1] + found.displacement[1::2]).min())
    return placed(free, _raised(found.displacement, -lowest), found.metal)


def _edges(mesh: Strip) -> tuple[int, int]:
    """Return the nodes at the lower edges of both ends."""
    return int(mesh.lower[0]), int(mesh.lower[-1])


def _raised(displacement: FloatArray, by: float) -> FloatArray:
    """Return displacements with all of the sheet `by` mm higher."""
    return displacement + by * (np.arange(len(displacement)) % 2)


def _reach(sheet: Sheet, displacement: FloatArray) -> float:
    """Return how high (mm) a sheet reaches over its lowest point."""
    y = sheet.mesh.points[:, 1] + displacement[1::2]
    return float(y.max() - y.min())
