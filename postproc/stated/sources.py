"""Where the data of a joint come from."""

from __future__ import annotations

from headjoint.model.joint import Joint
from headjoint.model.peak_cycles import peak_words

WORDS = {"E": "Young's modulus", "nu": "Poisson's ratio"}


def sources(joint: Joint) -> list[tuple[str, str]]:
    """Return what materials, gasket laws and tightening data of a joint there are, and their sources."""
    found: list[tuple[str, str]] = []
    for part in ["fastener", "nut", *(["washer"] if joint.washer is not None else []), "head", "block"]:
        material = joint.part_material(part)
        alike: dict[str, list[str]] = {}
        for quantity, source in material.sources.items():
            alike.setdefault(source, []).append(WORDS.get(quantity, quantity.replace("_", " ")))
        found += [(f"{part}, {material.name}: {', '.join(names)}", source) for source, names in alike.items()]
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
