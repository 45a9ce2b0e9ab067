"""A solid ring pressed between decks: even compression, Hertz, the strip between rough platens, what a file may say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from conftest import shipped_text

from headjoint.cases.bead.decks import RIGID, Deck
from headjoint.cases.bead.pressing import Pace, Pressing, pressed_to, untouched
from headjoint.cases.bead.readings import strained
from headjoint.cases.bead.sheet import Sheet
from headjoint.cases.bead.start import start_of
from headjoint.meshes.bead.solid import solid_mesh
from headjoint.model.base.errors import InputError
from headjoint.model.bead.hardening import Backstress, SpringSteel
from headjoint.model.bead.ring_reading import ring_of
from headjoint.model.bead.solid import Solid
from headjoint.model.files.ring_file import RingFile
from headjoint.model.gasket.opening_curves import OpeningCurvesLaw
from headjoint.model.reading.reading import checked, parse_toml, read_joint
from headjoint.postproc.bead.answer import BeadAnswer, run_bead
from headjoint.postproc.bead.findings import find
from headjoint.postproc.bead.law import RIPPLE, law_of

RING = """
name = "soft ring"
[ring]
section = "rectangular"
height = "1 mm"
width = "1.5 mm"
material = "EN CW004A R220"
[path]
cycles = 1
deepest = "0.1 mm"
[mesh]
size = "0.25 mm"
"""
WIRE = '[ring.wire]\ndiameter = "{} mm"\nmaterial = "EN 1.0338"\n'
SOFT = SpringSteel("soft", 2000.0, 0.3, None)


def stated(text: str = RING):
    return ring_of(checked(parse_toml(text), RingFile))


def between(
    solid: Solid, metal: SpringSteel, size: float, friction: float = 0.0, ring: float | None = None
) -> Pressing:
    """A straight section, halved, or all of a ring's."""
    mesh = solid_mesh(solid, size, half=ring is None)
    over = np.ones(len(mesh.points)) if ring is None else 1.0 + mesh.points[:, 0] / ring
    below = Deck(1, mesh.lower, mesh.lower_weight * over[mesh.lower], RIGID, friction)
    above = Deck(-1, mesh.upper, mesh.upper_weight * over[mesh.upper], RIGID, friction)
    held = 2 * mesh.first if ring is None else np.zeros(0, dtype=np.int64)
    return Pressing(Sheet(mesh, metal, ring), below, above, solid.height, held)


def closed_by(pressing: Pressing, closure: float, steps: int):
    *_, state = pressed_to(pressing, untouched(pressing), closure, Pace(closure / steps, closure / steps))
    return state


@pytest.mark.parametrize(("kind", "area"), [("round", math.pi * 0.36), ("rectangular", 1.2 * 2.0)])
def test_a_section_has_its_area_and_its_rim(kind, area):
    mesh = solid_mesh(Solid(kind, 1.2, 1.2 if kind == "round" else 2.0), 0.1, half=False)
    sheet = Sheet(mesh, SpringSteel("elastic", 1.0, 0.3, None))
    assert sheet._shape[2].sum() == pytest.approx(area, rel=1e-3)
    half = solid_mesh(Solid(kind, 1.2, 1.2 if kind == "round" else 2.0), 0.1, half=True)
    assert Sheet(half, sheet.steel)._shape[2].sum() == pytest.approx(area / 2.0, rel=1e-3)
    perimeter = 2.0 * math.pi * 0.6 if kind == "round" else 2.0 * (1.2 + 2.0)
    assert mesh.lower_weight.sum() + mesh.upper_weight.sum() == pytest.approx(perimeter, rel=1e-3)


