"""The answer of a warm-up: verdict, temperatures and clamp over time, the dangerous moments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.warm_up.warm_up import WarmUp
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import UNITS, opening, plain, stated
from headjoint.postproc.present.labelled import Labelled, dataset
from headjoint.postproc.present.mesh_errors import factor_error_words, mesh_error_part
from headjoint.postproc.present.report import (
    Items,
    Paragraphs,
    Pictures,
    Report,
    Sheet,
    criteria_sections,
    sources_sheet,
)
from headjoint.postproc.present.units import figure_text, shown, unit_in
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.stated.sources import sources
from headjoint.postproc.verdict.verdict import Verdict
from headjoint.postproc.warm_up.chosen_instants import shown as shown_instants
from headjoint.postproc.warm_up.findings import WarmUpFindings, time_text
from headjoint.postproc.warm_up.words import moments

if TYPE_CHECKING:
    from xarray import Dataset

FORMAT, VERSION = "headjoint-warm-up-result", 2
PLACES = ("chamber face", "sealing line", "head at the bridge", "head mean", "fastener mean", "block mean")
LIMITS = (
    "Heat enters through the chamber (in a cell also the bore wall) and leaves through the faces of the coolant "
    "spaces; in one fastener's joint the outer cylinders of head and block stand for those. Faces in contact conduct "
    "by the pressure between them, shank and hole across their gap. Films, gas and roughness are typical, from memory, "
    "unless the file states them. Requirements are judged over the scatter of tightening, at the temperatures of the "
    "nominal joint; table and extremes are those of the nominal preload. Gas presses with the peak pressure of the "
    "duty while it burns; gasket and fastener creep, set and yield on the way."
)
TABLE_NOTE = (
    "clamp, sealing: without gas; firing: with the peak pressure of the gas; estimate: clamp by the closed-form chain "
    "at the mean temperatures of the parts."
)


@dataclass(frozen=True)
class WarmUpAnswer(StatedAnswer):
    """What warming up and cooling does to a joint."""

    findings: WarmUpFindings
    document_name = "warmup.json"
    page_name = "warmup.html"

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.findings.joint.name

    @property
    def verdict(self) -> Verdict:
        """The requirements and what they say."""
        return self.findings.verdict

    def document(self) -> dict[str, Any]:
        """Return the document: times s, temperatures degC, forces N, pressures MPa, unrounded."""
        findings, warmed = self.findings, self.findings.warmed
        units = UNITS | {"time": "s"}
        return (
            opening(FORMAT, VERSION, units, solved=True)
            | {
                "joint": stated(warmed.joint),
                "tightened": warmed.tightened,
                "duty": [plain(one) for one in warmed.duty.steps],
                "instants": plain(warmed.instants),
                "least": plain(warmed.least),
                "greatest": plain(warmed.greatest),
                "half_pace": plain(findings.slower.instants),
                "stiffness": {"effect": warmed.stiffness_effect, "error": warmed.stiffness_error},
                "heat": {
                    "steps": warmed.heat.steps,
                    "error_K": warmed.heat.estimated_error,
                    "balance": warmed.heat.balance.error,
                    "contact_updates": warmed.contact_updates,
                },
                "checks": {"mesh_errors": mesh_error_part(findings.unbounded, findings.verdict.seen)},
            }
            | findings.verdict.document()
        )

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        findings = self.findings
        return Report(
            title=f"{findings.joint.name}: warm-up and cooling",
            note=findings.joint.note,
            judgement=findings.verdict.judgement,
            seen=findings.verdict.model_line,
            sentences=findings.verdict.sentences(units),
            sections=(
                *criteria_sections(findings.verdict, units),
                Items("The moments that matter", tuple(moments(findings, units))),
                Pictures(),
                _instants_sheet(findings.warmed, units),
                Paragraphs(
                    "How far to trust it",
                    (
                        LIMITS,
                        stiffness_line(findings.warmed),
                        f"{check_line(findings.warmed)[:-1]}; {factor_error_words(findings.unbounded)}.",
                    ),
                ),
                sources_sheet(sources(findings.joint)),
            ),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every instant: time s, temperatures degC by place, forces N, pressures MPa."""
        instants = self.findings.warmed.instants
        figures = ("force", "least_force", "greatest_force", "fired_force", "estimate", "sealing", "fired_sealing")
        return (
            {"time": [one.time for one in instants]}
            | {place: [one.temperatures[place] for one in instants] for place in instants[0].temperatures}
            | {name: [getattr(one, name) for one in instants] for name in (*figures, "gas_pressure", "plastic")}
        )

    @property
    def column_units(self) -> Mapping[str, str]:
        """Units of the columns of its main table."""
        places = self.findings.warmed.instants[0].temperatures
        pressures = dict.fromkeys(("sealing", "fired_sealing", "gas_pressure"), "MPa")
        forces = dict.fromkeys(("force", "least_force", "greatest_force", "fired_force", "estimate"), "N")
        return {"time": "s", **dict.fromkeys(places, "degC"), **forces, **pressures, "plastic": "1"}

    def dataset(self) -> Dataset:
        """Return temperatures by place, forces and pressures over time, as xarray fields with units."""
        columns, units = self.columns(), self.column_units
        places = list(self.findings.warmed.instants[0].temperatures)
        coordinates: Labelled = {"time": (("time",), columns["time"], "s"), "place": (("place",), places, "")}
        found = {name: values for name, values in columns.items() if name not in ("time", *places)}
        fields: Labelled = {
            "temperature": (("place", "time"), [columns[place] for place in places], "degC"),
            # without gas there is none of what gas makes
            **{name: (("time",), np.array(values, dtype=float), units[name]) for name, values in found.items()},
        }
        return dataset(self.name, coordinates, fields)

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write instants as VTU, where a series is wanted."""
        if wanted.series:
            from headjoint.postproc.warm_up.series import write_series

            wanted.stage("instants as VTU")
            write_series(self.findings.warmed, folder)

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.warm_up.pictures import draw_warm_up

        return draw_warm_up(self.findings, folder, wanted.units)

    def move(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the warm-up."""
        from headjoint.postproc.warm_up.pictures import move_warm_up

        return move_warm_up(self.findings, folder, wanted.units)


