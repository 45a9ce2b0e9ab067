"""Published checks and benchmarks; `python -m validation` prints the table."""

from __future__ import annotations

from collections.abc import Callable

from validation.check import Check


def _group(module: str, function: str = "checks") -> Callable[[], list[Check]]:
    def run() -> list[Check]:
        from importlib import import_module

        return getattr(import_module(f"validation.{module}"), function)()

    return run


FAST_GROUPS: dict[str, Callable[[], list[Check]]] = {
    "Closed form: threads, tightening, resilience, load factor, strength": _group("closed_form"),
    "Axisymmetric elements: cylinders, heat, thick plates, contact, member stiffness": _group("elasticity"),
    "Whole joints that strength of materials solves exactly": _group("joint_limits"),
    "Heat: walls, cylinders, films, contacts, in space and in time": _group("heat_limits"),
    "A shipped joint solved by other means": _group("free_mesh"),
    "Studies: probabilities, what matters and sizes of a linear joint": _group("study_limits"),
    "A rig's readings: friction from torque and tension, yield by offset, the rig as a joint": _group("rig_fits"),
    "A stud tightened past yield, heated, fired and used again, as a solid that flows by another library": _group(
        "independent_yield"
    ),
    "A joint that remembers: yield, relaxation, creep, embedding, fatigue": _group("service_limits"),
}
GROUPS = FAST_GROUPS | {  # half a minute each, or more
    "A pressed bead: beams on rolling feet, a clamped strip, plastic hinges, meshes and steps, another library": _group(
        "bead_limits"
    ),
    "A pressed bead: orders of its elements and steps": _group("bead_orders"),
    "Bore cell: elements, patch tests, cells against each other": _group("bore_cell_limits"),
    "A bore cell solved by another finite-element library": _group("independent_cell"),
    "Two bores of a bank, of which one fires, solved by another finite-element library": _group(
        "independent_cell", "bank_checks"
    ),
    "What a one-dimensional law of yield leaves out at the ends of a waist, by that library": _group(
        "independent_yield", "end_checks"
    ),
    "Heat of a shipped joint by another finite-element library, and in time by SciPy": _group("independent_heat"),
}