def test_an_even_ring_between_decks_without_friction_is_a_bar_in_compression():
    """It widens freely, so stress is uniaxial: sigma(p) = 100 + 300 p (true, per first volume), ln(h/h0) = -(sigma/E +
    p), and by the work over closure the force per first area is sigma h0/h."""
    metal = SpringSteel("linear", 100_000.0, 0.3, 100.0, modulus=300.0)
    pressing = between(Solid("rectangular", 1.0, 2.0), metal, 0.5, ring=10.0)
    state = closed_by(pressing, 0.200124, 10)
    # decks give by 0.062 um each: 208 MPa over 4e6 MPa/mm, and half of the 0.02 um over which they come in: h = 0.8
    # ln 0.8 = -0.2231436: p = (0.2231436 - 100/E)/(1 + 300/E) = 0.2214792; sigma = 166.4438; over 0.8 and 2 mm wide
    assert state.line_load == pytest.approx(2.0 * 166.4438 / 0.8, rel=5e-5)
    assert state.metal.equivalent == pytest.approx(0.2214792, rel=1e-3)


def test_a_wire_between_decks_is_hertz():
    """K. L. Johnson, Contact Mechanics, 1985, 4.2 and 5.6 (from memory, high confidence): a^2 = 4 F R/(pi E'), p0 =
    2 F/(pi a), and decks come closer by 2 F/(pi E') (2 ln(4 R/a) - 1), E' = E/(1 - nu^2), decks rigid."""
    R, plane = 0.5, 2000.0 / 0.91
    state = closed_by(between(Solid("round", 2.0 * R, 2.0 * R), SpringSteel("soft", 2000.0, 0.3, None), 0.05), 0.03, 6)
    F = 2.0 * state.line_load
    a = math.sqrt(4.0 * F * R / (math.pi * plane))
    assert state.closure == pytest.approx(2.0 * F / (math.pi * plane) * (2.0 * math.log(4.0 * R / a) - 1.0), rel=0.02)
    assert state.touches[1].pressure.max() == pytest.approx(2.0 * F / (math.pi * a), rel=0.06)


def test_a_strip_between_rough_platens_bears_more_than_between_smooth_ones_by_its_width():
    """Mean pressure 2 k (3/4 + w/(4 h)) of a rigid, perfectly plastic strip that sticks to both platens (R. Hill, The
    Mathematical Theory of Plasticity, 1950, VIII.5, by Prandtl's slip lines; from memory, high confidence), 2 k without
    friction; 2 k = 2/sqrt(3) sigma_0."""
    metal, shear = SpringSteel("perfect", 200_000.0, 0.3, 100.0, modulus=1.0), 2.0 / math.sqrt(3.0) * 100.0
    solid, closure = Solid("rectangular", 1.0, 4.0), 0.03
    wide = 4.0 / (1.0 - closure)  # its volume stays
    rough, smooth = (
        2.0 * closed_by(between(solid, metal, 1.0 / 6.0, friction), closure, 6).line_load / wide / shear
        for friction in (1.0, 0.0)
    )
    assert smooth == pytest.approx(1.0, rel=0.005)
    # elements bear some per cent more than slip lines, and the platens' last tenth slips
    assert rough == pytest.approx(0.75 + wide / (4.0 * (1.0 - closure)), rel=0.04)


def test_a_ring_of_ten_widths_radius_bears_what_a_straight_one_does():
    """Within 1 %, as the guide says; at one and a half it no longer does."""
    solid, metal = Solid("rectangular", 1.0, 1.5), stated().steel
    straight = 2.0 * closed_by(between(solid, metal, 0.25, 0.15), 0.04, 4).line_load
    great, small = (closed_by(between(solid, metal, 0.25, 0.15, ring), 0.04, 4).line_load for ring in (15.0, 2.25))
    assert great == pytest.approx(straight, rel=0.01)
    assert small != pytest.approx(straight, rel=0.01)


@pytest.fixture(scope="module")
def pressed() -> BeadAnswer:
    found = find(stated(), lambda name: None)
    return BeadAnswer(found, law_of(found))


def test_a_soft_ring_keeps_nearly_all_of_its_closure_and_lives_by_no_strain_life_law(pressed):
    last = pressed.found.at[0].openings[-1]
    assert 0.09 < last.set < last.closure == pytest.approx(0.1)
    # on opening about as stiff as its metal: E/(1 - nu^2) w/h of plane strain
    assert last.stiffness == pytest.approx(120_000.0 / (1.0 - 0.34**2) * 1.5, rel=0.25)
    assert pressed.found.life is None
    assert pressed.document()["life"]["cycles"] is None


