"""Meshes of other programs: the same answer as the parametric mesh, and clear words where they cannot be used."""

from __future__ import annotations

import dataclasses
import re

import meshio
import numpy as np
import pytest
from test_cell import BANK, COARSE, RING, history_of

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.models.from_mesh import mesh_of
from headjoint.meshes.solid.tetrahedra import scaled_jacobians
from headjoint.model.base.errors import InputError
from headjoint.model.reading.reading import parse_cell, read_input
from headjoint.postproc.joint.mesh_file import write_cell_mesh


def solved_on(path):
    cell = read_input(path)
    return solved(cell, mesh_of(cell))


def solved(cell, mesh):
    model = cell_model(cell, mesh)
    return run(condensed_cell(model, condense_cell(model)))


def with_own_mesh(folder, text, file, unit="mm"):
    path = folder / "cell.toml"
    path.write_text(f'{text}\n[mesh]\nfile = "{file}"\nunit = "{unit}"\n')
    return path


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "file"),
    [
        pytest.param(BANK, "own.msh", marks=pytest.mark.long, id="bank, msh"),
        pytest.param(RING, "own.vtu", id="ring, vtu"),
    ],
)
def test_the_written_mesh_read_as_an_own_mesh_gives_the_same_answer(tmp_path, text, file):
    said = write_cell_mesh(parse_cell(text + COARSE), tmp_path / file)
    # a .msh knows groups only: elements that a wall's edge cuts are whole in it, and that is said
    whole = file.endswith(".msh")
    assert ("are whole in it" in said) is whole
    stated = parse_cell(text + COARSE)
    mesh = mesh_of(stated)
    own, parametric = (
        solved_on(with_own_mesh(tmp_path, text, file)),
        solved(stated, dataclasses.replace(mesh, filled=None) if whole else mesh),
    )
    for one, other in zip(own.states, parametric.states, strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-8)
        line, there = own.model.points.lines[0].at, parametric.model.points.lines[0].at
        assert one.equilibrium.pressure[line] == pytest.approx(other.equilibrium.pressure[there], rel=1e-7)


@pytest.mark.slow
def test_free_tetrahedra_with_unmatched_faces_agree_with_the_parametric_hexahedra():
    own = solved_on(shipped_cells()["six-stud-ring-own-mesh"])
    parametric = history_of(RING)
    for one, other in zip(own.states, parametric.states, strict=True):
        assert one.balance < 1e-8
        assert one.force == pytest.approx(other.force, rel=0.005)
        line, there = own.model.points.lines[0].at, parametric.model.points.lines[0].at
        found, expected = one.equilibrium.pressure[line], other.equilibrium.pressure[there]
        assert found.mean() == pytest.approx(expected.mean(), rel=0.01)
        assert found.min() == pytest.approx(expected.min(), rel=0.02)


def test_an_equilateral_tetrahedron_has_the_best_quality():
    corners = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float)
    edges = [(corners[i] + corners[j]) / 2 for i, j in ((0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3))]
    points = np.vstack([corners, edges]).T
    cells = np.arange(10)[:, None]
    assert scaled_jacobians(points, cells) == pytest.approx(-1.0)
    mirrored = points * np.array([[1.0], [1.0], [-1.0]])
    assert scaled_jacobians(mirrored, cells) == pytest.approx(1.0)


@pytest.fixture(scope="module")
def ring_mesh(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mesh")
    write_cell_mesh(parse_cell(RING + COARSE), folder / "good.vtu")
    return meshio.read(folder / "good.vtu")


def changed(mesh, *, points=None, cells=None, without=(), renamed=()):
    data = {dict(renamed).get(name, name): value for name, value in mesh.cell_data.items() if name not in without}
    return meshio.Mesh(mesh.points if points is None else points, cells or mesh.cells, cell_data=data)


def moved_head(mesh, shift):
    points = mesh.points.copy()
    for block, inside in zip(mesh.cells, mesh.cell_data["head"], strict=True):
        if block.type == "hexahedron20":
            points[np.unique(block.data[inside == 1])] += shift
    return points


def folded(mesh):
    blocks = [(block.type, block.data.copy()) for block in mesh.cells]
    first = blocks[0][1]
    first[0] = first[0][[4, 5, 6, 7, 0, 1, 2, 3, 12, 13, 14, 15, 8, 9, 10, 11, 16, 17, 18, 19]]
    return blocks


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda m: changed(m, without=["head"]), "no volume group 'head'; volume groups found: 'fastener'"),
        (lambda m: changed(m, without=["chamber"]), "no face group 'chamber'"),
        (lambda m: changed(m, renamed=[("head", "hed")]), "group 'hed' means nothing here; did you mean 'head'"),
        (lambda m: changed(m, renamed=[("foot", "fot")]), "'fot' means nothing here; did you mean 'foot'"),
        (lambda m: changed(m, points=m.points / 1000), r'length unit is wrong; \[mesh\] unit = "m" would fit'),
        (lambda m: changed(m, points=m.points / 25.4), r'length unit is wrong; \[mesh\] unit = "in" would fit'),
        (lambda m: changed(m, cells=folded(m)), "1 of 2653 elements are folded"),
        (lambda m: changed(m, points=moved_head(m, [0, 0, 0.5])), "must be flat at z = 0.75 mm"),
        (lambda m: changed(m, points=m.points + [0, 0, 5.0]), "must be flat at z = 0 mm, the deck"),
        (lambda m: changed(m, points=m.points * [1.0, 1.01, 1.0]), "beyond a plane of symmetry"),
        (lambda m: changed(m, points=m.points + [0.0, 1.0, 0.0]), "beyond a plane|no node lies on the plane"),
        (lambda m: changed(m, without=["bearing head face"]), "takes both face groups"),
        (lambda m: changed(m, without=["washer"]), "share no nodes with anything|has no .washer|no faces|not faces"),
    ],
)
def test_what_is_wrong_with_an_own_mesh_is_said(tmp_path, ring_mesh, change, expected):
    change(ring_mesh).write(tmp_path / "own.vtu")
    with pytest.raises(InputError) as caught:
        mesh_of(read_input(with_own_mesh(tmp_path, RING, "own.vtu")))
    assert str(caught.value).startswith("own.vtu: mesh.file: ")
    assert re.search(expected, str(caught.value))


