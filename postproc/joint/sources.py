"""Where the data of a joint come from."""

from __future__ import annotations

from headjoint.model.joint import Joint
from headjoint.model.peak_cycles import peak_words


def sources(joint: Joint) -> list[tuple[str, str]]:
    """Return what materials, gasket laws and tightening data of a joint there are, and their sources."""
    found: list[tuple[str, str]] = []
    for part in ["fastener", "nut", *(["washer"] if joint.washer is not None else []), "head", "block"]:
        material = joint.part_material(part)
        for quantity in ("E", "expansion", "yield_strength", "bearing_limit"):
            if quantity in material.sources:
                name = f"{part}, {material.name}: {quantity.replace('_', ' ')}"
                found.append((name, material.sources[quantity]))
    for law in {zone.law.name: zone.law for zone in joint.gasket.zones}.values():
        spread = "" if law.spread is None else f"; range plus-minus {100 * law.spread:.0f} % of pressure"
        found.append((f"gasket law '{law.name}'", law.source + spread))
    for measured in joint.measured:
        found.append((", ".join(measured.carried), "; ".join([measured.source, *measured.cautions])))
    found.append(("scatter of tightening", joint.tightening.scatter_name))
    found.append(("embedding", joint.tightening.embedding_source))
    if joint.gas is not None:
        found.append(("peak pressure", peak_words(joint.gas.peaks)))
    return found
