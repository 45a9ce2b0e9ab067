"""From what a cell file states to the `Cell`.

One stud's share of the cell is put into the words of a joint file and resolved as one: its zones have the areas of
the cell's zones, so that the estimate sees the same gasket, gas force and clamp.
"""

from __future__ import annotations

import dataclasses
import math
from functools import lru_cache
from pathlib import Path

import msgspec
import numpy as np

from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside
from headjoint.model.base.units import PositiveArea, PositiveLength, ZeroOrLength
from headjoint.model.cell import (
    MILLIMETRES,
    Asked,
    Bank,
    BlockShape,
    Cell,
    CellMesh,
    HeadShape,
    Hole,
    Liner,
    PlanZone,
    Ring,
    typical_mesh,
)
from headjoint.model.files.cell_file import CellFile, CellMeshTable, LayoutTable
from headjoint.model.files.heat_file import HeatTable
from headjoint.model.files.joint_file import (
    BlockTable,
    GasketTable,
    GasTable,
    HeadTable,
    JointFile,
    TighteningTable,
    ZoneTable,
)
from headjoint.model.joint import Joint
from headjoint.model.reading.cell_checks import refuse_unless
from headjoint.model.reading.joint_reading import resolve
from headjoint.model.reading.material_reading import resolve_material
from headjoint.model.reading.row_reading import (
    check_end,
    check_round_studs,
    check_sides,
    resolve_row,
    with_end,
    with_exhaust,
)

BODY = "body"
OWN_MESH_ENDINGS = (".msh", ".vtu")
SAME_BORE = 1e-6  # mm
STRIPS = 400  # each way, over which an area is summed
BORE_DEPTHS = (0.06, 0.25, 0.5, 0.9)  # of the bore's diameter below the deck
SNUG = 0.1  # share of the preload before the first pass; common practice, no source


def resolve_cell(stated: CellFile, folder: Path, *, past_yield: bool = False) -> Cell:
    """Return the cell with every default filled in; files it names lie in `folder`.

    past_yield : accept a tightening that yields the fastener; for studies, where its yield factor says so.

    Raises InputError with the path of the field that cannot be used.
    """
    layout = with_exhaust(with_end(_layout(stated.layout), stated), stated)
    head = HeadShape(*(getattr(stated.head, field.name) for field in dataclasses.fields(HeadShape)))
    block = BlockShape(*(getattr(stated.block, field.name) for field in dataclasses.fields(BlockShape)))
    liner = None
    if stated.liner is not None:
        liner = Liner(
            stated.liner.outer_diameter,
            stated.liner.protrusion,
            stated.liner.length or block.height,
            resolve_material(stated.liner.material, "liner.material"),
        )
    mesh = _mesh(stated.mesh, layout.bore, folder)
    refuse_unless(
        mesh.file is None or not stated.gasket.holes,
        "mean nothing with an own mesh: leave them out of its gasket faces", "gasket.holes",
    )  # fmt: skip
    check_sides(layout, head, block, liner, stated, mesh)
    joint = _share_of_one_stud(stated, layout, folder, past_yield)
    by_name = {zone.name: zone for zone in joint.gasket.zones}
    rings = sorted(stated.gasket.rings, key=lambda ring: ring.inner_diameter)
    zones = [
        PlanZone(
            ring.name,
            ring.inner_diameter,
            ring.outer_diameter,
            by_name[ring.name].law,
            ring.step,
            by_name[ring.name].sealing,
        )
        for ring in rings
    ]
    step = stated.gasket.body.step
    zones.append(PlanZone(BODY, rings[-1].outer_diameter, math.inf, by_name[BODY].law, step, False))
    cell = Cell(
        joint, layout, head, block, liner,
        zones=tuple(zones),
        holes=tuple(Hole(hole.x, hole.y, hole.diameter) for hole in stated.gasket.holes),
        fired=_fired(stated.layout, layout),
        wall_depth=stated.gas.wall_depth,
        order=_order(stated, layout),
        snug=SNUG if stated.tightening.snug is None else stated.tightening.snug,
        mesh=mesh,
        asked=_asked(stated, layout),
        row=resolve_row(stated.row, layout, zones, stated.gasket.laws, folder),
    )  # fmt: skip
    check_round_studs(cell)
    check_end(cell)
    refuse_unless(
        cell.series_compliance >= 0.0,
        "segments thicker than the longest one would make the cylinder too stiff; use 'standard' thread compliance",
        "fastener.segments",
    )
    return cell


