"""The mesh of one fastener: volumes, paired faces, sizes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import shipped_text

from headjoint.meshes.one_fastener.grading import graded_lines
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.base.errors import MeshError
from headjoint.model.reading.reading import parse_joint, read_joint
from validation.joints import joint_files


def disc(outer: float, inner: float = 0.0) -> float:
    return math.pi / 4.0 * (outer**2 - inner**2)


@pytest.mark.parametrize("name", joint_files())
def test_every_part_has_the_volume_of_its_drawing(name):
    joint = read_joint(joint_files()[name])
    mesh = build(joint)
    fastener, block, head, seat = joint.fastener, joint.block, joint.head, joint.seat
    shank = sum(segment.length * segment.area for segment in fastener.segments)
    engaged = fastener.engagement * disc(fastener.bonded_diameter)
    top = 0.0 if fastener.kind == "bolt" else (seat.height + fastener.protrusion) * disc(fastener.nut_bonded_diameter)
    assert mesh.part_volume("fastener") == pytest.approx(shank + engaged + top, rel=1e-9)
    hole = 0.0 if fastener.kind == "bolt" else fastener.nut_bonded_diameter
    assert mesh.part_volume("nut") == pytest.approx(seat.height * disc(seat.outer_diameter, hole), rel=1e-9)
    assert mesh.part_volume("head") == pytest.approx(
        head.height * disc(head.outer_diameter, head.hole_diameter), rel=1e-9
    )
    tapped = (fastener.engagement + block.hole_below) * disc(fastener.bonded_diameter)
    bored = block.counterbore_depth * disc(block.counterbore_diameter)
    assert mesh.part_volume("block") == pytest.approx(
        block.height * disc(block.outer_diameter) - tapped - bored, rel=1e-9
    )


@pytest.mark.parametrize("name", joint_files())
def test_faces_that_meet_are_paired_over_the_same_radii(name):
    mesh = build(read_joint(joint_files()[name]))
    for interface in mesh.interfaces:
        lower, upper = mesh.facet_radii(interface.lower), mesh.facet_radii(interface.upper)
        assert np.array(lower) == pytest.approx(np.array(upper))
        assert not set(mesh.mesh.facets[:, interface.lower].ravel()) & set(mesh.mesh.facets[:, interface.upper].ravel())


def test_zones_tile_the_gasket_and_the_gas_ring_is_whole():
    joint = parse_joint(shipped_text("boosted-four-steel"))
    mesh = build(joint)
    for zone in joint.gasket.zones:
        interface = next(face for face in mesh.interfaces if face.name == zone.name)
        inner, outer = mesh.facet_radii(interface.lower)
        assert math.pi * np.sum(outer**2 - inner**2) == pytest.approx(zone.area)
    for facets in (mesh.gas_facets, mesh.deck_gas_facets):
        inner, outer = mesh.facet_radii(facets)
        assert math.pi * np.sum(outer**2 - inner**2) == pytest.approx(joint.gas.ring_area)
        assert not set(mesh.mesh.facets[:, facets].ravel()) & set(mesh.mesh.facets[:, mesh.bottom_facets].ravel())
    height = {mesh.mesh.p[1][mesh.mesh.facets[:, one]].max() for one in (mesh.gas_facets, mesh.deck_gas_facets)}
    assert height == {0.0, joint.gasket.thickness}


def test_a_tied_nut_shares_its_nodes_and_leaves_no_interface():
    text = shipped_text("boosted-four-steel")
    loose = build(parse_joint(text))
    tied = build(parse_joint(text.replace("[nut]\n", '[nut]\ncontact = "tied"\n')))
    assert len(tied.interfaces) == len(loose.interfaces) - 1
    assert tied.mesh.nvertices < loose.mesh.nvertices
    assert tied.mesh.nelements == loose.mesh.nelements


def test_lines_hit_every_break_and_grow_no_faster_than_asked():
    breaks = {0.0: 1.0, 3.0: 0.2, 3.5: 0.2, 40.0: 5.0}
    lines = graded_lines(breaks, 1.3, 6.0)
    assert all(np.abs(lines - place).min() < 1e-12 for place in breaks)
    steps = np.diff(lines)
    assert (steps > 0).all()
    assert max(steps[1:] / steps[:-1]) < 1.6
    assert steps.max() <= 6.0


def test_refinement_halves_the_elements_each_way():
    joint = parse_joint(shipped_text("boosted-four-steel"))
    ratio = build(joint, 2.0).mesh.nelements / build(joint).mesh.nelements
    assert 3.0 < ratio < 4.5


def test_an_absurd_element_size_is_refused_before_it_costs_anything():
    text = shipped_text("boosted-four-steel") + "\n[mesh]\nelement_size = 0.001\n"
    with pytest.raises(MeshError, match="give a larger one"):
        build(parse_joint(text))