def test_faces_that_do_not_meet_in_plan_are_refused(tmp_path, ring_mesh):
    def only(name, wanted):
        for block, inside in zip(ring_mesh.cells, ring_mesh.cell_data[name], strict=True):
            corners = ring_mesh.points[block.data]
            yield np.where(wanted(np.degrees(np.arctan2(corners[..., 1], corners[..., 0]).mean(axis=1))), inside, 0)

    mesh = changed(ring_mesh)
    mesh.cell_data["gasket head face"] = list(only("gasket head face", lambda angle: angle < 14.0))
    mesh.cell_data["gasket block face"] = list(only("gasket block face", lambda angle: angle > 16.0))
    mesh.write(tmp_path / "own.vtu")
    with pytest.raises(InputError, match="faces of the two groups do not meet in plan"):
        mesh_of(read_input(with_own_mesh(tmp_path, RING, "own.vtu")))


def test_a_mesh_in_inches_is_converted(tmp_path, ring_mesh):
    changed(ring_mesh, points=ring_mesh.points / 25.4).write(tmp_path / "own.vtu")
    mesh = mesh_of(read_input(with_own_mesh(tmp_path, RING, "own.vtu", "in")))
    assert np.ptp(mesh.points[2]) == pytest.approx(np.ptp(ring_mesh.points[:, 2]))


def test_first_order_cells_get_their_mid_edge_nodes(tmp_path, ring_mesh):
    corners = {"hexahedron20": ("hexahedron", 8), "quad8": ("quad", 4)}
    cells = [(corners[block.type][0], block.data[:, : corners[block.type][1]]) for block in ring_mesh.cells]
    changed(ring_mesh, cells=cells).write(tmp_path / "own.vtu")
    mesh = mesh_of(read_input(with_own_mesh(tmp_path, RING, "own.vtu")))
    assert mesh.cells.shape == (20, 2653)
    assert "raised to second order" in mesh.origin


@pytest.mark.parametrize(
    ("file", "content", "expected"),
    [
        ("missing.msh", None, "mesh.file: no such file"),
        ("own.stl", "solid", "mesh.file: must end in .msh or .vtu"),
        ("own.msh", "not a mesh", "cannot be read as a .msh mesh"),
        ("own.vtu", "<xml", "cannot be read as a .vtu mesh"),
        ("own.msh", "", "cannot be read as a .msh mesh"),
    ],
)
def test_a_file_that_is_no_mesh_is_named(tmp_path, file, content, expected):
    if content is not None:
        (tmp_path / file).write_text(content)
    with pytest.raises(InputError) as caught:
        mesh_of(read_input(with_own_mesh(tmp_path, RING, file)))
    assert re.search(expected, str(caught.value))


def test_sizes_mean_nothing_for_an_own_mesh(tmp_path):
    path = with_own_mesh(tmp_path, RING, "own.msh")
    path.write_text(path.read_text() + 'largest = "9 mm"\n')
    with pytest.raises(InputError, match="mesh.largest: means nothing for an own mesh"):
        read_input(path)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('height = "88 mm"', 'height = "95 mm"', "'bearing head face' lies between"),
        ('inner_diameter = "87.5 mm"', 'inner_diameter = "87.6 mm"', None),
    ],
)
def test_a_cell_file_that_speaks_of_another_head_is_refused(tmp_path, ring_mesh, old, new, expected):
    changed(ring_mesh).write(tmp_path / "own.vtu")
    cell = read_input(with_own_mesh(tmp_path, RING.replace(old, new), "own.vtu"))
    if expected is None:
        assert mesh_of(cell).cells.shape[1] > 0
        return
    with pytest.raises(InputError, match=expected):
        mesh_of(cell)