def studs_modelled(layout: Bank | Ring) -> int:
    """Return how many fasteners, halves counted as one, the cell has."""
    if isinstance(layout, Ring):
        return layout.number if layout.extent == "full" else 1
    sides = 2 if layout.extent == "half" else 1
    half = layout.pitch / 2.0
    per_tile = 0
    tiles = 2 * layout.bores - 1
    for x, _ in layout.studs:
        if x < 1e-9 or x > half - 1e-9:
            per_tile += layout.bores
        else:
            per_tile += tiles
    return sides * per_tile


def _layout(stated: LayoutTable) -> Bank | Ring:
    other = {
        "bank": ("number", "stud_circle", "outer_diameter"),
        "ring": ("pitch", "half_width", "studs", "in_row", "end_length", "end_wall"),
    }
    needed = {"bank": ("pitch", "half_width", "studs"), "ring": ("number", "stud_circle", "outer_diameter")}
    for name in needed[stated.kind]:
        refuse_unless(getattr(stated, name) is not None, f"a {stated.kind} layout needs it", f"layout.{name}")
    for name in other[stated.kind]:
        refuse_unless(
            getattr(stated, name) is None, f"does not belong to a {stated.kind} layout; leave it out", f"layout.{name}"
        )
    allowed = ("quarter", "half") if stated.kind == "bank" else ("sector", "full")
    extent = stated.extent or allowed[0]
    refuse_unless(
        extent in allowed, f"a {stated.kind} layout is '{allowed[0]}' or '{allowed[1]}'", "layout.extent", extent
    )
    if stated.kind == "ring":
        assert stated.number is not None
        assert stated.stud_circle is not None
        assert stated.outer_diameter is not None
        return Ring(stated.bore, stated.number, stated.stud_circle, stated.outer_diameter, extent)
    assert stated.pitch is not None
    assert stated.half_width is not None
    places = tuple((place.x, place.y) for place in stated.studs or ())
    refuse_unless(bool(places), "needs at least one stud", "layout.studs")
    return Bank(stated.bore, stated.pitch, stated.half_width, places, stated.bores, extent, stated.in_row)


def _with_bore(stated: HeatTable, bore: float) -> HeatTable:
    """Return [heat] with the layout's bore in its [heat.engine]."""
    engine = stated.engine
    if engine is None:
        return stated
    refuse_unless(
        engine.bore is None or abs(engine.bore - bore) < SAME_BORE,
        f"the layout has a bore of {bore:g} mm; leave it out", "heat.engine.bore", engine.bore,
    )  # fmt: skip
    return msgspec.structs.replace(stated, engine=msgspec.structs.replace(engine, bore=PositiveLength(bore)))


def _fired(stated: LayoutTable, layout: Bank | Ring) -> tuple[int, ...]:
    bores = layout.bores if isinstance(layout, Bank) else 1
    numbers = list(range(1, bores + 1)) if stated.fired is None else stated.fired
    for index, number in enumerate(numbers):
        refuse_unless(number <= bores, f"there are {bores} bores", f"layout.fired[{index}]", number)
    refuse_unless(bool(numbers), "names no bore; leave it out to fire all", "layout.fired")
    return tuple(sorted({number - 1 for number in numbers}))


def _mesh(stated: CellMeshTable, bore: float, folder: Path) -> CellMesh:
    sizes = ("ring_size", "stud_size", "growth", "largest")
    if stated.file is None:
        refuse_unless(stated.unit is None, "means something only with an own mesh, `file`", "mesh.unit")
    else:
        for name in sizes:
            refuse_unless(getattr(stated, name) is None, "means nothing for an own mesh", f"mesh.{name}")
        endings = " or ".join(OWN_MESH_ENDINGS)
        file = named_beside(folder, stated.file, "mesh.file")
        refuse_unless(file.suffix in OWN_MESH_ENDINGS, f"must end in {endings}", "mesh.file", stated.file)
        refuse_unless(file.is_file(), f"no such file in {folder.resolve()}", "mesh.file", stated.file)
    own = {name: size for name in sizes if (size := getattr(stated, name)) is not None}
    return dataclasses.replace(
        typical_mesh(bore),
        **own,
        file=None if stated.file is None else folder / stated.file,
        unit=MILLIMETRES[stated.unit or "mm"],
    )


def _asked(stated: CellFile, layout: Bank | Ring) -> Asked:
    ask = stated.ask
    depths = ask.bore_depths
    for index, depth in enumerate(depths or ()):
        refuse_unless(
            depth <= stated.block.height, f"is below the block ({stated.block.height:g} mm high)",
            f"ask.bore_depths[{index}]", depth,
        )  # fmt: skip
    lines = []
    for line in ask.lines:
        shares = [index / (line.count - 1) for index in range(line.count)]
        (x, y), (to_x, to_y) = (line.start.x, line.start.y), (line.end.x, line.end.y)
        lines.append(tuple((x + share * (to_x - x), y + share * (to_y - y)) for share in shares))
    typical = tuple(share * layout.bore for share in BORE_DEPTHS)
    return Asked(
        tuple((place.x, place.y) for place in ask.points), tuple(lines), typical if depths is None else tuple(depths)
    )


