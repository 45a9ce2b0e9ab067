"""The findings as one JSON document: format "headjoint-result", versioned, units by name.

Top level: format, version, units, program, joint (as resolved, with
the source of every property), tightening, finite_elements (states of the least, nominal and
greatest tightening, each with its contact profile over radius), estimate (the same by closed form), comparison,
criteria, verdict, checks. Every dataclass field appears under its own name; numbers are in the internal units
that `units` lists, never rounded. A name whose meaning changes raises `version`.
"""

from __future__ import annotations

import dataclasses
import json
import math
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from headjoint.model.base.figure import Text
from headjoint.model.formulas.estimate import Estimate

if TYPE_CHECKING:
    pass

FORMAT = "headjoint-result"
VERSION = 2
UNITS = {
    "force": "N",
    "length": "mm",
    "closure": "mm",
    "permanent_set": "mm",
    "overlap": "mm",
    "radius": "mm",
    "pressure": "MPa",
    "stress": "MPa",
    "temperature": "degC",
    "compliance": "mm/N",
    "torque": "N.mm",
    "factor": "1",
    "comparison": "as its unit field says",
}
CAUTION = (
    "A design aid, not a substitute for the fastener, gasket and engine makers' instructions, local codes and a "
    "qualified engineer. Fasteners fail violently."
)


def plain(value: Any) -> Any:
    """Return dataclasses, arrays and tuples as what JSON knows, texts in SI; what is not finite becomes null."""
    if isinstance(value, Text):
        return value.written()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [plain(entry) for entry in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Path):
        return value.name
    return value


def toml_text(text: str) -> str:
    """Write text as a TOML string, whose escapes are JSON's."""
    return json.dumps(text, ensure_ascii=False)


def estimate_part(estimate: Estimate) -> dict[str, Any]:
    """Return one closed-form estimate."""
    return {
        "preload": estimate.preload,
        "overlap": estimate.overlap,
        "delta_S": estimate.delta_S,
        "delta_P": estimate.delta_P,
        "fastener_terms": plain(estimate.fastener_terms),
        "clamped_terms": plain(estimate.clamped_terms),
        "gasket_loading_compliance": estimate.gasket_loading,
        "gasket_relief_compliance": estimate.gasket_relief,
        "cut_compliance": estimate.cut_compliance,
        "load_introduction_factor": estimate.load_introduction_factor,
        "load_introduction_source": estimate.load_introduction_source,
        "load_factor": estimate.Phi,
        "load_factor_rigid_gasket": estimate.Phi_bare,
        "embedding_loss": estimate.embedding_loss,
        "states": [
            {key: entry for key, entry in plain(state).items() if key != "case"}
            | {"temperatures": state.case.temperatures, "gas_force": state.case.gas_force}
            for state in estimate.states
        ],
    }


def opening(name: str, number: int, units: dict[str, str] | None = None, *, solved: bool = False) -> dict[str, Any]:
    """Return what every document begins with: format and its version, units where it states them, caution, program.

    solved : by finite elements, so that the program's sparse solver is named.
    """
    program = {"name": "headjoint", "version": version("headjoint")}
    if solved:
        from headjoint.cases.elements.linear_solver import solver_name  # the estimate, which is at once, needs none

        program["solver"] = solver_name()
    return {
        "format": name,
        "version": number,
        **({} if units is None else {"units": units}),
        "caution": CAUTION,
        "program": program,
    }


def stated(joint: Any) -> dict[str, Any]:
    """Return a joint by name and note, and as resolved."""
    return {"name": joint.name, "note": joint.note, "resolved": plain(joint)}


def head(joint: Any, name: str = FORMAT, number: int = VERSION, *, solved: bool = False) -> dict[str, Any]:
    """Return what the document of a joint begins with; solved : as `opening` has it."""
    tight = joint.tightening
    return opening(name, number, UNITS, solved=solved) | {
        "joint": stated(joint),
        "tightening": plain(tight) | {"scatter": tight.scatter},
    }