def test_the_law_of_a_ring_opens_as_the_ring_does(pressed):
    assert isinstance(pressed.carried.law, OpeningCurvesLaw)
    assert max(pressed.carried.off.whole) < 0.02
    assert "solid ring, rectangular section 1 x 1.5 mm" in pressed.carried.law.title
    assert not any("steel" in one for one in pressed.report().sentences[:3])


def test_the_law_of_a_ring_bears_nowhere_more_between_its_openings_and_less_than_its_shallowest(pressed):
    """A ring yields at once: a law that knows of no shallow set takes it for as set as from deeper, and bears there less
    than the ring, nowhere more."""
    law, at = pressed.carried.law, pressed.found.at[0]
    rest = replace(law, openings=law.openings[1:])
    leg = next(leg for leg in at.history.legs if leg.kind == "opening")
    kept = rest.set_after(float(leg.closures[0]), 0.0, 20.0)
    said = np.array([1.5 * rest.pressure(float(c), kept, 20.0) for c in leg.closures])  # over its width of 1.5 mm
    over = (said - leg.loads) / leg.loads[0]
    assert over.min() < -0.05
    assert max(pressed.carried.off.between) < RIPPLE + 0.005


@pytest.mark.parametrize(
    ("change", "to", "message"),
    [
        ('width = "1.5 mm"\n', "", r"ring\.width: is required but missing of a rectangular section"),
        ('"rectangular"', '"round"', r"ring\.width: belongs to a rectangular section"),
        ("[path]", WIRE.format(0.9) + "[path]", r"wire\.diameter: must be 0\.2 to 0\.8 mm, 20 to 80 % of the smaller"),
        ('"0.1 mm"', '"0.3 mm"\n' + WIRE.format(0.6), r"path\.deepest: must be at most 0\.2 mm, .* and under the wire"),
        ("[path]", 'radius = "1.2 mm"\n[path]', r"ring\.radius: must be more than its section is wide, 1\.5 mm"),
        ('"0.1 mm"', '"0.6 mm"', r"path\.deepest: must be at most 0\.5 mm, all that elements stand"),
        ('"0.25 mm"', '"0.01 mm"', r"mesh\.size: divides a section 1 mm by 1\.5 mm into 1\.5e\+04 elements"),
        ('"0.25 mm"', '"0.3 mm"', r"mesh\.size: must be at most a quarter of the height, 0\.25 mm"),
        ("[mesh]", '[tolerances]\nthickness = "10 um"\n[mesh]', r"tolerances\.thickness: is of a sheet"),
        ("[mesh]", f"temperatures = {[20.0] * 300}\n[mesh]", "temperatures: needs at most 4 entries"),
        ("R220", "R200", r"ring\.material: unknown .*nearest: EN CW004A"),
    ],
)
def test_a_mistake_is_said_by_its_field(change, to, message):
    assert change in RING
    with pytest.raises(InputError, match=message):
        stated(RING.replace(change, to))


@pytest.mark.parametrize(("kind", "width"), [("round", 1.2), ("rectangular", 2.0)])
def test_a_wire_in_a_ring_has_its_area_and_the_ring_its_own(kind, width):
    mesh = solid_mesh(Solid(kind, 1.2, width, 0.6), 0.12, half=False)
    area = Sheet(mesh, SOFT)._shape[2].sum(axis=1)
    inside = np.hypot(*(mesh.points[mesh.cells].mean(axis=1) - [0.0, 0.6]).T) < 0.3
    assert area[inside].sum() == pytest.approx(math.pi * 0.09, rel=1e-3)
    assert area.sum() == pytest.approx(math.pi * 0.36 if kind == "round" else 2.4, rel=1e-3)


def cored(wire: SpringSteel, ring: SpringSteel = SOFT) -> Pressing:
    """A ring between smooth decks about a wire of some metal."""
    about = stated(RING.replace("[path]", WIRE.format(0.5) + "[path]"))
    bead = replace(about, friction=0.0, cores=(wire,), steels=((20.0, ring),))
    return start_of(bead, ring).pressing


