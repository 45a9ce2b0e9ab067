"""Each finite-element figure beside its closed-form estimate, and why the two should differ."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from headjoint.model.formulas import strength
from headjoint.model.formulas.estimate import Estimate, StateEstimate
from headjoint.model.formulas.turning import torsion_of
from headjoint.model.joint import Joint
from headjoint.postproc.joint.findings import StateFindings
from headjoint.postproc.present.rows import JointFigure, Row

LOCAL = (
    "The chain presses all zones by one closure; the elastic head and block spread the clamp unevenly, more "
    "under the nut and less at the rim."
)


Of = Callable[[StateFindings], float | None]
OfEstimate = Callable[[StateEstimate], float | None]
CHAIN = (
    "Assembly is prescribed. Later cases differ by the resilience of the clamped parts, where a cone stands for the "
    "stress field, and by the free sideways growth of head and block, which the chain has not."
)
BESIDE_THE_NUT = (
    "The gas ring bends the head beside the nut, which the chain sees only through the load introduction factor n of a "
    "table; a small figure either way."
)
AT_THE_RIM = (
    "Gas acts at the rim beside the sealing line and tilts the head, so the line is relieved more or less than the "
    "mean of the gasket."
)
UTILISATION = (
    "Tension with torsion against yield at temperature: at assembly all of it in a section that flows as a whole, "
    "later what the wrench left of it at the rim that yields first (VDI 2230)."
)


@dataclass(frozen=True)
class _Table:
    """Makes rows of a joint's states beside those of its estimate."""

    joint: Joint
    states: tuple[StateFindings, ...]
    estimate: Estimate

    def row(
        self, quantity: str, unit: str, of: Of, beside: OfEstimate | None = None, why: str = "", peak: bool = False
    ) -> Row:
        """Return a quantity of every state, read off by `of`, and off the estimate by `beside`."""
        estimated = tuple(None if beside is None else beside(one) for one in self.estimate.states)
        return Row(quantity, unit, tuple(map(of, self.states)), estimated, why, peak=peak)

    def alike(self, quantity: str, unit: str, name: str, factor: float = 1.0, why: str = "") -> Row:
        """Return a quantity that findings and estimate have under one name."""

        def read(one: StateFindings | StateEstimate) -> float | None:
            value: float | None = getattr(one, name)
            return None if value is None else value * factor

        return self.row(quantity, unit, read, read, why)


def comparison(joint: Joint, states: tuple[StateFindings, ...], estimate: Estimate) -> tuple[Row, ...]:
    """Return the table of a joint at one tightening, states as columns."""
    table = _Table(joint, states, estimate)
    gas = _gas_rows(table) if any(state.gas_force > 0.0 for state in states) else []
    return (*_force_rows(table), *_gasket_rows(table), *_bearing_rows(table), *gas, _kept(table))


def _force_rows(table: _Table) -> list[Row]:
    area = table.joint.fastener.smallest_area
    return [
        table.row(
            "fastener force F_S", "kN", lambda s: s.fastener_force / 1e3, lambda e: e.fastener_force / 1e3, CHAIN
        ),
        table.row(
            "fastener tension F_S/A", "MPa", lambda s: s.fastener_force / area, lambda e: e.fastener_force / area
        ),
        _strain(table) if table.states[0].plastic_strain is not None else _utilisation(table),
        table.row("gasket force", "kN", lambda s: s.gasket_force / 1e3, lambda e: e.gasket_force / 1e3),
    ]


def _gasket_rows(table: _Table) -> list[Row]:
    joint = table.joint
    area = sum(zone.area for zone in joint.gasket.zones)
    width = joint.gasket.sealing_zone.line_width
    return [
        table.row("gasket pressure, mean", "MPa", lambda s: s.gasket_force / area, lambda e: e.gasket_force / area),
        table.row("gasket pressure, least", "MPa", lambda s: min(zone.least for zone in s.zones), peak=True),
        table.row(
            "gasket pressure, greatest",
            "MPa",
            lambda s: max(zone.greatest for zone in s.zones),
            lambda e: max(zone.pressure for zone in e.zones),
            LOCAL,
            peak=True,
        ),
        table.alike("sealing-line pressure", "MPa", "sealing_pressure", why=LOCAL),
        table.row("  needed there", "MPa", lambda s: s.need.pressure or None),
        table.row(
            "line load along the bead", "N/mm", lambda s: s.line_load, lambda e: e.sealing_pressure * width, LOCAL
        ),
        table.row("  needed there", "N/mm", lambda s: s.need.line_load or None),
        table.row(
            "closure at the sealing line",
            "um",
            lambda s: s.sealing_closure * 1e3,
            lambda e: _sealing_closure(joint, e) * 1e3,
        ),
    ]


