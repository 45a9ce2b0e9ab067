"""Figures of joints and cells on meshes of several sizes, solved once and kept in a file."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.load_cases.solved import SolvedJoint, cell_on_mesh, joint_on_mesh
from headjoint.cases.service.tightened import closed_form
from headjoint.model.cell import Cell
from headjoint.model.formulas.mesh_error import Relieved
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.postproc.cell.assessment import cell_on_one_mesh
from headjoint.postproc.cell.findings import CellStateFindings
from headjoint.postproc.joint.assessment import joint_on_one_mesh
from headjoint.postproc.joint.findings import StateFindings
from headjoint.postproc.present.rows import JointFigure, Row
from headjoint.postproc.verdict.requirement import Factors, Judged, factors
from headjoint.postproc.verdict.table import REQUIREMENTS
from validation.joints import joint_files

# changes of the shipped cells that make others
INVENTED = {
    "eight-studs": {
        "number = 6": "number = 8",
        'fire_deck = "14 mm"': 'fire_deck = "10 mm"',
        'side_wall = "9 mm"': 'side_wall = "8 mm"',
    },
    "five-studs": {
        "number = 6": "number = 5",
        'fire_deck = "14 mm"': 'fire_deck = "18 mm"',
        'deck_thickness = "10 mm"': 'deck_thickness = "16 mm"',
    },
    "thin-decks": {
        'fire_deck = "20 mm"': 'fire_deck = "9 mm"',
        'upper_deck = "14 mm"': 'upper_deck = "9 mm"',
        'side_wall = "13 mm"': 'side_wall = "9 mm"',
        'bridge_wall = "24 mm"': 'bridge_wall = "8 mm"',
        'deck_thickness = "16 mm"': 'deck_thickness = "9 mm"',
        'jacket_width = "4 mm"': 'jacket_width = "3.5 mm"',
    },
    "iron-head": {
        'fire_deck = "20 mm"': 'fire_deck = "14 mm"',
        'material = "EN AC-42100"': 'material = "EN-GJL-250"',
        'side_wall = "13 mm"': 'side_wall = "10 mm"',
        'jacket_depth = "70 mm"': 'jacket_depth = "50 mm"',
    },
    "open-deck": {
        'deck_thickness = "16 mm"': 'deck_thickness = "0 mm"',
        'fire_deck = "20 mm"': 'fire_deck = "16 mm"',
        'half_width = "70 mm"': 'half_width = "66 mm"',
    },
}


@dataclass(frozen=True)
class MeshFigures:
    """What one mesh says of a case.

    states : names of the columns of `rows`. requirements : factors in every state that it is judged at, by key. solid :
    whether it is a mesh of three dimensions. elements : how many it has.
    """

    states: tuple[str, ...]
    rows: tuple[Row, ...]
    figures: tuple[JointFigure, ...]
    requirements: dict[str, Factors]
    solid: bool
    elements: int

    def plain(self) -> dict[str, Any]:
        """Return what files keep of it."""
        return {
            "states": self.states,
            "rows": [
                [row.quantity, row.unit, row.peak, row.untold, row.finite_elements, row.relieved] for row in self.rows
            ],
            "figures": [[one.quantity, one.unit, one.finite_elements] for one in self.figures],
            "requirements": self.requirements,
            "solid": self.solid,
            "elements": self.elements,
        }


def read(plain: dict[str, Any]) -> MeshFigures:
    """Return what `MeshFigures.plain` wrote, without the estimates beside it."""
    none = (None,) * len(plain["states"])
    return MeshFigures(
        states=tuple(plain["states"]),
        rows=tuple(
            Row(name, unit, tuple(found), none, peak=peak, untold=untold, relieved=tuple(map(_pair, relieved)))
            for name, unit, peak, untold, found, relieved in plain["rows"]
        ),
        figures=tuple(JointFigure(name, unit, found, found) for name, unit, found in plain["figures"]),
        requirements={
            key: [(value, _pair(kept)) for value, kept in found] for key, found in plain["requirements"].items()
        },
        solid=plain["solid"],
        elements=plain["elements"],
    )


def _pair(kept: list[float] | None) -> Relieved | None:
    return None if kept is None else (kept[0], kept[1])


def cells() -> dict[str, Cell]:
    """Return the shipped cells of one bore and the invented ones."""
    texts = {name: shipped_cells()[name].read_text("utf-8") for name in ("boosted-four", "six-stud-ring")}
    for name, changes in INVENTED.items():
        text = texts["six-stud-ring" if "number = 6" in changes else "boosted-four"]
        for old, new in changes.items():
            assert old in text, old
            text = text.replace(old, new)
        texts[name] = text
    return {name: parse_cell(text, file=name) for name, text in texts.items()}


def joints() -> dict[str, Joint]:
    """Return the joints of one fastener."""
    return {name: parse_joint(path.read_text("utf-8"), file=name) for name, path in joint_files().items()}


class Kept:
    """Figures by case and mesh: each mesh is solved once, and at once written to the file, where there is one.

    What is kept is that of the code which solved it: another code needs another file.
    """

    def __init__(self, file: Path | None) -> None:
        self._file = file
        self._plain = json.loads(file.read_text("utf-8")) if file is not None and file.exists() else {}

    def on_mesh(self, name: str, case: Joint | Cell, size: float, refinement: float) -> MeshFigures:
        """Return the figures of a case whose stated sizes are `size` times its own, so many times as fine as usual."""
        key = f"{name} {size:g} {refinement:g}"
        if key not in self._plain:
            solved = of_cell(case, size, refinement) if isinstance(case, Cell) else of_joint(case, refinement / size)
            self._plain[key] = solved.plain()
            if self._file is not None:
                self._file.write_text(json.dumps(self._plain), "utf-8")
        return read(self._plain[key])


def of_joint(joint: Joint, refinement: float) -> MeshFigures:
    """Return the figures of one fastener's joint on one mesh."""
    return figures_of_joint(joint_on_mesh(joint, refinement))


def figures_of_joint(solved: SolvedJoint) -> MeshFigures:
    """Return the figures of a joint that was solved on one mesh."""
    found = joint_on_one_mesh(solved, closed_form(solved.joint, solved.nominal.tightened))
    return _figures(found.states, found.rows, found.figures, found.judged, solved.assembled.joint_mesh.mesh.nelements)


def of_cell(cell: Cell, size: float, refinement: float) -> MeshFigures:
    """Return the figures of a cell on one mesh."""
    larger = {key: size * getattr(cell.mesh, key) for key in ("ring_size", "stud_size", "largest")}
    cell = dataclasses.replace(cell, mesh=dataclasses.replace(cell.mesh, **larger))
    solved = cell_on_mesh(cell, refinement)
    found = cell_on_one_mesh(solved)
    return _figures(found.states, found.rows, (), found.judged, solved.assembled.mesh.cells.shape[1])


def _figures(
    states: Mapping[str, Sequence[StateFindings | CellStateFindings]],
    rows: tuple[Row, ...],
    figures: tuple[JointFigure, ...],
    judged: Judged,
    elements: int,
) -> MeshFigures:
    found = {key: factors(requirement.candidates(judged)) for key, requirement in REQUIREMENTS.items()}
    names = tuple(state.name for state in states["nominal"])
    required = {key: some for key, some in found.items() if some}
    return MeshFigures(names, rows, figures, required, judged.seen.solid, elements)