def test_a_wire_of_the_rings_own_metal_changes_nothing_and_a_stiffer_one_bears_more_within_its_bounds():
    """Between smooth decks the whole is stiffer than its metals in series and softer than beside each other, by volume
    (R. Hill, J. Mech. Phys. Solids 11 (1963) 357: both are bounds of the energy; from memory, high confidence)."""
    stiff = replace(SOFT, E=10.0 * SOFT.E)
    plain = closed_by(between(Solid("rectangular", 1.0, 1.5), SOFT, 0.25), 0.002, 2).line_load
    same, more = (closed_by(cored(one), 0.002, 2).line_load for one in (SOFT, stiff))
    assert same == pytest.approx(plain, rel=2e-3)
    share = math.pi * 0.25**2 / 1.5
    assert plain / (1.0 - share + share / 10.0) < more < plain * (1.0 - share + share * 10.0)


def test_stiffness_of_two_metals_is_the_slope_of_their_forces_as_both_yield():
    hard = SpringSteel("hard", 210_000.0, 0.3, 400.0, backstresses=(Backstress(20_000.0, 100.0),))
    soft = SpringSteel("soft", 120_000.0, 0.34, 60.0, modulus=500.0)
    mesh = solid_mesh(Solid("rectangular", 1.0, 1.5, 0.5), 0.25, half=False)
    inside = np.flatnonzero(np.hypot(*(mesh.points[mesh.cells].mean(axis=1) - [0.0, 0.5]).T) < 0.25)
    sheet = Sheet(mesh, soft, core=hard, cored=inside)
    u = np.random.default_rng(3).normal(0.0, 2e-5, sheet.unknowns)
    u[1::2] -= 0.02 * mesh.points[:, 1]
    at = sheet.forces(u, sheet.new())
    yielded = at.after.equivalent.reshape(-1, 4).max(axis=1) > 0.0
    assert yielded[inside].any()
    assert np.delete(yielded, inside).all()
    way, h = np.random.default_rng(4).normal(size=sheet.unknowns), 1e-8
    slope = (sheet.forces(u + h * way, sheet.new()).force - sheet.forces(u - h * way, sheet.new()).force) / (2.0 * h)
    K, band = at.stiffness(), sheet.band
    told = np.array([
        sum(K[band + i - j, j] * way[j] for j in range(max(0, i - band), min(sheet.unknowns, i + band + 1)))
        for i in range(0, sheet.unknowns, 7)
    ])  # fmt: skip
    assert told == pytest.approx(slope[::7], rel=1e-4, abs=1e-4 * np.abs(slope).max())


IN_FIGURES = """[ring.wire]
diameter = "0.5 mm"
[ring.wire.material]
E = "210 GPa"
nu = 0.3
elastic = true
"""


def with_wire(pressed: BeadAnswer, wire: str) -> BeadAnswer:
    """The answer of a ring as if that wire lay in it: what is said of it does not hang on its loads."""
    found = replace(pressed.found, bead=stated(RING.replace("[path]", wire + "[path]")))
    return BeadAnswer(found, law_of(found))


@pytest.mark.parametrize(
    ("wire", "title", "source"),
    [
        (WIRE.format(0.5), "wire of 0.5 mm of EN 1.0338,", "wire: tensile strength level of EN 10130"),
        (IN_FIGURES, "wire of 0.5 mm (its metal as stated),", "wire: stated in the bead file"),
    ],
)
def test_a_wire_is_told_with_its_metal_and_where_that_is_from_and_that_it_is_bonded(pressed, wire, title, source):
    law = with_wire(pressed, wire).carried.law
    assert f"solid ring, rectangular section 1 x 1.5 mm about a bonded {title}" in law.title
    assert f"section 1 x 1.5 mm of EN CW004A R220 about a bonded {title[:-1]} at 20 degC" in law.source
    assert source in law.source
    assert "wire" not in pressed.carried.law.source


