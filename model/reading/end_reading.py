"""From what a cell file states of the row's ends to the `RowEnd`, and whether it can be built."""

from __future__ import annotations

import dataclasses

from headjoint.model.cell import Bank, Cell, Ring, RowEnd
from headjoint.model.files.cell_file import CellFile
from headjoint.model.reading.cell_checks import SMALLEST_GAP, refuse_unless

SHORTEST = 2.0  # mm
LONGEST = 2.0  # pitches


def with_end(layout: Bank | Ring, stated: CellFile) -> Bank | Ring:
    """Return a layout with the ends that its file states; InputError where they mean nothing or cannot be."""
    length, wall = stated.layout.end_length, stated.layout.end_wall
    if length is None:
        refuse_unless(
            wall is None, "means something only with `end_length`, where head and block end", "layout.end_wall"
        )
        return layout
    assert isinstance(layout, Bank)
    refuse_unless(
        layout.in_row is not None, "means something for the whole row only: state `in_row` in [layout]",
        "layout.end_length",
    )  # fmt: skip
    refuse_unless(
        SHORTEST <= length <= LONGEST * layout.pitch,
        f"must lie between {SHORTEST:g} mm and {LONGEST * layout.pitch:g} mm, two pitches; look at the unit",
        "layout.end_length", f"{length:g} mm",
    )  # fmt: skip
    refuse_unless(
        wall is None or wall <= length, f"must not exceed the length of the end ({length:g} mm)", "layout.end_wall",
        wall,
    )  # fmt: skip
    return dataclasses.replace(layout, end=RowEnd(length, min(stated.head.side_wall, length) if wall is None else wall))


def check_end(cell: Cell) -> None:
    """Raise InputError where what stands on the face where an end begins, or a jacket, sticks out of it."""
    layout, block = cell.layout, cell.block
    if not isinstance(layout, Bank) or layout.end is None:
        return
    half, length = layout.pitch / 2.0, layout.end.length
    wide = {
        "column": cell.head.column_diameter,
        "boss": block.boss_diameter,
        "nut or bolt head": cell.joint.seat.outer_diameter,
    }
    if cell.joint.washer is not None:
        wide["washer"] = cell.joint.washer.outer_diameter
    what = max(wide, key=wide.__getitem__)
    if any(x > half - SMALLEST_GAP for x, _ in layout.studs):
        refuse_unless(
            wide[what] / 2.0 + SMALLEST_GAP <= length,
            f"the {what} of the studs at the ends ({wide[what]:g} mm wide) sticks out: at least "
            f"{wide[what] / 2.0 + SMALLEST_GAP:g} mm", "layout.end_length", f"{length:g} mm",
        )  # fmt: skip
    if block.jacket_width > 0.0:
        reach = layout.bore / 2.0 + block.wall + block.jacket_width - half
        refuse_unless(
            reach + SMALLEST_GAP <= length,
            f"the water jacket of the last bore reaches the end of the block: at least {reach + SMALLEST_GAP:g} mm",
            "layout.end_length", f"{length:g} mm",
        )  # fmt: skip
    if cell.liner is not None:
        refuse_unless(
            cell.liner.outer_diameter <= layout.pitch,
            f"the liner reaches beyond the middle of the bridge ({half:g} mm from the bore's centre), where an end "
            "begins: leave `end_length` out", "liner.outer_diameter", cell.liner.outer_diameter,
        )  # fmt: skip
