"""The gasket in plan: pressure inside the faces, whole bores, the outline of what seals, pictures that move."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from conftest import COARSE
from matplotlib.collections import LineCollection, PolyCollection
from PIL import Image as Picture

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import CellModel, cell_model
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell.views import magnified
from headjoint.postproc.plan.face_field import GasketField, gasket_field
from headjoint.postproc.plan.level_lines import above_on_edges, level_lines, outer_edges
from headjoint.postproc.plan.panel import Panel, PlanBore, PlanStud, PlanWindow, PlanZone
from headjoint.postproc.plan.picture import plan_picture
from headjoint.postproc.plan.whole import whole
from headjoint.postproc.present.drawing import blank_figure, legend_height, round_ticks
from headjoint.postproc.present.moving import ACROSS, save_moving


@cache
def cell_of(name: str) -> CellModel:
    cell = parse_cell(shipped_cells()[name].read_text("utf-8") + COARSE)
    return cell_model(cell, build_cell(cell))


@cache
def field_of(name: str) -> GasketField:
    model = cell_of(name)
    return gasket_field(model.points, model.mesh.points[:2, model.points.gasket_faces])


def areas(field: GasketField) -> np.ndarray:
    (ax, bx, cx), (ay, by, cy) = field.places[:, field.triangles].transpose(0, 2, 1)
    return 0.5 * np.abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay))


def closure_of(name: str) -> tuple[np.ndarray, np.ndarray]:
    """A closure that is quadratic over the plan, at interface points (as laws read it, steps off) and in the field."""
    model, field = cell_of(name), field_of(name)
    steps = np.zeros(model.points.places.shape[1])
    for group in model.points.groups:
        steps[group.points] = group.step

    def closure(places: np.ndarray) -> np.ndarray:
        x, y = places / 70.0
        return 0.18 + 0.05 * x - 0.04 * y + 0.03 * x * y - 0.03 * x**2

    in_field = closure(field.places)
    for piece in field.pieces:
        in_field[piece.at] -= piece.group.step
    return closure(model.points.places) - steps, in_field


class TestThePressureInsideTheFaces:
    @pytest.mark.parametrize("name", ["boosted-four", "six-stud-ring"])
    def test_the_triangles_cover_the_gasket(self, name: str):
        points = cell_of(name).points
        # chords instead of arcs, four to an edge: a few parts in ten thousand
        assert areas(field_of(name)).sum() == pytest.approx(points.weight[points.zone >= 0].sum(), rel=2e-3)

    def test_it_is_that_of_the_law_under_the_closure_there(self):
        # quadratic shape functions carry a quadratic closure exactly where faces have straight edges; curved ones bend
        # it by little
        name = "boosted-four"
        closure, there = closure_of(name)
        field = field_of(name)
        found = field.pressures(closure, np.zeros(len(closure)), 20.0)
        for piece in field.pieces:
            law = piece.group.law
            wanted = [law.pressure(float(one), 0.0, 20.0) for one in there[piece.at][::29]]
            assert found[piece.at][::29] == pytest.approx(wanted, abs=0.15), piece.group.name
        assert found.max() > 10.0

    def test_a_zone_that_springs_back_follows_its_own_line(self):
        name = "boosted-four"
        closure, there = closure_of(name)
        field, points = field_of(name), cell_of(name).points
        before = np.zeros(len(closure))
        for group in points.groups:
            if group.kind == "gasket":
                own = group.points
                before[own] = group.law.sets_after(closure[own], before[own], 20.0)
        opened = field.pressures(closure - 0.004, before, 20.0)
        for piece in field.pieces:
            law = piece.group.law
            sets = [law.set_after(float(one), 0.0, 20.0) for one in there[piece.at][::29]]
            wanted = [law.pressure(float(c) - 0.004, s, 20.0) for c, s in zip(there[piece.at][::29], sets, strict=True)]
            assert opened[piece.at][::29] == pytest.approx(wanted, abs=0.5), piece.group.name
        assert (opened < field.pressures(closure, before, 20.0) + 1e-9).all()


class TestWholeBores:
    def test_a_quarter_of_a_bore_becomes_the_whole(self):
        field, found = field_of("boosted-four"), whole(cell_of("boosted-four").cell, beyond=0.0)
        assert len(found.images) == 4
        layout = cell_of("boosted-four").cell.layout
        size = found.high - found.low
        assert size == pytest.approx([layout.pitch, 2.0 * layout.half_width])
        # the gasket of a tile is the rectangle less the bore and, each half in it, four holes
        zones, hole = cell_of("boosted-four").cell.zones, cell_of("boosted-four").cell.head.hole_diameter
        left = size.prod() - np.pi / 4.0 * (zones[0].inner_diameter ** 2 + 2.0 * hole**2)
        assert 4.0 * areas(field).sum() == pytest.approx(left, rel=2e-3)

    def test_every_stud_of_a_bore_is_shown_once(self):
        found = whole(cell_of("boosted-four").cell)
        x, y = cell_of("boosted-four").cell.layout.studs[0]
        assert sorted(found.places_of(x, y)) == sorted([(x, y), (-x, y), (x, -y), (-x, -y)])
        ring = cell_of("six-stud-ring").cell
        assert len(whole(ring).places_of(ring.layout.stud_circle / 2.0, 0.0)) == ring.layout.number

    def test_all_bores_of_a_row_are_whole_and_none_is_shown_twice(self):
        cell = cell_of("boosted-four").cell
        row = replace(cell, layout=replace(cell.layout, bores=3))
        found = whole(row)
        pitch = row.layout.pitch
        assert [found.places_of(x, y) for x, y in row.bore_centres] == [[(0, 0)], [(pitch, 0)], [(2 * pitch, 0)]]
        assert found.low[0] < -pitch / 2.0
        assert found.high[0] > 2.5 * pitch


class TestTheOutlineOfWhatSeals:
    def test_it_crosses_a_triangle_where_the_value_is_reached(self):
        # a value that rises by 1 over every mm from -1 at x = 0 is 0 at x = 1, whatever y
        places = np.array([[0.0, 4.0, 0.0, 4.0], [0.0, 0.0, 4.0, 4.0]])
        lines = level_lines(places, np.array([[0, 1, 2], [1, 3, 2]]), places[0] - 1.0)
        assert lines[:, :, 0] == pytest.approx(1.0)
        assert sorted(np.unique(np.round(lines[:, :, 1], 9))) == [0.0, 3.0, 4.0]

    def test_edges_count_as_far_as_they_lie_above(self):
        places = np.array([[0.0, 4.0, 0.0, 4.0], [0.0, 0.0, 4.0, 4.0]])
        # the second triangle has corners of its own at the places of the first
        places = np.hstack([places, places])
        triangles = np.array([[0, 1, 2], [5, 7, 6]])
        edges = outer_edges(places, triangles)
        assert len(edges) == 4
        kept = above_on_edges(places, edges, places[0] - 1.0)
        length = np.linalg.norm(kept[:, 0] - kept[:, 1], axis=1).sum()
        assert length == pytest.approx(3.0 + 3.0 + 4.0)
        assert kept[:, :, 0].min() == pytest.approx(1.0)


def panel(title: str, *, short: bool = False, turned: bool = False) -> Panel:
    """A bore of 40 mm in a gasket of 100 by 80 mm, coarsely."""
    turn = np.linspace(0.0, 2.0 * np.pi, 25)
    inner = np.stack([20.0 * np.cos(turn), 20.0 * np.sin(turn)])
    outer = np.stack([50.0 * np.cos(turn), 40.0 * np.sin(turn)])
    number = np.arange(24)
    triangles = np.concatenate(
        [np.stack([number, number + 1, number + 25], 1), np.stack([number + 1, number + 26, number + 25], 1)]
    )
    places = np.hstack([inner, outer])
    return Panel(
        title=title,
        places=places,
        triangles=triangles,
        pressure=np.linspace(0.0, 37.0, places.shape[1]),
        sealed=np.stack([inner[:, :-1].T, inner[:, 1:].T], axis=1),
        short=triangles[:3] if short else triangles[:0],
        ring_width=5.0,
        bores=(PlanBore(0.0, 0.0, 20.0, 22.5, ("bore 1, fired", "least 9.0 MPa", "needed 12.0 MPa"), ((22.5, 0.0),)),),
        studs=(PlanStud(40.0, 30.0, 5.0, 61.2e3, turned), PlanStud(-40.0, 30.0, 5.0, 58.9e3)),
    )


WINDOW = PlanWindow(np.array([-50.0, -40.0]), np.array([50.0, 40.0]))
ZONES = (PlanZone("bead", 22.5), PlanZone("body", 30.0))


class TestThePicture:
    @pytest.mark.parametrize("units", ["si", "workshop"])
    @pytest.mark.parametrize("count", [1, 2, 5, 7])
    def test_no_word_is_cut_off_or_covers_another(self, count: int, units: str, words_of):
        names = ["firing", "assembly", "settled after embedding", "hot", "cold again", "cold start", "last"]
        panels = [panel(name, short=True, turned=number == 0) for number, name in enumerate(names[:count])]
        title = "Gasket contact pressure in plan: a joint with a name that takes more than one line of a title"
        said = words_of(plan_picture(title, panels, WINDOW, ZONES, units), f"{count} panels")
        assert {"bead", "body"} < set(said)

    def test_forces_stand_in_the_studs_holes(self, words_of):
        said = words_of(plan_picture("forces", [panel("firing")], WINDOW, ZONES), "forces")
        assert {"61.2", "58.9"} < set(said)
        assert any("force, kN" in word for word in said)

    def test_what_presses_less_than_needed_is_hatched_and_said(self, words_of):
        leaks, holds = (plan_picture("seal", [panel("firing", short=short)], WINDOW, ZONES) for short in (True, False))
        for figure, expected in ((leaks, 1), (holds, 0)):
            hatched = [one for one in figure.axes[0].collections if isinstance(one, PolyCollection)]
            assert len(hatched) == expected
            assert any(isinstance(one, LineCollection) for one in figure.axes[0].collections)
            assert sum("less than needed" in word for word in words_of(figure, "seal")) == expected

    def test_the_scale_ends_at_a_round_number_above_nearly_all(self):
        figure = plan_picture("scale", [panel("firing")], WINDOW, ZONES)
        # 99.5 % of the pressures are below 36.8 MPa: the next that divides roundly is 40
        assert figure.axes[1].get_yticks() == pytest.approx(round_ticks(36.8))
        assert figure.axes[1].get_yticks()[-1] == 40.0


@pytest.mark.parametrize(("largest", "factor"), [(0.0123, 200.0), (0.0601, 50.0), (0.0599, 100.0)])
def test_displacements_are_magnified_by_1_2_or_5_times_a_power_of_ten(largest: float, factor: float):
    # at most 6 % of a height of 100 mm is drawn: 6/0.0123 = 488, 6/0.0601 = 99.8, 6/0.0599 = 100.2
    change = np.array([[0.0, -largest, 0.0], [0.5 * largest, 0.0, 0.0]])
    assert magnified(change, 100.0) == factor


def test_a_legend_has_the_room_of_its_longest_names():
    assert legend_height(["a", "b", "c"]) < legend_height(["a", "b", "c", "d"]) < legend_height(["a\na", "b", "c", "d"])


def test_figures_one_after_another_become_frames_of_one_size(tmp_path):
    def frame(number: int):
        figure = blank_figure(4.0, 3.0)
        figure.text(0.1 * number + 0.1, 0.5, str(number))
        return figure

    path = save_moving([lambda number=number: frame(number) for number in range(4)], tmp_path / "four.gif")
    with Picture.open(path) as moving:
        assert (moving.n_frames, moving.size, moving.info["loop"]) == (4, (ACROSS, int(ACROSS * 0.75)), 0)
        assert moving.convert("RGB").getpixel((5, 5)) == (255, 255, 255)
        assert [(moving.seek(number), moving.info["duration"])[1] for number in range(4)] == [350, 350, 350, 2000]
