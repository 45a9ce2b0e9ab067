"""The findings as one self-contained HTML page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from headjoint.model.joint import Joint
from headjoint.postproc.joint.assessment import Findings
from headjoint.postproc.present.page import write_page


def write_report(findings: Findings, document: dict[str, Any], pictures: Sequence[Path], folder: Path) -> Path:
    """Write report.html with the pictures inside and return its path."""
    return write_page(
        folder / "report.html",
        "report.html.j2",
        pictures,
        findings=findings,
        names=[state.name for state in findings.states["nominal"]],
        checks=document["checks"],
        sources=sources(findings.joint),
    )


def sources(joint: Joint) -> list[dict[str, str]]:
    """Return where materials, gasket laws and tightening data of a joint come from."""
    found = []
    parts = ["fastener", "nut", *(["washer"] if joint.washer is not None else []), "head", "block"]
    for part in parts:
        material = joint.part_material(part)
        for quantity in ("E", "expansion", "yield_strength", "bearing_limit"):
            if quantity in material.sources:
                found.append(
                    {
                        "item": f"{part}, {material.name}: {quantity.replace('_', ' ')}",
                        "text": material.sources[quantity],
                    }
                )
    laws = {zone.law.name: zone.law for zone in joint.gasket.zones}
    for law in laws.values():
        spread = "" if law.spread is None else f"; range plus-minus {100 * law.spread:.0f} % of pressure"
        found.append({"item": f"gasket law '{law.name}'", "text": law.source + spread})
    for measured in joint.measured:
        text = "; ".join([measured.source, *measured.cautions])
        found.append({"item": ", ".join(measured.carried), "text": text})
    found.append({"item": "scatter of tightening", "text": joint.tightening.scatter_name})
    found.append({"item": "embedding", "text": joint.tightening.embedding_source})
    return found
