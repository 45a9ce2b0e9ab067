"""The shipped example of an own mesh: the six-stud ring as free tetrahedra, head and block meshed apart.

`python -m validation.own_mesh_example` writes cases/shipped/cells/six-stud-ring-own-mesh.msh again. The castings are
solids of the mesher's own kernel with the sizes of the parametric cell, so that both ways can be compared; nothing of
`headjoint.meshes.solid.bore_cell` is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.meshes.solid.gmsh_session import gmsh_session
from headjoint.model.cell import Cell
from headjoint.model.reading.reading import read_input

CELL = "six-stud-ring"
TARGET = Path(__file__).parents[1] / "cases" / "shipped" / "cells" / "six-stud-ring-own-mesh.msh"
FINE, LARGEST = 4.0, 12.0  # mm
DENSER_BLOCK = 0.8  # so that the faces at the gasket do not match
EDGE = 1e-3  # mm


class Solids:
    """Solids of one sector, in the kernel's words."""

    def __init__(self, gmsh: ModuleType, cell: Cell) -> None:
        self.kernel, self.cell = gmsh.model.occ, cell
        self.half = math.pi / cell.layout.number
        self.stud = cell.layout.stud_circle / 2.0

    def sector(self, radius: float, bottom: float, top: float) -> list[tuple[int, int]]:
        return [(3, self.kernel.addCylinder(0, 0, bottom, 0, 0, top - bottom, radius, angle=self.half))]

    def round_stud(self, radius: float, bottom: float, top: float) -> list[tuple[int, int]]:
        """Half a cylinder round the stud, which stands on the plane y = 0."""
        return [(3, self.kernel.addCylinder(self.stud, 0, bottom, 0, 0, top - bottom, radius, angle=math.pi))]

    def less(self, body: list[tuple[int, int]], *tools: list[tuple[int, int]]) -> list[tuple[int, int]]:
        return self.kernel.cut(body, [one for tool in tools for one in tool])[0]

    def block(self) -> list[tuple[int, int]]:
        cell, block = self.cell, self.cell.block
        bore = cell.layout.bore / 2.0
        wall = bore + block.wall
        jacket = self.less(
            self.sector(wall + block.jacket_width, -block.jacket_depth, -block.deck_thickness),
            self.sector(wall, -block.jacket_depth, -block.deck_thickness),
        )
        outer = self.sector(cell.layout.outer_diameter / 2.0, -block.height, 0.0)
        hole = self.round_stud(cell.head.hole_diameter / 2.0, -block.counterbore_depth, 0.0)
        return self.less(outer, self.sector(bore, -block.height, 0.0), jacket, hole)

    def liner(self) -> list[tuple[int, int]]:
        liner = self.cell.liner
        assert liner is not None
        outer = self.sector(liner.outer_diameter / 2.0, -liner.length, 0.0)
        return self.less(outer, self.sector(self.cell.layout.bore / 2.0, -liner.length, 0.0))

    def head(self) -> list[tuple[int, int]]:
        cell, head = self.cell, self.cell.head
        bottom = cell.joint.gasket.thickness
        top, floor, roof = bottom + head.height, bottom + head.fire_deck, bottom + head.height - head.upper_deck
        outer = cell.layout.outer_diameter / 2.0
        web = [(3, self.kernel.addBox(0.0, -head.bridge_wall / 2.0, floor, outer, head.bridge_wall, roof - floor))]
        self.kernel.rotate(web, 0, 0, 0, 0, 0, 1, self.half)
        space = self.less(
            self.sector(outer - head.side_wall, floor, roof),
            self.sector(head.centre_column_diameter / 2.0, floor, roof),
            self.round_stud(head.column_diameter / 2.0, floor, roof),
            web,
        )
        return self.less(self.sector(outer, bottom, top), space, self.round_stud(head.hole_diameter / 2.0, bottom, top))

    def stud_nut_washer(self) -> tuple[list[tuple[int, int]], ...]:
        cell, joint = self.cell, self.cell.joint
        assert joint.washer is not None
        radius = cell.shank_diameter / 2.0
        head_top = joint.gasket.thickness + cell.head.height
        seat = head_top + joint.washer.thickness
        top = seat + joint.seat.height
        stud = self.round_stud(radius, -cell.block.counterbore_depth - joint.fastener.engagement, top)
        nut = self.less(self.round_stud(joint.seat.outer_diameter / 2.0, seat, top), self.round_stud(radius, seat, top))
        washer = self.less(
            self.round_stud(joint.washer.outer_diameter / 2.0, head_top, seat),
            self.round_stud(cell.head.hole_diameter / 2.0, head_top, seat),
        )
        return stud, nut, washer


