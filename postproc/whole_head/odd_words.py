"""What is not alike along a row, in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from headjoint.model.base.figure import warming
from headjoint.model.cell import Cell
from headjoint.model.row import Damage, OddBore, OddStud
from headjoint.postproc.present.report import Paragraphs
from headjoint.postproc.present.units import value_text

TITLE = "What is not alike along the row"


def odd_section(cell: Cell, units: str) -> tuple[Paragraphs, ...]:
    """Return what is odd in a row as a list, nothing where all is alike."""
    sentences = (
        *(f"stud {one.number + 1}: {_stud(one, units)}" for one in cell.row.studs),
        *(f"bore {one.number + 1}: {text}" for one in cell.row.bores for text in _bore(one, units)),
        *(
            f"between bores {one.after + 1} and {one.after + 2} head and deck are hollow by "
            f"{value_text(1e3 * one.depth, 'um', units)}, over {value_text(one.width, 'mm', units)} across the row"
            for one in cell.row.hollows
        ),
    )
    return (Paragraphs(TITLE, sentences, listed=True),) if sentences else ()


def _stud(one: OddStud, units: str) -> str:
    if one.slack:
        return "carries nothing (left slack, or broken)"
    said = []
    if one.preload != 1.0:
        said.append(f"tightened to {100.0 * one.preload:g} % of the preload of the others")
    if one.retorque is not None:
        said.append(f"turned once more, after all others, to {100.0 * one.retorque:g} % of the preload")
    if one.longer > 0.0:
        said.append(f"longer by {value_text(one.longer, 'mm', units)}")
    return ", ".join(said) or "as the others"


def _bore(one: OddBore, units: str) -> Iterator[str]:
    if one.hotter:
        rises = ", ".join(f"{part} by {warming(rise).written(units)}" for part, rise in one.hotter.items())
        yield f"hotter than stated wherever the head is warm: {rises}"
    for damage in one.damage:
        yield f"{damage.zone} damaged {_where(damage)}: {_what(damage, units)}"


def _where(damage: Damage) -> str:
    if damage.end - damage.start >= 2.0 * np.pi - 1e-6:
        return "all round"
    return f"from {np.degrees(damage.start):.0f} to {np.degrees(damage.end):.0f} deg, anticlockwise from the row"


def _what(damage: Damage, units: str) -> str:
    step = "" if damage.step is None else f", clearance {value_text(1e3 * damage.step, 'um', units)}"
    return f'law "{damage.law.name}"{step}'
