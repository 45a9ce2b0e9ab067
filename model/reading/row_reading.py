"""From what a cell file, or an option, states of studs, bores, ends and sides to the row as it was found."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from numbers import Integral
from pathlib import Path

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.base.units import TemperatureRise
from headjoint.model.cell import Bank, BlockShape, Cell, CellMesh, ExhaustSide, HeadShape, Liner, PlanZone, Ring, RowEnd
from headjoint.model.files.cell_file import CellFile
from headjoint.model.files.joint_file import LawTable
from headjoint.model.files.row_file import DamageTable, HotterTable, OddStudTable, RowTable
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.shipped_laws import gasket_law, library
from headjoint.model.reading.cell_checks import SMALLEST_GAP, check_cell, check_round_stud, refuse_unless
from headjoint.model.reading.stated_laws import laws_of
from headjoint.model.row import Damage, Hollow, OddBore, OddStud, RowAsFound

SHORTEST_END, LONGEST_END = 2.0, 2.0  # mm; pitches
DEEPEST = 2.0  # mm; no face that is used again is less flat than that (common practice, no source)


def resolve_row(
    stated: RowTable, layout: Bank | Ring, zones: Sequence[PlanZone], laws: Mapping[str, LawTable], folder: Path
) -> RowAsFound:
    """Return the row as a file states it; InputError where it names a stud, bore, zone or law that is not there."""
    if stated == RowTable():
        return RowAsFound()
    refuse_unless(isinstance(layout, Bank), "belongs to a row of bores", "row")
    assert isinstance(layout, Bank)
    refuse_unless(
        layout.in_row is not None, "means something for the whole row only: state `in_row` in [layout]", "row"
    )
    own = laws_of(dict(laws), folder)
    studs = tuple(_stud(one, layout.studs_in_row, f"row.studs[{index}]") for index, one in enumerate(stated.studs))
    refuse_twice([one.number for one in studs], "stud", "row.studs")
    bores = []
    for index, bore in enumerate(stated.bores):
        field = f"row.bores[{index}]"
        _check_bore(bore.bore, layout, f"{field}.bore")
        damage = tuple(_damage(one, zones, own, f"{field}.damage[{place}]") for place, one in enumerate(bore.damage))
        bores.append(OddBore(bore.bore - 1, _hotter(bore.hotter), damage))
    refuse_twice([one.number for one in bores], "bore", "row.bores")
    hollows = []
    for index, hollow in enumerate(stated.hollows):
        field = f"row.hollows[{index}]"
        refuse_unless(
            hollow.after_bore < (layout.in_row or 0),
            f"there are {layout.in_row} bores, so {(layout.in_row or 0) - 1} places between two", f"{field}.after_bore",
            hollow.after_bore,
        )  # fmt: skip
        refuse_unless(
            hollow.depth <= DEEPEST, f"is more than faces lack that are used (at most {DEEPEST:g} mm)",
            f"{field}.depth", hollow.depth,
        )  # fmt: skip
        hollows.append(Hollow(hollow.after_bore - 1, hollow.depth, hollow.width or layout.pitch))
    return RowAsFound(studs, tuple(bores), tuple(hollows))


def with_slack(cell: Cell, numbers: Iterable[int]) -> Cell:
    """Return a cell of whose row studs (numbers from 1) carry nothing; InputError where there is no such stud."""
    numbers = tuple(numbers)
    if not numbers:
        return cell
    count = _bank(cell, "slack").studs_in_row
    known = {one.number: one for one in cell.row.studs}
    for number in numbers:
        refuse_unless(_is_one_of(number, count), f"there are {count} studs, 1 to {count}", "slack", number)
        known[number - 1] = OddStud(number - 1, slack=True)
    return dataclasses.replace(cell, row=dataclasses.replace(cell.row, studs=tuple(known.values())))


def with_hotter(cell: Cell, rises: Mapping[int, str | float]) -> Cell:
    """Return a cell of whose row bores (numbers from 1) have head, block and gasket hotter by so much.

    Raises InputError where there is no such bore, or no such rise.
    """
    if not rises:
        return cell
    layout = _bank(cell, "hotter")
    known = {one.number: one for one in cell.row.bores}
    for number, stated in rises.items():
        _check_bore(number, layout, "hotter")
        try:
            rise = TemperatureRise.read(stated)
        except ValueError as error:
            raise InputError(str(error), field="hotter", value=stated) from None
        before = known.get(number - 1, OddBore(number - 1))
        known[number - 1] = dataclasses.replace(before, hotter=_hotter(HotterTable(head=rise, block=rise)))
    return dataclasses.replace(cell, row=dataclasses.replace(cell.row, bores=tuple(known.values())))


def _bank(cell: Cell, field: str) -> Bank:
    layout = cell.layout
    if not isinstance(layout, Bank) or layout.in_row is None:
        raise InputError("means something for a whole row only: state `in_row` in [layout]", field=field)
    return layout


def refuse_twice(numbers: Sequence[int], what: str, field: str) -> None:
    """Refuse numbers (from 0) of which one stands there twice."""
    for index, number in enumerate(numbers):
        refuse_unless(number not in numbers[:index], f"{what} {number + 1} is stated twice", f"{field}[{index}]")


def _stud(stated: OddStudTable, count: int, field: str) -> OddStud:
    refuse_unless(stated.stud <= count, f"there are {count} studs, 1 to {count}", f"{field}.stud", stated.stud)
    for name, given in (("preload", stated.preload != 1.0), ("retorque", stated.retorque is not None)):
        refuse_unless(not (stated.slack and given), "means nothing for a stud that carries nothing", f"{field}.{name}")
    return OddStud(stated.stud - 1, stated.slack, stated.preload, stated.retorque, stated.longer)


def _check_bore(number: int, layout: Bank, field: str) -> None:
    refuse_unless(_is_one_of(number, layout.in_row or 0), f"there are {layout.in_row} bores", field, number)


def _is_one_of(number: object, count: int) -> bool:
    """Return whether something is a whole number from 1 to `count`; a program may give anything."""
    return isinstance(number, Integral) and not isinstance(number, bool) and 1 <= int(number) <= count


def _hotter(stated: HotterTable) -> dict[str, float]:
    gasket = (stated.head + stated.block) / 2.0 if stated.gasket is None else float(stated.gasket)
    rises = {"head": float(stated.head), "block": float(stated.block), "gasket": gasket}
    return {part: rise for part, rise in rises.items() if rise > 0.0}


def _damage(stated: DamageTable, zones: Sequence[PlanZone], own: Mapping[str, GasketLaw], field: str) -> Damage:
    names = [zone.name for zone in zones]
    if stated.zone not in names:
        raise unknown_name("zone of the gasket", stated.zone, names, field=f"{field}.zone")
    zone = zones[names.index(stated.zone)]
    refuse_unless(
        stated.law is not None or stated.step is not None, "state the law or the step that it has there", field
    )
    refuse_unless((stated.start is None) == (stated.end is None), "give start and end, or neither for all round", field)
    law = zone.law
    if stated.law is not None:
        if stated.law not in own and stated.law not in library():
            raise unknown_name("gasket law", stated.law, [*own, *library()], field=f"{field}.law")
        law = own[stated.law] if stated.law in own else gasket_law(stated.law)
    start, end = (0.0, 2.0 * math.pi) if stated.start is None else (float(stated.start), float(stated.end or 0.0))
    # from 0 to 360 deg is all round, from 360 to 0 deg nothing
    apart = end - start if end - start >= 2.0 * math.pi else (end - start) % (2.0 * math.pi)
    refuse_unless(apart > 0.0, "is where it starts, too: nothing is damaged", f"{field}.end")
    return Damage(stated.zone, law, stated.step, start, end)


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
        SHORTEST_END <= length <= LONGEST_END * layout.pitch,
        f"must lie between {SHORTEST_END:g} mm and {LONGEST_END * layout.pitch:g} mm, two pitches; look at the unit",
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


def with_exhaust(layout: Bank | Ring, stated: CellFile) -> Bank | Ring:
    """Return a layout with both its sides, unlike where the file says so; InputError where that means nothing."""
    own = stated.exhaust_side
    if own is None:
        return layout
    refuse_unless(isinstance(layout, Bank), "belongs to a row of bores", "exhaust_side")
    assert isinstance(layout, Bank)
    refuse_unless(stated.mesh.file is None, "means nothing with an own mesh, which has its sides", "exhaust_side")
    refuse_unless(
        own.half_width is not None or own.side_wall is not None,
        "states nothing that is unlike the other side: give `half_width` or `side_wall`, or leave it out",
        "exhaust_side",
    )
    side = ExhaustSide(
        layout.half_width if own.half_width is None else own.half_width,
        stated.head.side_wall if own.side_wall is None else own.side_wall,
    )
    if side == ExhaustSide(layout.half_width, stated.head.side_wall):
        return layout
    refuse_unless(
        stated.layout.extent != "quarter",
        "has both sides alike, and [exhaust_side] says that they are not: 'half', or leave it out", "layout.extent",
        stated.layout.extent,
    )  # fmt: skip
    return dataclasses.replace(layout, extent="half", exhaust=side)


def check_sides(
    layout: Bank | Ring, head: HeadShape, block: BlockShape, liner: Liner | None, stated: CellFile, mesh: CellMesh
) -> None:
    """Raise InputError for the first thing that cannot be built as stated, at either side."""
    check_cell(layout, head, block, liner, stated, mesh)
    if isinstance(layout, Bank) and layout.exhaust is not None:
        other = dataclasses.replace(layout, half_width=layout.exhaust.half_width)
        try:
            check_cell(other, head, block, liner, stated, mesh)
        except InputError as error:
            raise _at_exhaust(error) from None


def check_round_studs(cell: Cell) -> None:
    """Raise InputError where what stands round a stud cannot be meshed as stated, at either side."""
    first, other = cell.sides
    check_round_stud(first)
    try:
        check_round_stud(other)
    except InputError as error:
        raise _at_exhaust(error) from None


def _at_exhaust(error: InputError) -> InputError:
    field = error.field.replace("layout.half_width", "exhaust_side.half_width")
    return InputError(f"at the exhaust side: {error.problem}", field=field, value=error.value)