def write(target: Path, fine: float = FINE, largest: float = LARGEST) -> None:
    """Write the mesh of second-order tetrahedra with its groups to `target`."""
    cell = read_input(shipped_cells()[CELL])
    assert isinstance(cell, Cell)
    with gmsh_session("own mesh example") as gmsh:
        volumes = _volumes(gmsh, cell)
        faces = _faces(gmsh, cell, volumes)
        for dimension, groups in ((3, volumes), (2, faces)):
            for name, tags in groups.items():
                gmsh.model.addPhysicalGroup(dimension, tags, name=name)
        gmsh.model.mesh.setSizeCallback(_size(cell, fine, largest))
        for name, value in {
            "Mesh.MeshSizeExtendFromBoundary": 0,
            "Mesh.MeshSizeFromPoints": 0,
            "Mesh.Binary": 1,
        }.items():
            gmsh.option.setNumber(name, value)
        gmsh.model.mesh.generate(3)
        gmsh.model.mesh.optimize("Netgen")
        gmsh.model.mesh.setOrder(2)
        gmsh.model.mesh.optimize("HighOrder")
        gmsh.write(str(target))


def _volumes(gmsh: ModuleType, cell: Cell) -> dict[str, list[int]]:
    """Return the solids of each part; what touches below the gasket is one body, the head keeps nodes of its own."""
    solids, kernel = Solids(gmsh, cell), gmsh.model.occ
    bottom = cell.joint.gasket.thickness
    # the chamber's face ends where the gasket begins: a solid of its own inside the fire deck draws that circle
    chamber = solids.sector(cell.zones[0].inner_diameter / 2.0, bottom, bottom + cell.head.fire_deck)
    head, _ = kernel.fragment(solids.head(), chamber)
    stud, nut, washer = solids.stud_nut_washer()
    block = kernel.cut(solids.block(), stud, removeTool=False)[0]
    liner = solids.liner()
    block = kernel.cut(block, liner, removeTool=False)[0]
    below = {"block": block, "liner": liner, "fastener": stud, "nut": nut, "washer": washer}
    _, pieces = kernel.fragment([one for made in below.values() for one in made], [])
    kernel.synchronize()
    volumes = {"head": [tag for _, tag in head]}
    names = [name for name, made in below.items() for _ in made]
    for name, piece in zip(names, pieces, strict=True):
        volumes.setdefault(name, []).extend(tag for _, tag in piece)
    return volumes


def _faces(gmsh: ModuleType, cell: Cell, volumes: dict[str, list[int]]) -> dict[str, list[int]]:
    """Return the surfaces of every face group, picked by where they lie."""
    bottom = cell.joint.gasket.thickness
    top = bottom + cell.head.height

    def surfaces(of: str) -> list[int]:
        solids = [(3, tag) for tag in volumes[of]]
        return sorted({tag for _, tag in gmsh.model.getBoundary(solids, combined=False, oriented=False)})

    def level(of: str, height: float) -> list[int]:
        boxes = {tag: gmsh.model.getBoundingBox(2, tag) for tag in surfaces(of)}
        return [tag for tag, box in boxes.items() if max(abs(box[2] - height), abs(box[5] - height)) < EDGE]

    def reach(tag: int) -> float:
        return gmsh.model.getBoundingBox(2, tag)[3]

    opening, bore = cell.zones[0].inner_diameter / 2.0, cell.layout.bore / 2.0
    fire_deck = level("head", bottom)
    return {
        "gasket block face": level("block", 0.0) + level("liner", 0.0),
        "gasket head face": [tag for tag in fire_deck if reach(tag) > opening + EDGE],
        "chamber": [tag for tag in fire_deck if reach(tag) < opening + EDGE],
        "bearing head face": [tag for tag in level("head", top) if reach(tag) > bore],
        "bearing stud face": level("washer", top),
        "bore wall": [
            tag for tag in surfaces("liner") if gmsh.model.getType(2, tag) == "Cylinder" and reach(tag) < bore + EDGE
        ],
        "foot": level("block", -cell.block.height) + level("liner", -cell.block.height),
    }


def _size(cell: Cell, fine: float, largest: float) -> Callable[..., float]:
    """Return the element size: fine at the sealing line and the stud, growing away from them."""
    middle, stud = cell.sealing_zone.sealing_diameter / 2.0, cell.layout.stud_circle / 2.0

    def size(dimension: int, tag: int, x: float, y: float, z: float, given: float) -> float:
        line = math.hypot(math.hypot(x, y) - middle, z)
        shank = math.hypot(x - stud, y)
        wanted = min(fine + 0.35 * max(0.0, line - 3.0 * fine), 0.8 * fine + 0.5 * shank, largest)
        return DENSER_BLOCK * wanted if z <= 0.0 else wanted

    return size


if __name__ == "__main__":
    write(TARGET)
    print(f"wrote {TARGET.name}, {TARGET.stat().st_size / 1e6:.1f} MB")
