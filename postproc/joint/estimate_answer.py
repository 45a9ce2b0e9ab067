"""The closed-form answer: a full verdict without a mesh."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from headjoint.model.formulas.estimate import Estimate, estimate
from headjoint.model.formulas.sealing import Seal
from headjoint.model.formulas.tightened import Tightened, by_formula
from headjoint.model.joint import Joint
from headjoint.postproc.joint.tightened import preload_paragraph
from headjoint.postproc.present.document import estimate_part, head
from headjoint.postproc.present.report import Paragraphs, Report, criteria_sections, rows_sheet
from headjoint.postproc.present.rows import Row, row_columns
from headjoint.postproc.present.units import force_text, unit_in
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.verdict.model_seen import closed_form_seen
from headjoint.postproc.verdict.requirement import Judged, StateFigures
from headjoint.postproc.verdict.state_figures import level_of, state_figures
from headjoint.postproc.verdict.verdict import Verdict, judge

ONE_CLOSURE = (
    "The estimate presses every zone by one closure. Where gas tilts the head, the sealing line bears less than its "
    "zone's mean here: `headjoint solve` shows how much."
)


@dataclass(frozen=True)
class EstimateAnswer(StatedAnswer):
    """Estimates at least, nominal and greatest preload, and the requirements judged on them."""

    joint: Joint
    estimates: dict[str, Estimate]
    judged: Verdict

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.joint.name

    @property
    def verdict(self) -> Verdict:
        """The requirements and what they say."""
        return self.judged

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-result"."""
        estimates = {name: estimate_part(one) for name, one in self.estimates.items()}
        return head(self.joint) | {"estimate": estimates} | self.judged.document()

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        joint, nominal = self.joint, self.estimates["nominal"]
        return Report(
            title=f"{joint.name}, by closed formulas",
            note=joint.note,
            judgement=self.judged.judgement,
            seen=self.judged.model_line,
            sentences=self.judged.sentences(units),
            sections=(
                *criteria_sections(self.judged, units),
                preload_paragraph(joint, {name: one.preload for name, one in self.estimates.items()}, units),
                self._resilience(nominal, units),
                rows_sheet(
                    _rows(joint, nominal),
                    [state.name for state in nominal.states],
                    units,
                    f"Nominal preload {force_text(nominal.preload, units)}",
                ),
                Paragraphs("", (ONE_CLOSURE,)),
            ),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every quantity in every state of the nominal tightening."""
        nominal = self.estimates["nominal"]
        found = row_columns(_rows(self.joint, nominal), [state.name for state in nominal.states])
        return {"quantity": found["quantity"], "unit": found["unit"], "state": found["state"],
                "estimate": found["finite elements"]}  # fmt: skip

    def _resilience(self, one: Estimate, units: str) -> Paragraphs:
        unit, factor = unit_in("um/kN", units)
        factor *= 1e6  # from mm/N
        texts = [
            f"{title} = {total * factor:.4g} {unit}: " + "; ".join(f"{t.name} {t.value * factor:.4g}" for t in terms)
            for title, terms, total in (
                ("Resilience of the fastener delta_S", one.fastener_terms, one.delta_S),
                ("Resilience of the clamped parts delta_P", one.clamped_terms, one.delta_P),
            )
        ]
        tight = self.joint.tightening
        length, length_factor = unit_in("um", units)
        texts.append(
            f"Gasket {one.gasket_loading * factor:.4g} {unit} when tightened on, {one.gasket_relief * factor:.4g} when "
            f"relieved. Load factor Phi = {one.Phi:.4f} (rigid gasket {one.Phi_bare:.4f}), "
            f"n = {one.load_introduction_factor:.3f} ({one.load_introduction_source}). Embedding "
            f"{tight.embedding * 1e3 * length_factor:.3g} {length} ({tight.embedding_source}) costs "
            f"{force_text(one.embedding_loss, units)}."
        )
        return Paragraphs("", tuple(texts))


def _rows(joint: Joint, one: Estimate) -> list[Row]:
    area, none = joint.fastener.smallest_area, (None,) * len(one.states)
    figures: list[tuple[str, str, list[float | None]]] = [
        ("fastener force F_S", "kN", [s.fastener_force / 1e3 for s in one.states]),
        ("fastener tension F_S/A", "MPa", [s.fastener_force / area for s in one.states]),
        ("gasket force", "kN", [s.gasket_force / 1e3 for s in one.states]),
        ("sealing-zone pressure", "MPa", [s.sealing_pressure for s in one.states]),
        ("thermal change of clamp", "kN", [s.thermal_change / 1e3 for s in one.states]),
        ("separation: falls short at gas x", "", [s.separation_factor for s in one.states]),
        ("separation: lifts off at gas x", "", [s.lift_off_factor for s in one.states]),
    ]
    if one.states[0].plastic_strain is not None:
        strains: list[float | None] = [100.0 * (s.plastic_strain or 0.0) for s in one.states]
        figures.insert(2, ("plastic strain, weakest length", "%", strains))
    return [Row(name, unit, tuple(values), none) for name, unit, values in figures]


def assess_estimate(joint: Joint) -> EstimateAnswer:
    """Return the closed-form answer judged against the requirements."""
    found = _tightened(joint).over(joint.tightening)
    estimates = {name: _estimate(joint, one) for name, one in found.items()}
    levels = {
        name: level_of(name, found[name], _figures(joint, one), one.states[-1].plastic_strain)
        for name, one in estimates.items()
    }
    return EstimateAnswer(joint, estimates, judge(Judged(joint, closed_form_seen(joint), levels)))


def _tightened(joint: Joint) -> Tightened:
    """Return what the tightening gives; the chain is made only where it decides."""
    if joint.tightening.preload is not None:
        return by_formula(joint, joint.tightening.preload)
    from headjoint.cases.models.condensed import chain_of
    from headjoint.cases.service.tightened import tightened

    return tightened(chain_of(joint))


def _estimate(joint: Joint, found: Tightened) -> Estimate:
    if not found.past_yield:
        return estimate(joint, found.preload)
    from headjoint.cases.service.tightened import closed_form

    return closed_form(joint, found)


def _figures(joint: Joint, closed: Estimate) -> tuple[StateFigures, ...]:
    width, first = joint.gasket.sealing_zone.line_width, closed.states[0].fastener_force
    return tuple(
        state_figures(
            joint,
            name=state.name,
            kind=state.kind,
            fastener_temperature=state.case.temperatures["fastener"],
            head_temperature=state.case.temperatures["head"],
            block_temperature=state.case.temperatures["block"],
            gas_pressure=state.case.gas_pressure,
            fired=state.case.gas_force > 0.0,
            force=state.fastener_force,
            assembled=first,
            seal=Seal(state.sealing_pressure, state.sealing_pressure * width),
            stroke=None,
            separation_factor=state.separation_factor,
            separation_judged=True,
            force_amplitude=state.force_amplitude,
            zones=[(zone.name, zone.pressure) for zone in state.zones],
        )
        for state in closed.states
    )
