"""The JSON document of a solved joint."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from headjoint.postproc.joint.assessment import Findings
from headjoint.postproc.present.document import estimate_part, head, plain


def result_document(findings: Findings) -> dict[str, Any]:
    """Return the document of a solved joint."""
    document = head(findings.joint)
    document["program"]["solver"] = findings.solver
    name, change = findings.mesh_check.largest
    document |= {
        "finite_elements": {
            "preloads": findings.preloads,
            "cut_compliance": findings.cut_compliance,
            "relief_compliance": findings.relief_compliance,
            "unknowns": findings.unknowns,
            "interface_unknowns": findings.interface_unknowns,
            "states": plain(findings.states),
        },
        "estimate": {name: estimate_part(one) for name, one in findings.estimates.items()},
        "comparison": [plain(row) | {"ratio": plain(row.ratio)} for row in findings.rows],
        "criteria": [plain(one) | {"holds": one.holds} for one in findings.criteria],
        "verdict": {"holds": findings.holds, "sentence": findings.sentence},
        "checks": {
            "largest_balance": max(s.balance for states in findings.states.values() for s in states),
            "largest_residual": max(s.residual for states in findings.states.values() for s in states),
            "mesh": plain(findings.mesh_check) | {"largest": {"figure": name, "change": change}},
            "seconds": findings.seconds,
        },
    }
    return document