def _order(stated: CellFile, layout: Bank | Ring) -> tuple[tuple[float, tuple[int, ...]], ...]:
    tightening, count = stated.tightening, studs_modelled(layout)
    if tightening.passes is None:
        for name in ("order", "snug"):
            refuse_unless(getattr(tightening, name) is None, "means something only with passes", f"tightening.{name}")
        return ()
    order = tightening.order or list(range(1, count + 1))
    refuse_unless(
        sorted(order) == list(range(1, count + 1)),
        f"must name each of the {count} studs once, 1 to {count}",
        "tightening.order",
        str(order),
    )
    refuse_unless(
        tightening.snug is None or not tightening.passes or tightening.snug <= tightening.passes[0],
        "must not exceed the first pass", "tightening.snug", tightening.snug,
    )  # fmt: skip
    for index, (before, after) in enumerate(zip(tightening.passes, tightening.passes[1:], strict=False), start=1):
        refuse_unless(after >= before, "passes must not fall", f"tightening.passes[{index}]", after)
    refuse_unless(
        bool(tightening.passes) and tightening.passes[-1] == 1.0, "the last pass is 1.0, the whole preload",
        "tightening.passes",
    )  # fmt: skip
    return tuple((share, tuple(number - 1 for number in order)) for share in tightening.passes)


def _circle_between(radius: float, half: float) -> float:
    """Return the area (mm2) of a circle that lies within `half` of its centre's cross-plane: mid-bridge cuts it."""
    if radius <= half:
        return math.pi * radius**2
    return 2.0 * (half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius))


OF_THE_GASKET = ("thickness", "expansion", "laws", "laws_at")  # what one stud's gasket has as it stands


def _share_of_one_stud(stated: CellFile, layout: Bank | Ring, folder: Path, past_yield: bool) -> Joint:
    """Return the joint of one stud with its share of the cell's zones, gas and plan area."""
    hole = stated.head.hole_diameter
    studs, bores, _ = _shares(layout)
    zones, opening = _zones_of_one_stud(stated, layout)
    sealing = [ring for ring in stated.gasket.rings if ring.sealing]
    refuse_unless(len(sealing) == 1, f"exactly one ring must have sealing = true, {len(sealing)} have", "gasket.rings")
    line = (sealing[0].inner_diameter + sealing[0].outer_diameter) / 2.0
    edge = zones[-1].outer_diameter
    outer = PositiveLength(math.sqrt(edge**2 + 4.0 / math.pi * opening))
    asked = stated.tightening
    names = TighteningTable.__struct_fields__
    joint = resolve(
        JointFile(
            name=stated.name,
            note=stated.note,
            fastener=stated.fastener,
            nut=stated.nut,
            bolt_head=stated.bolt_head,
            washer=stated.washer,
            head=HeadTable(
                height=stated.head.height,
                outer_diameter=outer,
                hole_diameter=hole,
                material=stated.head.material,
            ),
            gasket=GasketTable(zones=zones, **{name: getattr(stated.gasket, name) for name in OF_THE_GASKET}),
            block=BlockTable(
                height=stated.block.height,
                outer_diameter=outer,
                counterbore_diameter=hole,
                counterbore_depth=stated.block.counterbore_depth,
                hole_below=ZeroOrLength(0.0),
                material=stated.block.material,
                insert=stated.block.insert,
            ),
            gas=_gas_of_one_stud(stated, edge, outer, math.pi / 4.0 * line**2 * (bores / studs)),
            tightening=TighteningTable(**{name: getattr(asked, name) for name in names}),
            load_cases=stated.load_cases,
            history=stated.history,
            ageing=stated.ageing,
            heat=_with_bore(stated.heat, layout.bore),
            requirements=stated.requirements,
        ),
        folder,
        past_yield=past_yield,
    )
    return dataclasses.replace(
        _with_line(joint, math.pi * line * bores / studs),
        from_middle=layout.from_middle,
        beyond=layout.beyond,
        mean_of_sides=isinstance(layout, Bank) and layout.exhaust is not None,
    )


def _gas_of_one_stud(stated: CellFile, edge: PositiveLength, outer: PositiveLength, area: float) -> GasTable:
    """Return where gas pushes one stud's joint: on a ring from `edge` to `outer`, with the force on `area` (mm2)."""
    return GasTable(
        inner_diameter=edge,
        outer_diameter=outer,
        force_area=PositiveArea(area),
        # the bore's share of the gas goes down by piston and crank; the deck bears that of a narrow ring only
        faces="head",
        boost=stated.gas.boost,
        peaks=stated.gas.peaks,
    )