def test_who_takes_the_law_of_a_ring_about_a_wire_is_told_that_a_loose_one_bears_less(pressed, tmp_path):
    answer = with_wire(pressed, WIRE.format(0.5))
    said = "its wire is taken as bonded to the ring: a wire that is not bonded bears less"
    assert any(said in one for one in answer.document()["cautions"])
    assert any(said in one for one in answer.report().sentences)
    assert pressed.carried.cautions == ()
    joint = shipped_text("boosted-four-steel").replace('law = "multi-layer steel bead"', 'law = "soft ring"')
    for one, cautions in ((answer, 1), (pressed, 0)):
        (tmp_path / "law.toml").write_text(one.fragment, "utf-8")
        (tmp_path / "joint.toml").write_text(f'include = "law.toml"\n{joint}', "utf-8")
        measured = read_joint(tmp_path / "joint.toml").measured
        told = [caution for each in measured for caution in each.cautions if "bonded" in caution]
        assert len(told) == cautions
        assert all(caution.startswith(f"the law 'soft ring': {said}") for caution in told)


def test_a_ring_is_not_set_beside_a_bead(tmp_path):
    (tmp_path / "ring.toml").write_text(RING, "utf-8")
    bead = '[bead]\nheight = "0.2 mm"\nwidth = "2 mm"\nlegs = "1 mm"\n[sheet]\nthickness = "0.2 mm"\n'
    (tmp_path / "bead.toml").write_text(f'name = "bead"\n{bead}material = "EN 1.4310 +C1300"\n', "utf-8")
    with pytest.raises(InputError, match="a bead and a solid ring are not compared"):
        run_bead(tmp_path / "ring.toml", tmp_path / "bead.toml", lambda name: None)


def test_a_wire_is_strained_by_its_own_stiffness():
    """100 MPa that come and go strain metal of E by +-100/(2 E), whatever lies around it."""
    wire = replace(SOFT, E=10.0 * SOFT.E)
    pressing = cored(wire)
    inside = np.repeat(np.isin(np.arange(len(pressing.sheet.mesh.cells)), pressing.sheet.cored), 4)
    rest = untouched(pressing)
    for points, metal in ((inside, wire), (~inside, SOFT)):
        pulled = replace(rest, stress=np.outer(points, [100.0, 0.0, 0.0, 0.0]))
        found = strained(pressing.sheet.youngs_moduli, pulled, rest)
        assert found.amplitude == pytest.approx(100.0 / (2.0 * metal.E))
        assert found.parameter == pytest.approx(100.0 * 100.0 / (2.0 * metal.E))


def test_a_wire_is_as_hot_as_its_ring():
    """EN 1.0338 at 200 degC, by its row of data: 0.95 of 206 GPa, and yields at 0.87 of 140 MPa; a colder one would
    bear more."""
    hot = WIRE.format(0.5) + '[path]\ntemperatures = ["20 degC", "200 degC"]'
    bead = stated(RING.replace("[path]", hot))
    cold, warm = (start_of(bead, steel).pressing.sheet for _, steel in bead.steels)
    assert (cold.core.E, cold.core.yield_strength) == pytest.approx((206_000.0, 140.0))
    assert (warm.core.E, warm.core.yield_strength) == pytest.approx((0.95 * 206_000.0, 0.87 * 140.0))
    assert warm.youngs_moduli.max() == pytest.approx(0.95 * 206_000.0)


def pressed_opened_and_pressed(pressing: Pressing) -> list[float]:
    """Load (N/mm) and set (mm) of a piece that is pressed, opened wholly, and pressed again further."""
    pace = Pace(0.003, 0.003)
    *_, shut = pressed_to(pressing, untouched(pressing), 0.03, pace)
    *_, opened = pressed_to(pressing, shut, 0.0, pace, opens=True)
    *_, again = pressed_to(pressing, opened, 0.036, pace)
    return [shut.line_load, opened.closure, again.line_load]


def test_a_yielding_wire_of_the_rings_own_metal_remembers_as_the_ring_does():
    """One piece of metal, whatever divides it into elements: a point that forgot its plastic strain or its backstress
    would bear and keep something else."""
    metal = SpringSteel("hardening", 2000.0, 0.3, 20.0, modulus=200.0, backstresses=(Backstress(300.0, 20.0),))
    plain = pressed_opened_and_pressed(between(Solid("rectangular", 1.0, 1.5), metal, 0.25))
    assert pressed_opened_and_pressed(cored(metal, metal)) == pytest.approx(plain, rel=2e-3)
    assert 0.005 < plain[1] < 0.025
