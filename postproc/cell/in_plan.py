"""A solved cell's states as panels of the picture in plan: mirrored to whole bores, with what sealing needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.cases.load_cases.load_history import State
from headjoint.cases.models.condensed import BoreCell
from headjoint.meshes.solid.symmetry import depth_inside, stud_places
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Cell, Ring
from headjoint.postproc.cell.findings import LineFindings
from headjoint.postproc.plan.face_field import GasketField, gasket_field
from headjoint.postproc.plan.level_lines import above_on_edges, level_lines, outer_edges
from headjoint.postproc.plan.panel import Panel, PlanBore, PlanStud, PlanWindow, PlanZone
from headjoint.postproc.plan.whole import Whole, whole
from headjoint.postproc.present.scale import Scales

ON_PLANE = 1e-3  # mm from a plane of symmetry within which an edge is no end of the gasket
BODY_BEYOND = 0.045  # of a bore's diameter, how far outside the last ring the body is pointed to


@dataclass(frozen=True)
class CellPlan:
    """What all states of a cell share in plan.

    sealing : (s, 3) triangles of its sealing zone. ends : (e, 2) edges where that ends, planes of symmetry left out.
    nearest : (n,) number of the bore that every place is nearest to.
    """

    model: BoreCell
    field: GasketField
    whole: Whole
    sealing: IntArray
    ends: IntArray
    nearest: IntArray

    @property
    def cell(self) -> Cell:
        """The cell."""
        return self.model.cell

    @property
    def window(self) -> PlanWindow:
        """What is shown."""
        if isinstance(self.cell.layout, Ring):
            return PlanWindow(self.whole.low, self.whole.high, "towards the first stud", "across")
        return PlanWindow(self.whole.low, self.whole.high)


def cell_plan(model: BoreCell, corners: FloatArray) -> CellPlan:
    """Return the plan of a cell; corners : (2, 8 or 6, f) places of the nodes of its gasket's faces, mm."""
    cell, field = model.cell, gasket_field(model.points, corners)
    sealing = field.triangles[np.array([zone.sealing for zone in cell.zones])[field.zone]]
    edges = outer_edges(field.places, sealing)
    ends = edges[depth_inside(cell, *field.places[:, edges].mean(axis=2)) > ON_PLANE]
    return CellPlan(model, field, whole(cell), sealing, ends, _nearest_bore(cell, field.places))


def plan_zones(cell: Cell) -> tuple[PlanZone, ...]:
    """Return the gasket's zones from the bore outwards."""
    found = []
    for zone in cell.zones:
        ring = np.isfinite(zone.outer_diameter)
        radius = zone.sealing_diameter / 2.0 if ring else zone.inner_diameter / 2.0 + BODY_BEYOND * cell.layout.bore
        found.append(PlanZone(zone.name, radius))
    return tuple(found)


def cell_panel(
    plan: CellPlan,
    state: State,
    lines: Sequence[LineFindings],
    title: str,
    units: str = "si",
    turned: int | None = None,
) -> Panel:
    """Return one state; lines : what its sealing lines bear. turned : number of the stud that is being tightened."""
    cell, parts = plan.cell, plan.field
    places, equilibrium = parts.places, state.equilibrium
    pressure = parts.pressures(equilibrium.closure, state.permanent_set, state.case.temperatures["gasket"])
    needs = np.array([line.need.over(cell.sealing_zone.line_width) for line in lines])
    over, sealing = pressure - needs[plan.nearest], plan.sealing
    sealed = np.concatenate([level_lines(places, sealing, over), above_on_edges(places, plan.ends, over)])
    short = sealing[(over[sealing] < 0.0).all(axis=1)]
    images = plan.whole.images
    copy = np.arange(len(images))[:, None, None] * places.shape[1]
    return Panel(
        title=title,
        places=np.hstack([image.of(places) for image in images]),
        triangles=(parts.triangles + copy).reshape(-1, 3),
        pressure=np.tile(pressure, len(images)),
        sealed=np.concatenate([image.of(sealed.reshape(-1, 2).T).T.reshape(-1, 2, 2) for image in images]),
        short=(short + copy).reshape(-1, 3),
        ring_width=(cell.sealing_zone.outer_diameter - cell.sealing_zone.inner_diameter) / 2.0,
        bores=_bores(plan, lines, units, gas=state.case.gas_pressure > 0.0),
        studs=_studs(plan, state.force, turned),
    )


def _nearest_bore(cell: Cell, places: FloatArray) -> IntArray:
    return np.argmin([np.hypot(places[0] - x, places[1] - y) for x, y in cell.bore_centres], axis=0)


def _bores(plan: CellPlan, lines: Sequence[LineFindings], units: str, *, gas: bool) -> tuple[PlanBore, ...]:
    cell, pressure, found = plan.cell, Scales(units).pressure, []
    radius = cell.sealing_zone.sealing_diameter / 2.0
    for line in lines:
        x, y = cell.bore_centres[line.bore]
        turn = np.radians(line.least_at)
        weakest = plan.whole.places_of(x + radius * np.cos(turn), y + radius * np.sin(turn))
        fired = "" if not gas else ", fired" if line.fired else ", not fired"
        words = (
            f"bore {line.bore + 1}{fired}",
            f"least {pressure.text(line.least)}",
            f"needed {pressure.text(line.need.over(cell.sealing_zone.line_width))}",
        )
        for at in plan.whole.places_of(x, y):
            own = tuple(one for one in weakest if np.hypot(one[0] - at[0], one[1] - at[1]) < 1.01 * radius)
            found.append(PlanBore(*at, cell.layout.bore / 2.0, radius, words, own))
    return tuple(found)


def _studs(plan: CellPlan, forces: FloatArray, turned: int | None) -> tuple[PlanStud, ...]:
    radius = plan.cell.head.hole_diameter / 2.0
    return tuple(
        PlanStud(*at, radius, float(force), number == turned)
        for number, (one, force) in enumerate(zip(stud_places(plan.cell), forces, strict=True))
        for at in plan.whole.places_of(one.x, one.y)
    )
