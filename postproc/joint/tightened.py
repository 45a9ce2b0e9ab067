"""What the tightening gives, in words."""

from __future__ import annotations

from headjoint.model.joint import Joint
from headjoint.postproc.present.report import Paragraphs
from headjoint.postproc.present.units import figure_text, unit_in


def preload_paragraph(joint: Joint, preloads: dict[str, float], units: str) -> Paragraphs:
    """Return torque, preload and its range (forces in N), and where measured values come from."""
    unit, factor = unit_in("kN", units)
    shown = {name: figure_text(value / 1e3, factor) for name, value in preloads.items()}
    tight = joint.tightening
    torque = ""
    if tight.torque is not None:
        torque = (
            f"Torque {tight.torque / 1e3:.4g} N.m ({tight.torque / 1e3 * unit_in('N.m', 'workshop')[1]:.4g} lbf.ft). "
        )
    measured = tuple(f"{', '.join(one.carried)}: {one.source} ({one.file})." for one in joint.measured)
    text = (
        f"{torque}Preload {shown['nominal']} {unit} nominal, {shown['least']} to {shown['greatest']} by scatter: "
        f"{tight.scatter_name}. Sealing is judged at the least, stress at the greatest."
    )
    return Paragraphs("", (text, *measured))
