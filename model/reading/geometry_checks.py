"""Checks that the parts of a joint fit into each other; each mistake one sentence with its field."""

from __future__ import annotations

from headjoint.model.base.errors import InputError
from headjoint.model.joint import Joint, bearing_ring

SMALLEST_GAP = 1e-3  # mm, of radii and heights that must differ to be meshed


def check_geometry(joint: Joint, seat_field: str) -> None:
    """Raise InputError for the first pair of parts that cannot be built as stated.

    `seat_field` is the table of the nut or bolt head in the file ("nut" or "bolt_head").
    """
    _check_heights(joint, seat_field)
    _check_fastener(joint)
    _check_seat(joint, seat_field)
    _check_zones(joint)
    _check_gas(joint)


def _need(condition: bool, problem: str, field: str, value: object = None) -> None:
    if not condition:
        raise InputError(problem, field=field, value=value)


def _check_heights(joint: Joint, seat_field: str) -> None:
    heights = {
        f"{seat_field}.height": joint.seat.height,
        "gasket.thickness": joint.gasket.thickness,
        "head.height": joint.head.height,
        "fastener.engagement": joint.fastener.engagement,
    }
    if joint.block.counterbore_depth > 0.0:
        heights["block.counterbore_depth"] = joint.block.counterbore_depth
    if joint.washer is not None:
        heights["washer.thickness"] = joint.washer.thickness
    for segment in joint.fastener.segments:
        heights["fastener.segments.length"] = min(
            segment.length, heights.get("fastener.segments.length", segment.length)
        )
    for name, height in heights.items():
        _need(height >= SMALLEST_GAP, f"must be at least {SMALLEST_GAP:g} mm to be meshed", name, height)


def _check_fastener(joint: Joint) -> None:
    fastener, block, head = joint.fastener, joint.block, joint.head
    holes = {"head.hole_diameter": head.hole_diameter}
    if block.counterbore_depth > 0.0:
        holes["block.counterbore_diameter"] = block.counterbore_diameter
    if joint.washer is not None:
        holes["washer.inner_diameter"] = joint.washer.inner_diameter
    widest = max(segment.diameter for segment in fastener.segments)
    for name, hole in holes.items():
        _need(
            hole > widest + SMALLEST_GAP,
            f"must be larger than the fastener in it ({widest:g} mm), clear all round",
            name,
            hole,
        )
    depth = block.counterbore_depth + fastener.engagement + block.hole_below
    _need(
        depth < block.height - SMALLEST_GAP,
        f"counterbore, engagement and hole below reach {depth:g} mm deep, but the block is {block.height:g} mm high",
        "fastener.engagement",
        fastener.engagement,
    )
    for part, hole, outer in (
        ("block", max(fastener.bonded_diameter, block.counterbore_diameter), block.outer_diameter),
        ("head", head.hole_diameter, head.outer_diameter),
    ):
        _need(
            outer > hole + SMALLEST_GAP,
            f"must be larger than the hole in it ({hole:g} mm)",
            f"{part}.outer_diameter",
            outer,
        )
    if block.counterbore_depth > 0.0:
        _need(
            block.counterbore_diameter >= fastener.bonded_diameter,
            f"must not be smaller than the thread below it ({fastener.bonded_diameter:g} mm)",
            "block.counterbore_diameter",
            block.counterbore_diameter,
        )


def _check_seat(joint: Joint, field: str) -> None:
    seat, washer, head = joint.seat, joint.washer, joint.head
    _need(
        seat.outer_diameter >= seat.bearing_outer_diameter,
        f"must not be larger than the outer diameter ({seat.outer_diameter:g} mm)",
        f"{field}.bearing_outer_diameter",
        seat.bearing_outer_diameter,
    )
    if joint.fastener.kind == "stud":
        _need(
            seat.outer_diameter > joint.fastener.nut_bonded_diameter + SMALLEST_GAP,
            f"must be larger than the thread in it ({joint.fastener.nut_bonded_diameter:g} mm)",
            f"{field}.outer_diameter",
            seat.outer_diameter,
        )
    inner, outer = bearing_ring(joint)
    below = "washer" if washer is not None else "head"
    _need(
        outer > inner + SMALLEST_GAP,
        f"leaves no bearing ring on the {below}: inner {inner:g} mm, outer {outer:g} mm",
        f"{field}.bearing_outer_diameter",
        seat.bearing_outer_diameter,
    )
    if washer is not None:
        ring = (
            max(washer.inner_diameter, head.hole_diameter),
            min(washer.outer_diameter, head.outer_diameter),
        )
        _need(
            ring[1] > ring[0] + SMALLEST_GAP,
            f"leaves no bearing ring on the head: inner {ring[0]:g} mm, outer {ring[1]:g} mm",
            "washer.outer_diameter",
            washer.outer_diameter,
        )


def _check_zones(joint: Joint) -> None:
    hole = joint.head.hole_diameter
    block_hole = (
        joint.block.counterbore_diameter if joint.block.counterbore_depth > 0.0 else joint.fastener.bonded_diameter
    )
    inner, outer = max(hole, block_hole), min(joint.head.outer_diameter, joint.block.outer_diameter)
    before = inner
    for zone in joint.gasket.zones:
        field = f"gasket.zones '{zone.name}'"
        _need(
            zone.outer_diameter > zone.inner_diameter + SMALLEST_GAP,
            f"must be larger than the inner diameter ({zone.inner_diameter:g} mm)",
            f"{field}.outer_diameter",
            zone.outer_diameter,
        )
        _need(
            zone.inner_diameter >= before - 1e-9,
            f"must be at least {before:g} mm, where the hole or the zone inside it ends",
            f"{field}.inner_diameter",
            zone.inner_diameter,
        )
        _need(
            zone.outer_diameter <= outer + 1e-9,
            f"must not be larger than head and block ({outer:g} mm)",
            f"{field}.outer_diameter",
            zone.outer_diameter,
        )
        _need(
            zone.inner_diameter <= zone.sealing_diameter <= zone.outer_diameter,
            f"must lie in its zone, {zone.inner_diameter:g} to {zone.outer_diameter:g} mm",
            f"{field}.sealing_diameter",
            zone.sealing_diameter,
        )
        _need(
            zone.step < joint.gasket.thickness,
            f"must be less than the gasket's thickness ({joint.gasket.thickness:g} mm)",
            f"{field}.step",
            zone.step,
        )
        before = zone.outer_diameter
    _need(
        min(zone.step for zone in joint.gasket.zones) == 0.0,
        "the highest zone has step 0; subtract the smallest step from all and from the thickness",
        "gasket.zones",
    )


def _check_gas(joint: Joint) -> None:
    gas = joint.gas
    if gas is None:
        return
    _need(
        gas.outer_diameter > gas.inner_diameter + SMALLEST_GAP,
        f"must be larger than the inner diameter ({gas.inner_diameter:g} mm)",
        "gas.outer_diameter",
        gas.outer_diameter,
    )
    _need(
        gas.inner_diameter >= joint.head.hole_diameter - 1e-9,
        f"must not be smaller than the hole of the head ({joint.head.hole_diameter:g} mm)",
        "gas.inner_diameter",
        gas.inner_diameter,
    )
    _need(
        gas.outer_diameter <= joint.head.outer_diameter + 1e-9,
        f"must not be larger than the head ({joint.head.outer_diameter:g} mm)",
        "gas.outer_diameter",
        gas.outer_diameter,
    )
