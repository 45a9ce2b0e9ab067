"""All findings of a solved cell: criteria, table beside the estimate, mesh errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.cases.condensed.stud_rows import BendingRows, bending_by_recovery
from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.load_cases.load_history import History, without_gas
from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.service.tightened import closed_form
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.rich import Rich
from headjoint.model.cell import Bank, Cell, Ring
from headjoint.model.formulas.estimate import Estimate
from headjoint.model.formulas.mesh_error import BENDING_SOLID, DIFFERENCE_SOLID
from headjoint.postproc.cell.findings import (
    CellFields,
    CellStateFindings,
    cell_fields,
    cell_state_findings,
    greatest_scrub_range,
    recovery_of,
)
from headjoint.postproc.cell.stuck_nuts import StudBending, range_of_states, stud_bending
from headjoint.postproc.present.mesh_errors import compared, doubted
from headjoint.postproc.present.rows import Row, with_mesh_errors
from headjoint.postproc.verdict.model_seen import cell_seen
from headjoint.postproc.verdict.requirement import LEVELS, Judged, Tightened
from headjoint.postproc.verdict.state_figures import level_of, state_figures
from headjoint.postproc.verdict.verdict import Verdict, judge


@dataclass(frozen=True)
class CellFindings(Rich):
    """What headjoint says of a cell.

    bending : of its studs, state by state at the nominal tightening. bending_range : (fasteners,) amplitude in MPa
    between any two states. unbounded : why mesh errors are not known, "" where they are. origin : what is to be said of
    an own mesh.
    """

    cell: Cell
    states: dict[str, tuple[CellStateFindings, ...]]
    fields: tuple[CellFields, ...] = field(repr=False)
    bending: tuple[StudBending, ...]
    bending_range: FloatArray
    scrub_range: float
    estimate: Estimate = field(repr=False)
    rows: tuple[Row, ...]
    verdict: Verdict
    preloads: dict[str, float]
    unbounded: str
    origin: str
    quality: float
    elements: int
    unknowns: int
    interface_unknowns: int
    solver: str
    seconds: dict[str, float]


@dataclass(frozen=True)
class CellOnMesh:
    """Figures of a cell on one mesh, without their mesh errors."""

    states: dict[str, tuple[CellStateFindings, ...]]
    fields: tuple[CellFields, ...]
    bending: tuple[StudBending, ...]
    bending_range: FloatArray
    rows: tuple[Row, ...]
    judged: Judged
    closed: Estimate


def assess_cell(solved: SolvedCell) -> CellFindings:
    """Return the findings of a solved cell."""
    fine = cell_on_one_mesh(solved)
    coarse, unbounded = compared(solved.coarse, cell_on_one_mesh, solved.unbounded)
    return CellFindings(
        cell=solved.cell,
        states=fine.states,
        fields=fine.fields,
        bending=fine.bending,
        bending_range=fine.bending_range,
        scrub_range=greatest_scrub_range(fine.fields),
        estimate=fine.closed,
        rows=fine.rows if coarse is None else with_mesh_errors(fine.rows, coarse.rows, solid=True),
        verdict=judge(doubted(fine.judged, unbounded), coarse=None if coarse is None else coarse.judged),
        preloads={name: solved.histories[name].preload for name in LEVELS},
        unbounded=unbounded,
        origin=_origin(solved.assembled),
        quality=float(solved.assembled.mesh.quality().min()),
        elements=solved.assembled.mesh.cells.shape[1],
        unknowns=solved.assembled.unknowns,
        interface_unknowns=len(solved.assembled.kept),
        solver=solver_name(),
        seconds=solved.seconds,
    )


def cell_on_one_mesh(solved: SolvedCell) -> CellOnMesh:
    """Return the figures of a cell as one mesh has them."""
    histories, cell = solved.histories, solved.cell
    rests = {name: without_gas(history) for name, history in histories.items()}
    states: dict[str, tuple[CellStateFindings, ...]] = {
        name: cell_state_findings(histories[name], rests[name], margins=name != "greatest") for name in LEVELS
    }
    fields, rows = _linear(solved)
    bent = {
        name: stud_bending(rows, history, rests[name] if name == "nominal" else [None] * len(history.states))
        for name, history in histories.items()
    }
    amplitudes = [one.amplitude for one in bent["nominal"]]
    tightenings: dict[str, Tightened] = {
        name: judged_level(
            name,
            histories[name],
            states[name],
            [one.stress for one in bent[name]],
            amplitudes,
            separated=name != "greatest",
        )
        for name in LEVELS
    }
    closed = closed_form(cell.joint, histories["nominal"].tightened)
    judged = Judged(cell.joint, cell_seen(cell), tightenings)
    nominal = bent["nominal"]
    table = _rows(cell, states["nominal"], fields, nominal, closed)
    return CellOnMesh(states, fields, nominal, range_of_states(rows, nominal), table, judged, closed)


def _linear(solved: SolvedCell) -> tuple[tuple[CellFields, ...], BendingRows]:
    """Return what moves at the faces, and the rows of bending: as they were condensed along, or recovered."""
    watched = solved.watched
    if watched is not None and watched.faces is not None:
        return cell_fields(solved), watched.bending
    recovery = recovery_of(solved)
    rows = bending_by_recovery(solved.assembled, recovery) if watched is None else watched.bending
    fields = cell_fields(solved, recovery)
    if not recovery.left_over:  # which pictures need
        recovery.release()
    return fields, rows


def judged_level(
    name: str,
    history: History[BoreCell],
    states: Sequence[CellStateFindings],
    bending: Sequence[FloatArray],
    amplitudes: Sequence[FloatArray | None],
    *,
    separated: bool,
) -> Tightened:
    """Return what the criteria need: the fastener that is worst for what this tightening is judged by.

    bending : stress (fasteners,) in MPa of each state, which adds to the tension of the same fastener. amplitudes : of
    bending (fasteners,) between gas and none, of each state at the nominal tightening; an amplitude counts as the force
    that makes the same stress on the stress area and adds to that of the same fastener; where that is not known, there
    is none. separated : whether head-room was
    searched for.
    """
    cell, first = history.model.cell, states[0].forces
    cold = [state.forces for state in states if state.kind == "cold"]
    kept = np.ones(len(first))
    tight = first > 0.0  # a stud that was left slack has no clamp to keep
    kept[tight] = min((forces[tight] / first[tight] for forces in cold), key=np.min, default=1.0)
    area = cell.joint.fastener.thread.stress_area
    figures = []
    for state, stress, bent in zip(states, bending, amplitudes, strict=True):
        # what is kept is judged by the fastener that keeps least, at the least tightening
        worst = int(kept.argmin()) if state.kind == "cold" else int(state.forces.argmin())
        if name == "greatest":
            worst = int(state.forces.argmax())
        amplitude = None
        if state.force_amplitudes is not None and bent is not None:  # without its bending it would be too kind
            amplitude = float((state.force_amplitudes + bent * area).max())
        figures.append(
            state_figures(
                cell.joint,
                name=state.name,
                kind=state.kind,
                fastener_temperature=state.temperatures["fastener"],
                head_temperature=state.temperatures["head"],
                block_temperature=state.temperatures["block"],
                gas_pressure=state.gas_pressure,
                force=float(state.forces[worst]),
                tension=float((state.forces / cell.joint.fastener.smallest_area + stress).max()),
                assembled=float(first[worst]),
                seal=state.worst.seal,
                stroke=state.stroke,
                need=state.worst.need,
                sealing_without_gas=state.sealing_without_gas,
                separation_factor=state.separation_factor,
                separation_judged=separated,
                force_amplitude=amplitude,
                zones=[(zone, greatest) for zone, _, greatest, _ in state.zones],
                crush={zone: limit for zone, _, _, limit in state.zones},
            )
        )
    return level_of(name, history.tightened, figures, history.states[-1].strain)


ANGLE_FROM = {Bank: "row of bores", Ring: "first stud"}
BENDS = "the estimate presses every zone by one closure; here head and block bend between the studs"
HOLLOW = "the estimate takes a solid head round one stud; here it is two decks, walls and columns"


def _rows(
    cell: Cell,
    states: tuple[CellStateFindings, ...],
    fields: tuple[CellFields, ...],
    bending: tuple[StudBending, ...],
    closed: Estimate,
) -> tuple[Row, ...]:
    of = {state.name: state for state in closed.states}
    beside = [of[state.name] for state in states]
    nothing = tuple(None for _ in states)

    def row(quantity: str, unit: str, values: list, estimated: tuple | list = nothing, why: str = "") -> Row:
        return Row(quantity, unit, tuple(values), tuple(estimated), why)

    forces = [s.mean_force / 1e3 for s in states]
    rows = [row("mean fastener force", "kN", forces, [b.fastener_force / 1e3 for b in beside], HOLLOW)]
    if len(states[0].forces) > 1:
        rows.append(row("spread of fastener forces", "%", [100.0 * s.force_spread for s in states]))
    rows += [
        *(replace(row(*figures), untold=BENDING_SOLID) for figures in _bending_rows(bending)),
        row(*_friction_row(bending)),
        replace(row(*_amplitude_row(bending)), untold=DIFFERENCE_SOLID),
        row(
            "least sealing-line pressure",
            "MPa",
            [s.worst.least for s in states],
            [b.sealing_pressure for b in beside],
            BENDS,
        ),
        row(f"  at angle from the {ANGLE_FROM[type(cell.layout)]}", "deg", [s.worst.least_at for s in states]),
        row("  needed there", "MPa", [s.worst.need.pressure or None for s in states]),
        row("mean sealing-line pressure", "MPa", [float(s.worst.pressure.mean()) for s in states]),
        row(
            "least line load along the bead",
            "N/mm",
            [s.worst.seal.line_load for s in states],
            [b.sealing_pressure * cell.joint.gasket.sealing_zone.line_width for b in beside],
            BENDS,
        ),
        row("  needed there", "N/mm", [s.worst.need.line_load or None for s in states]),
        row("stroke of the bead under gas", "um", [None if s.stroke is None else 1e3 * s.stroke for s in states]),
        *_head_room(states, tuple(b.separation_factor for b in beside)),
        *lifts_and_shapes(cell, states, fields),
    ]
    return tuple(rows)


def lifts_and_shapes(cell: Cell, states: tuple[CellStateFindings, ...], fields: tuple[CellFields, ...]) -> list[Row]:
    """Return how far the head lifts and slides and what shape the bore takes, without mesh errors."""
    nothing = tuple(None for _ in states)

    def row(quantity: str, values: list[float]) -> Row:
        return Row(quantity, "um", tuple(values), nothing, peak=True)

    rows = [
        row("head lift since assembly", [1e3 * s.head_lift for s in states]),
        row("scrub since assembly", [1e3 * float(f.scrub.max()) for f in fields]),
    ]
    # studs in a ring leave only orders of their number
    named = {2: " (oval)", 3: " (three-lobed)", 4: " (four-lobed)"}
    for order in (2, 3, 4) if isinstance(cell.layout, Bank) else (cell.layout.number,):
        worst = [max((1e3 * s.orders.get(order, 0.0) for s in f.shapes), default=0.0) for f in fields]
        rows.append(row(f"bore distortion, order {order}{named.get(order, '')}", worst))
    return rows


def _head_room(states: tuple[CellStateFindings, ...], estimated: tuple[float | None, ...]) -> tuple[Row, Row]:
    """Return head-room as a factor and as a pressure, with what the sealing line keeps under gas."""
    kept = tuple(None if s.sealing_without_gas is None else (s.worst.least, s.sealing_without_gas) for s in states)
    over_gas = tuple(
        None if pair is None else (pair[0], pair[1] * s.gas_pressure) for pair, s in zip(kept, states, strict=True)
    )
    nothing = tuple(None for _ in states)
    factor, sealed = (tuple(getattr(s, name) for s in states) for name in ("separation_factor", "sealed_pressure"))
    return (
        Row("separation factor", "", factor, estimated, BENDS, relieved=kept),
        Row("greatest sealed gas pressure", "MPa", sealed, nothing, relieved=over_gas),
    )


def _bending_rows(bending: Sequence[StudBending]) -> list[tuple[str, str, list[float | None]]]:
    """Return quantity, unit and values of what is said of the bending of studs, at the worst stud of each state."""
    return [
        ("bending stress of the fastener", "MPa", [float(one.stress.max()) for one in bending]),
        ("  nuts sliding freely", "MPa", [float(one.sliding.max()) for one in bending]),
        ("  nuts that stick", "MPa", [float(one.sticking.max()) for one in bending]),
        ("  shear that sticking takes", "kN", [float(one.shear.max()) / 1e3 for one in bending]),
    ]


def _friction_row(bending: Sequence[StudBending]) -> tuple[str, str, list[float]]:
    """Return quantity, unit and values of the friction beside that shear, as exact as the forces that it goes by."""
    return "  friction of that nut, greatest", "kN", [_friction_there(one) / 1e3 for one in bending]


def _amplitude_row(bending: Sequence[StudBending]) -> tuple[str, str, list[float | None]]:
    """Return quantity, unit and values of the amplitude of bending, which is a difference of two states."""
    values = [None if one.amplitude is None else float(one.amplitude.max()) for one in bending]
    return "amplitude of bending under gas", "MPa", values


def _friction_there(one: StudBending) -> float:
    """Return the greatest friction (N) of the nut that needs most shear to stick."""
    return float(one.friction[1][one.shear.argmax()])


def _origin(model: CellModel) -> str:
    if not model.mesh.origin:
        return ""
    coupling = "faces match node by node"
    if not all(pair.matching for pair in model.mesh.pairs):
        coupling = (
            "faces that do not match are coupled at quadrature points, at most "
            f"{100 * model.points.uncovered:.1f} % of one has none opposite"
        )
    return f"{model.mesh.origin}: {coupling}"