def _with_line(joint: Joint, length: float) -> Joint:
    """Return a joint whose sealing line is as long (mm) as the share of the bead that one stud answers for."""
    zones = [dataclasses.replace(zone, line_length=length) if zone.sealing else zone for zone in joint.gasket.zones]
    return dataclasses.replace(joint, gasket=dataclasses.replace(joint.gasket, zones=tuple(zones)))


def _zones_of_one_stud(stated: CellFile, layout: Bank | Ring) -> tuple[list[ZoneTable], float]:
    """Return one stud's share of body and rings as circles round its hole, and of the bore's opening in mm2."""
    studs, bores, plan = _shares(layout)
    hole = stated.head.hole_diameter
    rings = sorted(stated.gasket.rings, key=lambda ring: ring.inner_diameter, reverse=True)
    bore_share = bores / studs
    opening = math.pi / 4.0 * rings[-1].inner_diameter ** 2 * bore_share
    ring_areas = [math.pi / 4.0 * (ring.outer_diameter**2 - ring.inner_diameter**2) * bore_share for ring in rings]
    holes = sum(math.pi / 4.0 * gap.diameter**2 for gap in stated.gasket.holes) / studs
    jacket = _open_jacket(stated, layout, rings[0].outer_diameter / 2.0) * bore_share
    body_area = plan / studs - opening - sum(ring_areas) - holes - jacket - math.pi / 4.0 * hole**2
    refuse_unless(body_area > 0.0, "the rings leave no body of the gasket round the studs", "gasket.rings")
    edge = hole
    zones = []

    def next_zone(name: str, area: float, law: str, step: ZeroOrLength, sealing: bool) -> None:
        nonlocal edge
        outer = PositiveLength(math.sqrt(edge**2 + 4.0 / math.pi * area))
        zones.append(
            ZoneTable(
                name=name, inner_diameter=edge, outer_diameter=outer, law=law, step=step, sealing=sealing
            )
        )  # fmt: skip
        edge = outer

    next_zone(BODY, body_area, stated.gasket.body.law, stated.gasket.body.step, False)
    for ring, area in zip(rings, ring_areas, strict=True):
        if ring.name == BODY:
            raise InputError("the rest of the gasket is called 'body'; name the ring otherwise", field="gasket.rings")
        next_zone(ring.name, area, ring.law, ring.step, ring.sealing)
    return zones, opening


def _open_jacket(stated: CellFile, layout: Bank | Ring, rings_end: float) -> float:
    """Return the area (mm2) round one bore where an open deck's jacket carries no gasket; rings end at a radius."""
    block = stated.block
    if block.jacket_width <= 0.0 or block.deck_thickness != 0.0:
        return 0.0
    wall = max(layout.bore / 2.0 + block.wall, rings_end)
    outside = layout.bore / 2.0 + block.wall + block.jacket_width
    half = layout.pitch / 2.0 if isinstance(layout, Bank) else math.inf
    open_ring = max(0.0, _circle_between(outside, half) - _circle_between(wall, half))
    return open_ring - _bosses_between(layout, block.boss_diameter / 2.0, wall, outside)


@lru_cache(maxsize=256)
def _bosses_between(layout: Bank | Ring, boss: float, inside: float, outside: float) -> float:
    """Return the area (mm2) of stud bosses between two circles round a bore, by strips of equal angle and radius."""
    tile = math.pi / 2.0 if isinstance(layout, Bank) else math.pi / layout.number
    width, depth = (layout.pitch / 2.0, layout.half_width) if isinstance(layout, Bank) else (math.inf, math.inf)
    angle = (np.arange(STRIPS) + 0.5) * tile / STRIPS
    radius = inside + (np.arange(STRIPS) + 0.5)[:, None] * (outside - inside) / STRIPS
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    in_boss = np.any([np.hypot(x - sx, y - sy) < boss for sx, sy in layout.tile_studs], axis=0)
    area = radius * (in_boss & (x < width) & (y < depth)) * tile * (outside - inside) / STRIPS**2
    return float(area.sum()) * 2.0 * math.pi / tile


def _shares(layout: Bank | Ring) -> tuple[float, float, float]:
    """Return whole studs and whole bores in one tile, and the tile's plan area in mm2, the mean of both sides."""
    if isinstance(layout, Ring):
        return 0.5, 0.5 / layout.number, math.pi / 8.0 * layout.outer_diameter**2 / layout.number
    half = layout.pitch / 2.0
    studs = sum(0.5 if x < 1e-9 or x > half - 1e-9 else 1.0 for x, _ in layout.studs)
    return studs, 0.25, half * sum(layout.half_widths) / 2.0
