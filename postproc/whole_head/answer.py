"""The answer of a whole head: studs and bores side by side, state by state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.whole_head.solved import SolvedHead
from headjoint.postproc.cell.answer import bending_part
from headjoint.postproc.cell.tightening import tightening_sheets
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import head, plain
from headjoint.postproc.present.mesh_errors import factor_error_words, mesh_error_part
from headjoint.postproc.present.report import (
    Paragraphs,
    Pictures,
    Report,
    Section,
    Sheet,
    balance_words,
    criteria_sections,
)
from headjoint.postproc.present.units import figure_text, force_text, unit_in, value_text
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.verdict.verdict import Verdict
from headjoint.postproc.whole_head.findings import HeadFindings
from headjoint.postproc.whole_head.odd_words import odd_section
from headjoint.postproc.whole_head.studs import studs_sheet, worst_words

FORMAT, VERSION = "headjoint-head-result", 1
PLACES = {"mm": 1, "in": 3}  # decimal places of where a stud stands
LIMITS = (
    "One temperature in each part; stiffness is that of the assembly temperature; the gasket slides without "
    "friction, nuts by that of tightening; combustion acts up to the sealing line; {sides}; the stud is one cylinder, "
    "its other sections and threads in series."
)
ENDS = (
    "Both ends of the row are alike: head and block go on beyond the middle of the bridge as the file says, at the "
    "temperatures of the parts, the block solid but for the jacket round the bore."
)


@dataclass(frozen=True)
class HeadAnswer(StatedAnswer):
    """What finite elements say of a whole head."""

    findings: HeadFindings
    solved: SolvedHead = field(repr=False)

    @property
    def name(self) -> str:
        """Name of the engine."""
        return self.solved.cell.joint.name

    @property
    def verdict(self) -> Verdict:
        """The requirements and what they say."""
        return self.findings.verdict

    @property
    def has_ends(self) -> bool:
        """Whether the ends of the row are modelled."""
        return self.solved.row.tile.end is not None

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-head-result": N, mm, MPa, degC, angles in degrees."""
        solved, row = self.solved, self.solved.row
        document = head(solved.cell.joint, FORMAT, VERSION, solved=True) | {"cell": plain(solved.cell)}
        x, y = row.places
        studs = zip(x, y, row.model.reduced.share, row.model.preload_shares, strict=True)
        document["finite_elements"] = {
            "preloads": {name: found.preload for name, found in solved.found.items()},
            "forces_of": "whole studs",
            "ends": "as stated" if self.has_ends else "planes of symmetry",
            "sides": "as stated" if self.solved.row.unlike_sides else "alike",
            "studs": [
                {"x": float(a), "y": float(b), "side": self._side(b), "share": float(share), "preload": float(own)}
                for a, b, share, own in studs
            ],
            "bores": [{"x": float(a), "y": float(b)} for a, b in solved.cell.bore_centres],
            "tightening": [
                {"pass": one.nth_pass, "stud": one.fastener + 1, "forces": one.force.tolist()} for one in solved.steps
            ],
            "fired": {name: [one.fired for one in states] for name, states in solved.levels.items()},
            "states": plain(self.findings.states),
            "bending": {
                state.name: bending_part(one)
                for state, one in zip(self.findings.states["nominal"], self.findings.bending["nominal"], strict=True)
            },
            "stresses": plain(self.findings.studs),
        }
        document |= self.verdict.document()
        document["checks"] = {
            "mesh_errors": mesh_error_part(self.findings.unbounded, self.verdict.seen),
            "left_out_by_modes": {
                "force": solved.off_force,
                "pressure": solved.off_pressure,
                "bending": solved.off_bending,
            },
            "seconds": solved.seconds,
        }
        return document

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        joint = self.solved.cell.joint
        return Report(
            title=joint.name,
            note=joint.note,
            judgement=self.verdict.judgement,
            seen=self.verdict.model_line,
            sentences=self.verdict.sentences(units),
            sections=(
                *odd_section(self.solved.cell, units),
                *criteria_sections(self.verdict, units),
                self._forces(units),
                studs_sheet(self.findings.studs, units),
                worst_words(
                    self.findings.studs, units, longer=any(one.longer > 0.0 for one in self.solved.cell.row.studs)
                ),
                *self._sealing(units),
                *tightening_sheets(self.solved.steps, units),
                Pictures(),
                self._trust(units),
            ),
        )

    def _side(self, y: float) -> str | None:
        """Return at which side of the row a place is, None where both are alike."""
        return ("intake" if y > 0.0 else "exhaust") if self.solved.row.unlike_sides else None

    def _forces(self, units: str) -> Sheet:
        states, (x, y) = self.findings.states["nominal"], self.solved.row.places
        unit, factor = unit_in("kN", units)
        length, stretch = unit_in("mm", units)
        lines = tuple(
            (
                f"stud {stud + 1}",
                f"{float(x[stud]) * stretch:.{PLACES[length]}f}",
                f"{float(y[stud]) * stretch:.{PLACES[length]}f}",
                *(figure_text(float(state.forces[stud]) / 1e3, factor) for state in states),
            )
            for stud in range(len(x))
        )
        preload = force_text(self.solved.found["nominal"].preload, units)
        headings = ("", f"along, {length}", f"across, {length}", *(state.name for state in states))
        return Sheet(f"Forces of the studs ({unit}), nominal preload {preload}", headings, lines)

    def _sealing(self, units: str) -> tuple[Section, ...]:
        """Return each bore's least sealing pressure and line load at the least preload, beside its need."""
        states = self.findings.states["least"]
        width = self.solved.cell.sealing_zone.line_width
        sheets = []
        for title, name in (("Least pressure along the sealing line", "MPa"), ("Least line load", "N/mm")):
            unit, factor = unit_in(name, units)
            lines: list[tuple[str, ...]] = []
            bad: list[int] = []
            for state in states:
                texts = []
                for line in state.lines:
                    if name == "MPa":
                        found, need = line.least, line.need.over(width)
                    else:
                        found, need = line.seal.line_load, line.need.over(width) * width
                    texts.append(f"{figure_text(found, factor)} / {figure_text(need, factor)}")
                    if line.lacking > 0.0 and len(lines) not in bad:
                        bad.append(len(lines))
                lines.append((state.name, *texts))
            headings = ("found / needed", *(f"bore {bore + 1}" for bore in range(len(states[0].lines))))
            sheets.append(Sheet(f"{title} ({unit}), least preload", headings, tuple(lines), bad=tuple(bad)))
        return tuple(sheets)

    def _trust(self, units: str) -> Paragraphs:
        solved = self.solved
        states = [one.state for level in solved.levels.values() for one in level]
        modes = ", ".join(str(len(one.mode_normal)) for one in solved.row.tile.modes.values())
        over, sides = "alike and opposite at both sides", "both sides of the head are alike"
        if solved.row.unlike_sides:
            over, sides = "over the whole width", "both sides differ by width and wall alone"
        limits = LIMITS.format(sides=sides)
        return Paragraphs(
            "How far to trust it",
            (
                balance_words((state.balance, state.equilibrium.residual) for state in states)
                + f"; springs that hold what slides freely "
                f"carry at most {max(solved.row.at_springs(state.equilibrium.q) for state in states):.0e} N",
                f"each face between tiles is compressed to {modes} modes ({over}); in the "
                f"state at nominal preload that seals least, what they leave out moves the stud beside that bore "
                f"by at most {value_text(solved.off_force, 'N', units)}, its bending stress by at most "
                f"{value_text(solved.off_bending, 'MPa', units)} and the bore's least pressure by at most "
                f"{value_text(solved.off_pressure, 'MPa', units)}",
                f"{len(solved.row.model.reduced.K)} unknowns; {solver_name()}; {sum(solved.seconds.values()):.0f} s",
                factor_error_words(self.findings.unbounded),
                f"{limits} {ENDS}" if self.has_ends else limits,
            ),
            listed=True,
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return force and bending of every stud in every state of the nominal preload."""
        x, y = self.solved.row.places
        forces = {f"{one.name}, N": one.state.force.tolist() for one in self.solved.levels["nominal"]}
        pairs = zip(self.findings.states["nominal"], self.findings.bending["nominal"], strict=True)
        bending = {f"{state.name}, bending, MPa": one.stress.tolist() for state, one in pairs}
        return {"stud": list(range(1, len(x) + 1)), "x, mm": x.tolist(), "y, mm": y.tolist()} | forces | bending

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.whole_head.pictures import draw_head

        return draw_head(self.solved, self.findings, folder, wanted.units)
