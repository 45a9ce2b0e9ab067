"""The answer of a bore cell by finite elements, beside the closed-form estimate of one stud's share."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.command.stated_files import threads_for
from headjoint.cases.condensed.store import user_store
from headjoint.cases.load_cases.solved import Compared, SolvedCell, solve_cell
from headjoint.meshes.solid.symmetry import copies
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Bank, Cell
from headjoint.model.formulas.strength import bearing_faces
from headjoint.postproc.cell.assessment import CellFindings, assess_cell
from headjoint.postproc.cell.findings import FullField, full_fields
from headjoint.postproc.cell.stuck_nuts import EITHER, SLIDES, STICKS, TIED, StudBending
from headjoint.postproc.cell.tightening import tightening_sheets
from headjoint.postproc.joint.end_stud import end_stud_part, end_stud_words
from headjoint.postproc.joint.heat_words import heat_words
from headjoint.postproc.joint.lifted_faces import lifted_words
from headjoint.postproc.joint.tightened import preload_paragraph
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import estimate_part, head, plain
from headjoint.postproc.present.labelled import Labelled, dataset, grids
from headjoint.postproc.present.mesh_errors import mesh_error_part, mesh_error_words
from headjoint.postproc.present.report import (
    Paragraphs,
    Pictures,
    Report,
    balance_words,
    criteria_sections,
    reasons,
    rows_sheet,
    sources_sheet,
)
from headjoint.postproc.present.rows import row_columns
from headjoint.postproc.present.units import figure_text, force_text, unit_in
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.stated.sources import sources
from headjoint.postproc.verdict.verdict import Verdict

if TYPE_CHECKING:
    from pyvista import DataSet
    from xarray import Dataset

FORMAT, VERSION = "headjoint-cell-result", 3
LIMITS = (
    "One temperature in each part; stiffness is that of the assembly temperature; the gasket slides without friction, "
    "nuts by that of tightening; "
    "combustion acts up to the sealing line; the stud is one cylinder, its other sections and threads in series."
)


LIMITS_BY_HEAT = "Where temperatures are stated: " + LIMITS[0].lower() + LIMITS[1:]
NUT = {
    STICKS: "sticks to the head by the least friction already",
    EITHER: "sticks to the head by the greatest friction, and slides by the least",
    SLIDES: "slides on the head even by the greatest friction, which limits the bending",
    TIED: "is tied to the head in this model",
}


def answer_of_cell(
    cell: Cell,
    stage: Callable[[str], None],
    beside: Callable[[], Compared | None] = lambda: None,
    *,
    drawn: bool = True,
) -> CellAnswer:
    """Return the answer on a cell, with the user's store of condensed joints; raises as `solve_cell` does.

    stage : hears the name of every stage as it begins. beside : waits for the coarser mesh solved by somebody else.
    drawn : whether pictures are wanted of it, for which factors are kept.
    """
    with threads_for(cell):
        solved = solve_cell(cell, stage, user_store(), beside, drawn=drawn)
        stage("findings")
        return CellAnswer(assess_cell(solved), solved, stated=(cell,))


@dataclass(frozen=True)
class CellAnswer(StatedAnswer):
    """What finite elements say of a bore cell."""

    findings: CellFindings
    solved: SolvedCell = field(repr=False)

    @property
    def name(self) -> str:
        """Name of the cell."""
        return self.findings.cell.joint.name

    @property
    def verdict(self) -> Verdict:
        """The requirements and what they say."""
        return self.findings.verdict

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-cell-result": N, mm, MPa, degC, angles in degrees."""
        findings, solved = self.findings, self.solved
        document = head(findings.cell.joint, FORMAT, VERSION, solved=True) | {"cell": plain(findings.cell)}
        points, studs = solved.assembled.points, solved.assembled.mesh.fasteners
        document |= {
            "finite_elements": {
                "preloads": findings.preloads,
                "elements": findings.elements,
                "unknowns": findings.unknowns,
                "interface_unknowns": findings.interface_unknowns,
                "smallest_scaled_jacobian": findings.quality,
                "fasteners": [{"x": f.x, "y": f.y, "share": f.share} for f in studs],
                "tightening": [
                    {"pass": step.nth_pass, "fastener": step.fastener + 1, "forces": step.force.tolist()}
                    for step in solved.nominal.steps
                ],
                "states": plain(findings.states),
                "modelled": {"bores": _modelled_bores(findings.cell), "studs": float(sum(f.share for f in studs))},
                "forces_are": "of whole fasteners; gasket_force, areas and the chamber's lift are of what is modelled",
                "gasket_points": _points(solved, np.flatnonzero((points.zone >= 0) & (points.weight > 0.0))),
                "gasket_nodes": _points(solved, points.nodes),
                "asked": _asked(solved),
                "bending": {
                    state.name: bending_part(one)
                    for state, one in zip(findings.states["nominal"], findings.bending, strict=True)
                },
                "bending_range": findings.bending_range.tolist(),
                "end_stud": end_stud_part(findings.cell.joint, _mean_states(findings)),
                "scrub_range": findings.scrub_range,
                "bore_shapes": {one.name: plain(one.shapes) for one in findings.fields},
            },
            "estimate": {"nominal": estimate_part(findings.estimate)},
            "comparison": [plain(row) | {"ratio": plain(row.ratio)} for row in findings.rows],
        }
        document |= findings.verdict.document()
        document["checks"] = {
            "mesh_errors": mesh_error_part(findings.unbounded, findings.verdict.seen),
            "seconds": findings.seconds,
        }
        return document

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        findings = self.findings
        joint, names = findings.cell.joint, [state.name for state in findings.states["nominal"]]
        title = f"Nominal preload {force_text(findings.preloads['nominal'], units)}: finite elements, estimate, ratio"
        unit, factor = unit_in("um", units)
        scrub = figure_text(1e3 * findings.scrub_range, factor)
        sliding = (
            f"Sliding of the head over the block between any two states: at most {scrub} {unit}, without friction."
        )
        return Report(
            title=joint.name,
            note=joint.note,
            judgement=findings.verdict.judgement,
            seen=findings.verdict.model_line,
            sentences=findings.verdict.sentences(units),
            sections=(
                *criteria_sections(findings.verdict, units),
                preload_paragraph(joint, findings.preloads, units),
                rows_sheet(findings.rows, names, units, title),
                reasons(findings.rows),
                *tightening_sheets(self.solved.nominal.steps, units),
                Paragraphs("", (sliding, *self._lifted())),
                self._bending(units),
                Paragraphs("", heat_words(joint, units)),
                Pictures(),
                self._trust(),
                sources_sheet(sources(joint)),
            ),
        )

    def _lifted(self) -> tuple[str, ...]:
        joint = self.findings.cell.joint
        face = bearing_faces(joint, joint.assembly_temperature)[-1].name
        return lifted_words((face, state.name, state.bearing_share) for state in self.findings.states["nominal"])

    def _bending(self, units: str) -> Paragraphs:
        findings = self.findings
        unit, factor = unit_in("MPa", units)
        pairs = zip(findings.states["nominal"], findings.bending, strict=True)
        state, worst = max(pairs, key=lambda pair: float(pair[1].stress.max()))
        stud = int(worst.stress.argmax())
        texts = [
            f"Bending of the studs, greatest in '{state.name}' at stud {stud + 1}: its nut {NUT[worst.nut[stud]]}. "
            f"Tension adds {100.0 * worst.stiffening[stud]:.0f} % to sticking; between any two states it swings by "
            f"+-{figure_text(float(findings.bending_range.max()), factor)} {unit}, which fatigue by gas does not count."
        ]
        joint = findings.cell.joint
        if joint.from_middle is not None:
            texts.append(end_stud_words(joint, _mean_states(findings), units))
        return Paragraphs("", tuple(texts))

    def _trust(self) -> Paragraphs:
        findings = self.findings
        states = [state for found in findings.states.values() for state in found]
        return Paragraphs(
            "How far to trust it",
            (
                balance_words((s.balance, s.residual) for s in states)
                + f"{'; ' if findings.origin else ''}{findings.origin}",
                mesh_error_words(findings.unbounded, solid=True),
                f"{findings.elements} elements (smallest scaled Jacobian {findings.quality:.2f}), {findings.unknowns} "
                f"unknowns condensed to {findings.interface_unknowns}; {findings.solver}; "
                f"{sum(findings.seconds.values()):.0f} s",
                LIMITS_BY_HEAT if findings.cell.joint.by_heat else LIMITS,
            ),
            listed=True,
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every quantity in every state, by finite elements and by the estimate."""
        findings = self.findings
        return row_columns(findings.rows, [state.name for state in findings.states["nominal"]])

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write VTU files of the solid and of the gasket, state by state, where pictures are wanted.

        They need the whole solid's displacements, which take longer than all else once a joint was condensed.
        """
        if not wanted.pictures:
            return
        from headjoint.postproc.cell.files import write_cell_vtu

        wanted.stage("fields")
        write_cell_vtu(self.findings, self.solved, self._fields, folder)

    @cached_property
    def _fields(self) -> tuple[FullField, ...]:
        return full_fields(self.solved)

    def dataset(self) -> Dataset:
        """Return the gasket in plan, its sealing lines and the fasteners' forces, state by state, as xarray fields."""
        states, solved = self.findings.states["nominal"], self.solved
        points, fasteners = solved.assembled.points, solved.assembled.mesh.fasteners
        held = [state.equilibrium for state in solved.nominal.states]
        gasket, lines = slice(0, len(points.gasket_face_of)), states[0].lines
        places: Labelled = {
            "state": (("state",), [one.name for one in states], ""),
            "x": (("point",), points.places[0, gasket], "mm"),
            "y": (("point",), points.places[1, gasket], "mm"),
            "area": (("point",), points.weight[gasket], "mm2"),
            "bore": (("line",), [line.bore + 1 for line in lines for _ in line.angle], ""),
            "angle": (("line",), [angle for line in lines for angle in line.angle], "deg"),
            "fastener_x": (("fastener",), [one.x for one in fasteners], "mm"),
            "fastener_y": (("fastener",), [one.y for one in fasteners], "mm"),
        }
        along = {
            name: [[value for line in one.lines for value in getattr(line, name)] for one in states]
            for name in ("pressure", "line_load")
        }
        fields: Labelled = {
            "pressure": (("state", "point"), [one.pressure[gasket] for one in held], "MPa"),
            "closure": (("state", "point"), [one.closure[gasket] for one in held], "mm"),
            "sealing_pressure": (("state", "line"), along["pressure"], "MPa"),
            "line_load": (("state", "line"), along["line_load"], "N/mm"),
            "force": (("state", "fastener"), [one.forces for one in states], "N"),
        }
        return dataset(self.name, places, fields)

    def solids(self) -> dict[str, DataSet]:
        """Return the mesh of every state, and its gasket, as pyvista grids by state."""
        from headjoint.postproc.cell.files import write_cell_vtu

        return grids(lambda folder: write_cell_vtu(self.findings, self.solved, self._fields, folder))

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.cell.pictures import draw_cell

        return draw_cell(self.findings, self.solved, self._fields, folder, wanted.units)

    def move(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the tightening."""
        from headjoint.postproc.cell.tightening import draw_tightening

        return draw_tightening(self.solved, folder, wanted.units)


def _mean_states(findings: CellFindings) -> list[tuple[str, dict[str, float], float]]:
    return [(state.name, state.temperatures, state.mean_force) for state in findings.states["nominal"]]


def _modelled_bores(cell: Cell) -> float:
    """Return how many whole bores are modelled: those of the tiles that make the cell."""
    share = 0.25 if isinstance(cell.layout, Bank) else 0.5 / cell.layout.number
    return share * len(copies(cell))


def _points(solved: SolvedCell, numbers: IntArray) -> dict[str, Any]:
    """Return gasket points: places mm, area mm2, zone, and pressure MPa and closure mm of every state."""
    points, zones = solved.assembled.points, solved.cell.zones
    return {
        "x": points.places[0, numbers].tolist(),
        "y": points.places[1, numbers].tolist(),
        "area": points.weight[numbers].tolist(),
        "zone": [zones[index].name for index in points.zone[numbers]],
        **_states_at(solved, numbers),
    }


def _states_at(solved: SolvedCell, numbers: IntArray) -> dict[str, Any]:
    """Return pressure MPa and closure mm of every state at points, None where the number is -1."""

    def told(values: FloatArray) -> list[float | None]:
        return [None if number < 0 else float(values[number]) for number in numbers]

    states = solved.nominal.states
    return {
        "pressure": {state.name: told(state.equilibrium.pressure) for state in states},
        "closure": {state.name: told(state.equilibrium.closure) for state in states},
    }


def _asked(solved: SolvedCell) -> dict[str, Any]:
    """Return what the file asks for: the gasket at points and along lines, None where there is none."""
    asked, numbers = solved.cell.asked, solved.assembled.points.asked
    first, found = 0, []
    for places in (asked.points, *asked.lines):
        own = numbers[first : first + len(places)]
        first += len(places)
        found.append({"x": [x for x, _ in places], "y": [y for _, y in places], **_states_at(solved, own)})
    return {"points": found[0], "lines": found[1:]}


def bending_part(one: StudBending) -> dict[str, Any]:
    """Return the bending of the studs in one state: stresses MPa, shears and friction N, a value for each fastener."""
    least, greatest = one.friction
    return {
        "stress": plain(one.stress),
        "sliding": plain(one.sliding),
        "sticking": plain(one.sticking),
        "amplitude": plain(one.amplitude),
        "nut": list(one.nut),
        "shear_to_stick": plain(one.shear),
        "least_friction": plain(least),
        "greatest_friction": plain(greatest),
        "stiffening_by_tension": plain(one.stiffening),
    }
