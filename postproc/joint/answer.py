"""The answer of one fastener's joint by finite elements, beside its closed-form estimate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.postproc.joint.assessment import Findings
from headjoint.postproc.joint.end_stud import end_stud_part, end_stud_words
from headjoint.postproc.joint.fields import RecoveredState, recover, write_vtu
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
    error_text,
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

STIFFNESS = "stiffness is that of the assembly temperature; expansion, gasket laws and strengths follow temperature"

STIFFNESS_BY_HEAT = f"{STIFFNESS}, and stiffness too where temperatures come from heat"
COARSE_MESH = (
    "what one stud cannot show is judged on a coarse mesh of the engine, less an allowance; without --model it is "
    "judged on the engine's own mesh, which may show more in hand"
)


@dataclass(frozen=True)
class JointAnswer(StatedAnswer):
    """What finite elements say of one fastener's joint, beside the closed-form estimate."""

    findings: Findings
    solved: SolvedJoint = field(repr=False)

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.findings.joint.name

    @property
    def verdict(self) -> Verdict:
        """The requirements and what they say."""
        return self.findings.verdict

    @cached_property
    def fields(self) -> dict[str, RecoveredState]:
        """Displacement and stress of every state of the nominal tightening, by its name."""
        return recover(self.solved)

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-result"."""
        findings = self.findings
        document = head(findings.joint, solved=True)
        states = [state for found in findings.states.values() for state in found]
        document |= {
            "finite_elements": {
                "preloads": findings.preloads,
                "cut_compliance": findings.cut_compliance,
                "relief_compliance": findings.relief_compliance,
                "unknowns": findings.unknowns,
                "interface_unknowns": findings.interface_unknowns,
                "states": plain(findings.states),
                "end_stud": end_stud_part(findings.joint, self._nominal_states()),
            },
            "estimate": {name: estimate_part(one) for name, one in findings.estimates.items()},
            "comparison": [plain(row) | {"ratio": plain(row.ratio)} for row in findings.rows],
        }
        if findings.coarse:
            document["coarse_mesh"] = {
                one.key: {"found": one.value, "less_allowance": allowed.value, "needed": one.needed}
                for one, allowed in ((both.found, both.allowed) for both in findings.coarse)
            }
        document |= findings.verdict.document()
        document["checks"] = {
            "largest_balance": max(state.balance for state in states),
            "largest_residual": max(state.residual for state in states),
            "mesh_errors": mesh_error_part(findings.unbounded, findings.verdict.seen),
            "seconds": findings.seconds,
        }
        return document

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        findings = self.findings
        joint, names = findings.joint, [state.name for state in findings.states["nominal"]]
        title = (
            f"Nominal preload {force_text(findings.preloads['nominal'], units)}: finite elements, closed-form "
            "estimate, ratio"
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
                self._compliances(units),
                *self._lifted(),
                Paragraphs("", (end_stud_words(joint, self._nominal_states(), units), *heat_words(joint, units))),
                reasons(findings.rows, [figure.why for figure in findings.joint_figures][:1]),
                Pictures(),
                self._trust(),
                sources_sheet(sources(joint)),
            ),
        )

    def _nominal_states(self) -> list[tuple[str, dict[str, float], float]]:
        return [(state.name, state.temperatures, state.fastener_force) for state in self.findings.states["nominal"]]

    def _lifted(self) -> list[Paragraphs]:
        states = self.findings.states["nominal"]
        texts = lifted_words((face.name, s.name, face.bearing_share) for s in states for face in s.bearings)
        return [Paragraphs("", texts)] if texts else []

    def _compliances(self, units: str) -> Paragraphs:
        texts = []
        for figure in self.findings.joint_figures:
            unit, factor = unit_in(figure.unit, units)
            error = error_text(figure.mesh_error, figure.finite_elements, factor)
            texts.append(
                f"{figure.quantity}: {figure_text(figure.finite_elements, factor)}{error and f' +- {error}'} {unit}, "
                f"estimate {figure_text(figure.estimate, factor)}, "
                f"ratio {figure.finite_elements / figure.estimate:.3f}"
            )
        return Paragraphs("", tuple(texts))

    def _trust(self) -> Paragraphs:
        findings = self.findings
        states = [state for found in findings.states.values() for state in found]
        coarse = (COARSE_MESH,) if findings.coarse else ()
        return Paragraphs(
            "How far to trust it",
            (
                *coarse,
                balance_words((s.balance, s.residual) for s in states),
                mesh_error_words(findings.unbounded, solid=False),
                f"{findings.elements} elements, {findings.unknowns} unknowns condensed to "
                f"{findings.interface_unknowns}, {findings.solver}, {sum(findings.seconds.values()):.2f} s",
                STIFFNESS_BY_HEAT if findings.joint.by_heat else STIFFNESS,
            ),
            listed=True,
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every quantity in every state, by finite elements and by the estimate."""
        findings = self.findings
        return row_columns(findings.rows, [state.name for state in findings.states["nominal"]])

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write one VTU file per state."""
        wanted.stage("fields")
        write_vtu(self.solved, self.fields, folder)

    def dataset(self) -> Dataset:
        """Return contact along the radius and forces, state by state, as xarray fields with units."""
        states = self.findings.states["nominal"]
        profile = states[0].profile
        places: Labelled = {
            "state": (("state",), [one.name for one in states], ""),
            "radius": (("point",), profile.radius, "mm"),
            "zone": (("point",), list(profile.zone), ""),
        }
        contact: Labelled = {
            name: (("state", "point"), [getattr(one.profile, name) for one in states], unit)
            for name, unit in (("pressure", "MPa"), ("closure", "mm"), ("permanent_set", "mm"))
        }
        forces: Labelled = {
            name: (("state",), [getattr(one, name) for one in states], unit)
            for name, unit in (("fastener_force", "N"), ("gasket_force", "N"), ("sealing_pressure", "MPa"))
        }
        return dataset(self.name, places, {**contact, **forces})

    def solids(self) -> dict[str, DataSet]:
        """Return the mesh of every state with displacement, stress and temperature, as pyvista grids by state."""
        return grids(lambda folder: write_vtu(self.solved, self.fields, folder))

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.joint.pictures import draw_all

        return draw_all(self.solved, self.findings.states["nominal"], self.fields, folder, wanted.units)
