"""Full fields belong to the states they came from, and their files hold true elements."""

from __future__ import annotations

import meshio
import numpy as np
import pytest
from conftest import solved

from headjoint.meshes.one_fastener.single_stud import levels
from headjoint.model.formulas.estimate import estimate
from headjoint.postproc.joint.fields import cell_nodes, corner_values, fastener_stretch, part_edges, recover, write_vtu

JOINT = solved("boosted-four-steel")
FIELDS = recover(JOINT)


def assert_mid_edges_lie_between_their_ends(points: np.ndarray, cells: np.ndarray) -> None:
    for edge, (start, end) in enumerate(((0, 1), (1, 2), (2, 3), (3, 0))):
        middle = (points[cells[:, start]] + points[cells[:, end]]) / 2.0
        np.testing.assert_allclose(points[cells[:, 4 + edge]], middle, atol=1e-9)


def test_corners_run_anticlockwise():
    r, z = JOINT.assembled.body.basis.doflocs[:, cell_nodes(JOINT)[:, :4]]
    area = np.sum(r * np.roll(z, -1, axis=1) - np.roll(r, -1, axis=1) * z, axis=1) / 2.0
    assert (area > 0.0).all()


def axial_force(name: str, height: float) -> float:
    """Return the force through the fastener's cross-section of the element layer at a height, from its stress."""
    model, mesh = JOINT.assembled, JOINT.assembled.joint_mesh
    z = mesh.mesh.p[1][mesh.mesh.t]
    fastener = mesh.part == mesh.parts.index("fastener")
    layer = np.flatnonzero(fastener & (z.min(axis=0) < height) & (z.max(axis=0) > height))
    thick = np.ptp(z[:, layer], axis=0)
    assert np.allclose(thick, thick[0])
    return float(np.sum(FIELDS[name].stress[layer, :, 1] * model.body.weight[layer]) / thick[0])


@pytest.mark.parametrize("name", FIELDS)
@pytest.mark.parametrize("side", [-1.0, 0.0, 1.0])
def test_shank_carries_the_fastener_force_below_at_and_above_the_cut(name: str, side: float):
    # 0.1 mm above the cut is the layer whose faces at the cut see the overlap
    height = levels(JOINT.joint).cut + (0.1 if side == 0.0 else side * 20.03)
    assert axial_force(name, height) == pytest.approx(FIELDS[name].state.force, rel=0.005)


def test_only_the_asked_state_is_recovered():
    (only,) = recover(JOINT, ["firing"]).values()
    assert only.state.name == "firing"
    np.testing.assert_allclose(only.displacement, FIELDS["firing"].displacement, rtol=1e-12, atol=1e-15)


def test_corners_reproduce_a_linear_field():
    basis = JOINT.assembled.body.basis
    r, z = np.asarray(basis.global_coordinates())
    at_r, at_z = basis.doflocs[:, cell_nodes(JOINT)[:, :4]]
    np.testing.assert_allclose(corner_values(JOINT, 2.0 * r - 3.0 * z + 5.0), 2.0 * at_r - 3.0 * at_z + 5.0, atol=1e-9)


def test_corners_do_not_mix_parts():
    part = JOINT.assembled.joint_mesh.part.astype(float)
    carried = corner_values(JOINT, np.repeat(part[:, None], JOINT.assembled.body.weight.shape[1], axis=1))
    np.testing.assert_allclose(carried, np.repeat(part[:, None], 4, axis=1), atol=1e-12)


def test_part_edges_close_around_every_part():
    # every part is bounded by closed loops, so an even number of its edges ends at each node
    _, ends = np.unique(part_edges(JOINT), return_counts=True)
    assert (ends % 2 == 0).all()


def test_the_fastener_stretches_as_its_resilience_says():
    # delta_S of VDI 2230 replaces head and thread by lengths of rod; the block's own pull-up is in ours only
    stretch = fastener_stretch(JOINT, FIELDS["assembly"])
    assert stretch == pytest.approx(estimate(JOINT.joint).delta_S * JOINT.nominal.preload, rel=0.05)


def test_files_hold_every_state_with_its_displacement_stress_and_temperature(tmp_path):
    paths = write_vtu(JOINT, FIELDS, tmp_path)
    assert len(paths) == len(FIELDS) == len(list(tmp_path.iterdir()))
    for path, (name, fields) in zip(paths, FIELDS.items(), strict=True):
        mesh = meshio.read(path)
        (block,) = mesh.cells
        assert block.type == "quad8"
        assert_mid_edges_lie_between_their_ends(mesh.points, block.data)
        np.testing.assert_allclose(mesh.point_data["displacement [mm]"][:, :2], fields.nodal)
        assert (mesh.point_data["displacement [mm]"][:, 2] == 0.0).all()
        (part,) = mesh.cell_data["part"]
        (temperature,) = mesh.cell_data["temperature [degC]"]
        for number, part_name in enumerate(JOINT.assembled.joint_mesh.parts, 1):
            assert set(temperature[part == number]) == {fields.state.case.temperatures[part_name]}, name
        (axial,) = mesh.cell_data["axial stress [MPa]"]
        shank = (part == 1) & (fields.stress[:, :, 1].min(axis=1) > 0.0)
        low, high = fields.stress[shank, :, 1].min(axis=1), fields.stress[shank, :, 1].max(axis=1)
        assert shank.any()
        assert ((axial[shank] >= low) & (axial[shank] <= high)).all()