def _bearing_rows(table: _Table) -> list[Row]:
    rows = []
    first = table.states[0]
    for index, face in enumerate(first.bearings):
        area = first.fastener_force / face.mean
        rows.append(
            table.row(
                f"bearing pressure, {face.name}",
                "MPa",
                _mean_under(index),
                _force_over(area),
            )
        )
    return rows


def _mean_under(index: int) -> Of:
    return lambda state: state.bearings[index].mean


def _force_over(area: float) -> OfEstimate:
    return lambda state: state.fastener_force / area


def _gas_rows(table: _Table) -> list[Row]:
    def amplitude(one: StateFindings | StateEstimate) -> float | None:
        force = one.force_amplitude
        return None if force is None else force / table.joint.fastener.thread.stress_area

    def hot(one: StateFindings | StateEstimate) -> float:
        temperatures = one.temperatures if isinstance(one, StateFindings) else one.case.temperatures
        return temperatures["fastener"]

    def endurance(one: StateFindings | StateEstimate) -> float | None:
        force, half = one.fastener_force, one.force_amplitude
        return strength.fatigue(table.joint, force, force - 2.0 * half, hot(one)).factor if half else None

    return [
        table.alike("load factor dF_S/F_A", "", "load_factor", why=BESIDE_THE_NUT),
        table.row("stroke of the bead under gas", "um", lambda s: None if s.stroke is None else 1e3 * s.stroke),
        replace(
            table.alike("separation: falls short at gas x", "", "separation_factor", why=AT_THE_RIM),
            relieved=tuple(
                None if state.sealing_without_gas is None else (state.sealing_pressure, state.sealing_without_gas)
                for state in table.states
            ),
        ),
        table.alike("separation: lifts off at gas x", "", "lift_off_factor"),
        table.row("stress amplitude", "MPa", amplitude, amplitude),
        table.row("endurance limit over amplitude", "", endurance, endurance),
    ]


def _kept(table: _Table) -> Row:
    def kept(one: StateFindings | StateEstimate, first: float) -> float | None:
        return 100.0 * one.fastener_force / first if one.kind in ("cold", "settled") else None

    computed, beside = table.states[0].fastener_force, table.estimate.states[0].fastener_force
    return table.row("clamp kept", "%", lambda s: kept(s, computed), lambda e: kept(e, beside))


def _strain(table: _Table) -> Row:
    """Return what takes the place of utilisation where a fastener is past yield on purpose."""

    def percent(one: StateFindings | StateEstimate) -> float | None:
        return None if one.plastic_strain is None else 100.0 * one.plastic_strain

    return table.row("plastic strain, weakest length", "%", percent, percent, CHAIN)


def _utilisation(table: _Table) -> Row:
    joint, preload = table.joint, table.estimate.preload
    torsion = torsion_of(joint, preload)

    def used(force: float, kind: str, temperature: float) -> float | None:
        if kind == "assembly":
            use = strength.tightening_utilisation(joint, preload, torsion.tightening)
        else:
            tension = force / joint.fastener.smallest_area
            use = strength.service_utilisation(joint, tension, torsion.left, temperature)
        return None if use.strength is None else 100.0 * use.stress / use.strength

    return table.row(
        "utilisation of yield",
        "%",
        lambda s: used(s.fastener_force, s.kind, s.temperatures["fastener"]),
        lambda e: used(e.fastener_force, e.kind, e.case.temperatures["fastener"]),
        UTILISATION,
    )


def _sealing_closure(joint: Joint, state: StateEstimate) -> float:
    name = joint.gasket.sealing_zone.name
    return next(zone.closure for zone in state.zones if zone.name == name)


def preload_figure(joint: Joint, found: float, estimated: float) -> JointFigure:
    """Return the preload (N) that a joint's tightening gives beside that of its closed-form chain."""
    why = "Turning becomes force by the compliance of the joint, which the chain has from cones and one closure."
    return JointFigure(f"preload by {joint.tightening.method}", "kN", found / 1e3, estimated / 1e3, why)


def joint_figures(cut_compliance: float, relief_compliance: float, estimate: Estimate) -> tuple[JointFigure, ...]:
    """Return the figures of the whole joint beside their estimates."""
    why = (
        "The cone formula is a fit, good to some 10 %; nut, washer and thread also bend and squash where the chain "
        "has one term each."
    )
    relief = estimate.delta_S + estimate.delta_P + estimate.gasket_relief
    return (
        JointFigure(
            "compliance of the joint, tightening on",
            "um/kN",
            cut_compliance * 1e6,
            estimate.cut_compliance * 1e6,
            why,
        ),
        JointFigure("compliance of the joint, relieved", "um/kN", relief_compliance * 1e6, relief * 1e6, why),
    )
