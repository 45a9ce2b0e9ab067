"""Layers in contact: what symmetry says, what nests, what bends, and the stiffness of one face on another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_bead import COARSE, pressed_only, stated

from headjoint.cases.bead.layers import Between, added, laid, pushed, upside_down
from headjoint.cases.bead.start import start_of
from headjoint.cases.command.stated_files import shipped_files
from headjoint.meshes.bead.strip import strip
from headjoint.model.base.errors import InputError
from headjoint.model.bead.profile import arcs
from headjoint.postproc.bead.answer import BeadAnswer
from headjoint.postproc.bead.findings import find
from headjoint.postproc.bead.law import FOLDED, law_of

PROFILE = arcs("full", 0.2, 2.0, 1.0, 1.0)


def layers(*names: str, more: str = "", friction: float = 0.0, ends: str = "free"):
    told = ", ".join(f'"{name}"' for name in names)
    bead = COARSE.replace("[sheet]", f'ends = "{ends}"\n[sheet]')
    text = f'{bead}[stack]\nlayers = [{told}]\nflat_thickness = "0.3 mm"\n{more}[decks]\nfriction = {friction}\n'
    return stated(text)


def load_at(bead, closure: float, parts: int = 1) -> float:
    return float(pressed_only(bead, *(closure * np.arange(1, parts + 1) / parts))[0][-1])


@pytest.fixture(scope="module")
def alone() -> float:
    return load_at(replace(stated(), friction=0.0), 0.12)


@pytest.fixture(scope="module")
def two() -> Between:
    mesh = strip(PROFILE, 0.2, -1.5, 1.5, size=0.15, through=2)
    both = laid([mesh, upside_down(mesh)])
    ((nodes, weight, face),) = both.faces
    return Between(nodes, weight, face, both.mesh.points, 1e4, 0.2)


@pytest.mark.parametrize("slip", [0.0, 3e-5, -4e-3], ids=["sticks", "gives", "slips"])
def test_stiffness_of_a_face_on_another_is_the_slope_of_its_forces(two, slip):
    """Springs so soft that curved faces count, too; pressed into each other by some hundredths of a millimetre and pushed askew."""
    rng = np.random.default_rng(2)
    u = 2e-4 * rng.normal(size=(len(two.places), 2))
    u[two.face, 1] += 0.02
    anchor = pushed(two, u.ravel(), np.zeros(len(two.nodes))).slid - slip
    n, direction = u.size, rng.normal(size=u.size)

    def forces(h: float) -> np.ndarray:
        one = pushed(two, u.ravel() + h * direction, anchor)
        found = np.zeros(n)
        np.add.at(found, one.unknowns, one.force)
        return found

    at, band = pushed(two, u.ravel(), anchor), n
    assert (at.pressure > 0.0).sum() >= 3
    K = np.zeros((2 * band + 1, n))
    added(K, band, at)
    rows = band + np.arange(n)[:, None] - np.arange(n)
    expected = (forces(1e-8) - forces(-1e-8)) / 2e-8
    assert np.abs(K[rows, np.arange(n)] @ direction + expected).max() < 1e-5 * np.abs(expected).max()


def test_layers_on_each_other_push_with_no_force_and_no_moment_in_all(two):
    u = np.zeros_like(two.places)
    u[two.face, 1] += 0.004
    one = pushed(replace(two, friction=0.0), u.ravel(), np.zeros(len(two.nodes)))
    force = np.zeros(u.size)
    np.add.at(force, one.unknowns, one.force)
    force = force.reshape(-1, 2)
    now = two.places + u
    assert np.abs(force).max() > 1.0
    assert force.sum(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
    # what overlaps is at two heights, some micrometres apart
    assert (now[:, 0] * force[:, 1] - now[:, 1] * force[:, 0]).sum() == pytest.approx(0.0, abs=1e-2)


@pytest.mark.parametrize("names", [("bead up", "bead down"), ("bead up", "flat", "bead down")])
def test_beads_that_mirror_each_other_are_single_beads_one_upon_the_other(alone, names):
    """By symmetry the plane between them stays plane, so contact changes nothing: twice the closure, the same load."""
    bead = layers(*names)
    assert bead.stack.free == pytest.approx(0.4, abs=1e-6)
    assert load_at(bead, 0.24) == pytest.approx(alone, rel=0.01)


def test_a_bead_in_another_bears_with_it_and_closes_by_one_height(alone):
    """Two sheets that slide on each other bend side by side: up to twice the load, a little less for they touch late."""
    bead = layers("bead up", "bead up")
    assert 0.2 < bead.stack.free < 0.21
    assert 1.4 * alone < load_at(bead, 0.12, 4) < 2.0 * alone


@pytest.mark.parametrize("kept", ["normal", "vertical"])
@pytest.mark.parametrize("names", ["'bead up', 'bead up'", "'bead up', 'bead down'"])
def test_layers_can_be_closed_by_what_they_stand_higher_than_their_sheets(names, kept):
    bead = stated(COARSE.replace("[sheet]", f'[sheet]\nkept = "{kept}"') + f"[stack]\nlayers = [{names}]\n")
    assert bead.stack.free == pytest.approx(start_of(bead, bead.steel).pressing.top - 2 * 0.2, abs=1e-6)


def test_unequal_beads_on_a_flat_layer_share_the_load_and_their_closures_add():
    high = replace(stated(), friction=0.0)
    low = replace(high, profile=high.profile.higher(-0.05))
    both = layers("bead up", "flat", "bead down", more='heights = ["0.2 mm", "0.15 mm"]\n')
    closures, found = curve(both, 0.12)
    single = [curve(high, 0.1), curve(low, 0.1)]
    for closure, load in zip(closures[2:], found[2:], strict=True):
        alone = [float(np.interp(load, loads, places)) for places, loads in single]
        assert closure == pytest.approx(sum(alone), rel=0.03)  # nodes touch one after the other, and the load is flat


def curve(bead, closure: float):
    loads, states = pressed_only(bead, closure)
    return np.array([state.closure for state in states]), loads


def test_a_flat_layer_between_beads_that_are_shifted_bends():
    names, off = ("bead up", "flat", "bead down"), 'offsets = ["0 mm", "0 mm", "0.6 mm"]\n'
    shifted, facing = (layers(*names, more=more, friction=0.1, ends="held") for more in (off, ""))
    assert (shifted.symmetric, facing.symmetric) == (False, True)
    loads = [load_at(one, 0.04, 2) for one in (shifted, facing)]
    assert loads[0] < 0.95 * loads[1]


def test_what_is_told_of_layers_in_contact():
    bead = layers("bead up", "bead up", friction=0.1)
    found = find(replace(bead, path=replace(bead.path, open_from=(), cycles=1)), lambda name: None)
    answer = BeadAnswer(found, law_of(found))
    between = [one for one in found.at[0].patches if one.deck == "layers 1 and 2"]
    assert sum(one.force for one in between) == pytest.approx(found.at[0].line_load[-1], rel=0.02)
    said = " ".join(str(one) for one in answer.report().sections)
    assert "pressed in contact with each other" in said
    assert "lying in series" not in said
    assert "layers in contact: bead up, bead up" in answer.carried.law.source


@pytest.mark.parametrize(
    ("names", "more", "message"),
    [
        (("bead", "bead up"), "", r"stack\.layers: a bead by itself does not lie beside"),
        (("bead", "bead"), 'heights = ["0.2 mm", "0.1 mm"]\n', r"stack\.heights: is of layers in contact"),
        (("bead up", "bead down"), 'heights = ["0.2 mm"]\n', r"stack\.heights: needs 2 entries, one for every bead"),
        (("bead up", "bead down"), 'heights = ["0.2 mm", "0.3 mm"]\n', r"stack\.heights\[1\]: must be between half"),
        (("bead up", "bead down"), 'offsets = ["0 mm", "1 mm"]\n', r"stack\.offsets\[1\]: must be at most as far"),
        (
            ("bead up", "bead down"),
            'offsets = ["0 mm", "0.3 mm"]\n',
            r"stack\.offsets: needs `ends` of the bead that are",
        ),
        (("bead up",) * 5, "", r"stack\.layers: of layers in contact there may be 4"),
        (
            ("bead up", "flat"),
            '[tolerances]\nheight = "10 um"\n',
            r"tolerances\.height: is not followed through layers",
        ),
        (("bead up", "flat"), '[stopper]\nwidth = "2 mm"\n', r"stopper: state its thickness, or fold = true"),
        (
            ("bead",),
            '[stopper]\nwidth = "2 mm"\nfold = true\n',
            r"stopper\.fold: must be thinner than the bead is high",
        ),
    ],
)
def test_a_mistake_is_said_by_its_field(names, more, message):
    with pytest.raises(InputError, match=message):
        layers(*names, more=more)


def test_a_fold_is_as_thick_as_its_sheet():
    text = COARSE.replace('thickness = "0.2 mm"', 'thickness = "0.12 mm"').replace('"0.08 mm", "0.13 mm"', '"0.04 mm"')
    text += '[stopper]\nfold = true\nwidth = "2 mm"\n'
    stopper = stated(text).stopper
    assert stopper.thickness == pytest.approx(0.12)
    assert stopper.closure == pytest.approx(0.08)
    measured = stated(text.replace("fold = true", 'fold = true\nthickness = "0.13 mm"')).stopper
    assert measured.closure == pytest.approx(0.07)
    assert "0.13 mm higher than one sheet" in FOLDED.format(measured.thickness)
    with pytest.raises(InputError, match=r"stopper\.thickness: must be at least the sheet's own, 0\.12 mm, of a fold"):
        stated(text.replace("fold = true", 'fold = true\nthickness = "0.11 mm"'))


def test_the_guide_says_in_words_what_its_table_of_layers_shows():
    text = shipped_files("guide")["bead"].read_text("utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ") and " mm |" in line]
    table = {name: np.array([float(one) for one in loads]) for name, *loads, _ in rows if len(loads) == 4}
    free = {name: float(last.removesuffix(" mm")) for name, *loads, last in rows if len(loads) == 4}
    words = " ".join(text.split())
    load = table["one in the other"] / table["facing each other"]
    closure = free["one in the other"] / free["facing each other"]
    assert (
        f"{load.min():.2f} to {load.max():.2f} times the load at {closure:.2f} of the closure, so "
        f"{load.min() / closure:.1f} to {load.max() / closure:.1f} times as stiff"
    ) in words
    less = 100.0 * (table["so, the upper shifted by 0.6 mm"] / table["so, facing over a flat layer"] - 1.0)
    assert (
        f"at 10 % they bear {-less[0]:.0f} % less than unshifted ones, at 40 % they bear {less[2]:.0f} % more, at 60 % "
        f"they bear {-less[3]:.0f} % less"
    ) in words
