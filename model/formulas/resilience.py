"""Resilience of fastener and clamped parts, term by term, in mm/N.

VDI 2230 Part 1 sections 5.1.1 and 5.1.2 (formulas from memory, high confidence; the constructed examples in the
tests rework them).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.joint import Joint, bearing_ring

NUT_CORE = 0.5  # delta_G: half a diameter of engaged core takes part, in the nut and in the block
HEAD_HEIGHT = 0.5  # l_SK = 0.5 d for a hexagon head
BLOCK_LAYER = "block beside the counterbore"


@dataclass(frozen=True)
class Term:
    """One contribution to a resilience: name and mm/N."""

    name: str
    value: float


def bar(length: float, modulus: float, area: float) -> float:
    """Return l/(E A) in mm/N."""
    return length / (modulus * area)


def fastener_resilience(joint: Joint) -> tuple[Term, ...]:
    """Return delta_S term by term: head or nut end, shank and free thread, engaged core, thread teeth.

    delta_S = delta_SK + sum l_i/(E A_i) + delta_Gew + delta_G + delta_M (VDI 2230-1 sec. 5.1.1). A stud has an
    engaged thread at both ends; the terms delta_M are those that the joint carries in series.
    """
    fastener = joint.fastener
    E = fastener.material.E.at(joint.assembly_temperature)
    d, d_nut = fastener.thread.nominal_diameter, fastener.nut_thread.nominal_diameter
    terms = []
    if fastener.kind == "bolt":
        # the flange or hexagon head deforms like 0.5 d of nominal section
        terms.append(Term("bolt head, delta_SK", bar(HEAD_HEIGHT * d, E, math.pi / 4.0 * d**2)))
    else:
        terms.append(Term("core in the nut, delta_G", bar(NUT_CORE * d_nut, E, fastener.nut_thread.core_area)))
        terms.append(Term("nut and its thread, delta_M", fastener.nut_compliance))
    for number, segment in enumerate(fastener.segments, start=1):
        kind = "free thread" if segment.threaded else "shank"
        name = f"segment {number}, {kind} {segment.length:.4g} mm x {segment.diameter:.4g} mm"
        terms.append(Term(name, bar(segment.length, E, segment.area)))
    terms.append(Term("core in the block, delta_G", bar(NUT_CORE * d, E, fastener.thread.core_area)))
    terms.append(Term("tapped thread, delta_M", fastener.thread_compliance))
    return tuple(terms)


def cone_angle_tangent(clamped_length: float, bearing_diameter: float, outer_diameter: float) -> float:
    """Return tan phi_E of the deformation cone of a tapped joint (VDI 2230-1 sec. 5.1.2).

    tan phi_E = 0.348 + 0.013 ln beta_L + 0.193 ln y, beta_L = l_K/d_W, y = D'_A/d_W.
    """
    beta_L = clamped_length / bearing_diameter
    y = outer_diameter / bearing_diameter
    return 0.348 + 0.013 * math.log(beta_L) + 0.193 * math.log(y)


@dataclass(frozen=True)
class Layer:
    """A clamped layer from the bearing face down: thickness, hole and outer diameter (mm), modulus (MPa)."""

    name: str
    thickness: float
    hole: float
    outer: float
    modulus: float


def layer_resilience(layer: Layer, start: float, tangent: float) -> float:
    """Return the resilience (mm/N) of a layer whose cone starts at diameter `start` (mm) at its top.

    The cone grows by 2 tan phi per length up to the layer's outer diameter and goes on as a sleeve: the
    integral of dz/(E A(z)), with A = pi/4 (D(z)^2 - hole^2).
    """
    d_h, E = layer.hole, layer.modulus
    growth = 2.0 * tangent
    start = min(start, layer.outer)
    cone = min(layer.thickness, (layer.outer - start) / growth) if growth > 0.0 else 0.0
    total = 0.0
    if cone > 0.0:
        end = start + growth * cone
        # (2/(E pi d_h growth)) ln[(start + d_h)(end - d_h)/((start - d_h)(end + d_h))], as in sec. 5.1.2
        ratio = (start + d_h) * (end - d_h) / ((start - d_h) * (end + d_h))
        total += 2.0 * math.log(ratio) / (E * math.pi * d_h * growth)
    sleeve = layer.thickness - cone
    if sleeve > 0.0:
        edge = start if cone == 0.0 else min(layer.outer, start + growth * cone)
        total += bar(sleeve, E, math.pi / 4.0 * (edge**2 - d_h**2))
    return total


def clamped_layers(joint: Joint) -> tuple[Layer, ...]:
    """Return washer, head and the counterbored part of the block, from the bearing face down."""
    at = joint.assembly_temperature
    layers = []
    if joint.washer is not None:
        w = joint.washer
        layers.append(Layer("washer", w.thickness, w.inner_diameter, w.outer_diameter, w.material.E.at(at)))
    head, block = joint.head, joint.block
    layers.append(Layer("head", head.height, head.hole_diameter, head.outer_diameter, head.material.E.at(at)))
    if block.counterbore_depth > 0.0:
        layers.append(
            Layer(
                BLOCK_LAYER,
                block.counterbore_depth,
                block.counterbore_diameter,
                block.outer_diameter,
                block.material.E.at(at),
            )
        )
    return tuple(layers)


def clamped_resilience(joint: Joint) -> tuple[Term, ...]:
    """Return delta_P layer by layer (mm/N), the gasket left out.

    One cone for a tapped joint (ESV, w = 2) from the bearing ring's outer diameter d_W through all layers; for
    one material and one hole this is the standard's own formula (VDI 2230-1 sec. 5.1.2).
    """
    layers = clamped_layers(joint)
    d_W = bearing_ring(joint)[1]
    limit = min(joint.head.outer_diameter, joint.block.outer_diameter)
    tangent = cone_angle_tangent(joint.fastener.clamped_length, d_W, limit)
    terms, diameter = [], d_W
    for layer in layers:
        start = max(diameter, layer.hole * 1.0001)
        terms.append(Term(layer.name, layer_resilience(layer, start, tangent)))
        diameter = min(layer.outer, start + 2.0 * tangent * layer.thickness)
    return tuple(terms)


def total(terms: tuple[Term, ...]) -> float:
    """Return the sum of the terms, mm/N."""
    return sum(term.value for term in terms)
