"""Fields, pictures and the page."""

from __future__ import annotations

import meshio
import numpy as np
import pytest
from conftest import solved

from headjoint.postproc.joint.fields import cell_nodes, recover, von_mises, write_vtu
from headjoint.postproc.joint.findings import state_findings
from headjoint.postproc.joint.pictures import draw_all


def test_mid_edge_nodes_lie_between_their_ends():
    joint = solved("boosted-four-steel")
    places = joint.assembled.body.basis.doflocs.T[cell_nodes(joint)]
    for edge, (a, b) in enumerate(((0, 1), (1, 2), (2, 3), (3, 0))):
        assert places[:, 4 + edge] == pytest.approx((places[:, a] + places[:, b]) / 2)


@pytest.mark.parametrize("name", ["boosted-four-steel", "iron-diesel-steel"])
def test_axial_stress_through_the_shank_carries_the_fastener_force(name):
    joint = solved(name)
    mesh, body = joint.assembled.joint_mesh, joint.assembled.body
    height = mesh.mesh.p[1][mesh.mesh.t].mean(axis=0)
    middle = np.median(height[mesh.part == 0])
    row = np.abs(height - middle) == np.abs(height - middle)[mesh.part == 0].min()
    row &= mesh.part == 0
    for fields in recover(joint).values():
        weight = body.weight[row]
        area = np.pi / 4 * max(s.diameter for s in joint.joint.fastener.segments if not s.threaded) ** 2
        mean = float(np.sum(weight * fields.stress[row][:, :, 1]) / weight.sum())
        # the row may lie in the waist: take the area of the mesh itself
        corners = mesh.mesh.p[0][mesh.mesh.t[:, row]]
        area = np.pi * corners.max() ** 2
        assert mean * area == pytest.approx(fields.state.force, rel=0.005)


def test_states_are_written_with_their_fields(tmp_path):
    joint = solved("boosted-four-steel")
    paths = write_vtu(joint, recover(joint, ["hot", "firing"]), tmp_path)
    assert [path.name for path in paths] == ["1-hot.vtu", "2-firing.vtu"]
    read = meshio.read(paths[1])
    assert read.cells[0].type == "quad8"
    assert set(read.point_data) == {"displacement [mm]"}
    assert {"part", "temperature [degC]", "von Mises stress [MPa]", "axial stress [MPa]"} <= set(read.cell_data)
    assert np.unique(read.cell_data["temperature [degC]"][0]) == pytest.approx([104.0, 108.0, 118.0])


def test_von_mises_of_plain_tension_is_the_tension():
    assert von_mises(np.array([0.0, 100.0, 0.0, 0.0])) == pytest.approx(100.0)
    assert von_mises(np.array([50.0, 50.0, 50.0, 0.0])) == pytest.approx(0.0)
    assert von_mises(np.array([0.0, 0.0, 0.0, 10.0])) == pytest.approx(10.0 * 3**0.5)


@pytest.mark.parametrize("name", ["boosted-four-copper", "iron-diesel-steel"])
def test_every_picture_is_drawn(name, tmp_path):
    from PIL import Image

    joint = solved(name)
    for path in draw_all(joint, state_findings(joint.nominal), recover(joint), tmp_path):
        with Image.open(path) as picture:
            assert picture.width > 1000
            assert np.asarray(picture.convert("L")).std() > 10