def _instants_sheet(warmed: WarmUp, units: str) -> Sheet:
    """Return the table of chosen instants."""
    places = [name for name in PLACES if name in warmed.instants[0].temperatures]
    (force, per_force), (pressure, per_pressure) = unit_in("kN", units), unit_in("MPa", units)
    lines = tuple(
        (
            time_text(one.time),
            *(f"{shown(one.temperatures[place], 'degC', units)[0]:.0f}" for place in places),
            figure_text(one.force / 1e3, per_force),
            figure_text(one.estimate / 1e3, per_force),
            "" if one.fired_force is None else figure_text(one.fired_force / 1e3, per_force),
            figure_text(one.sealing, per_pressure),
            figure_text(one.fired_sealing, per_pressure),
        )
        for one in shown_instants(warmed)
    )
    degrees = shown(0.0, "degC", units)[1]
    title = f"Temperatures ({degrees}), clamp per fastener ({force}) and pressure on the sealing line ({pressure})"
    headings = ("time", *places, "clamp", "estimate", "firing", "sealing", "firing")
    return Sheet(title, headings, lines, note=TABLE_NOTE)


def stiffness_line(warmed: WarmUp) -> str:
    """Return in words what stiffness at temperature does."""
    if warmed.stiffness_effect is None or warmed.stiffness_error is None:
        return "Stiffness: nothing gets warm, that of assembly."
    return (
        "Stiffness follows temperature: the castings between two condensed joints, the fastener by its mean. That "
        f"changes the greatest clamp by {100 * warmed.stiffness_effect:+.1f} % of the tightened clamp; condensed anew "
        f"there, what is interpolated differs by {100 * abs(warmed.stiffness_error):.2f} %."
    )


def check_line(warmed: WarmUp) -> str:
    """Return the checks in words."""
    heat = warmed.heat
    return (
        f"Checks: energy is kept to {heat.balance.error:.0e}; error in time at most {heat.estimated_error:.2f} K in "
        f"{heat.steps} steps; {len(warmed.instants)} instants, each balanced to 1e-8 of the clamp; contacts told of "
        f"new pressures {warmed.contact_updates} times."
    )
