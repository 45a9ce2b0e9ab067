"""A shipped bore cell, and two bores of its bank of which one fires, solved again by a general finite-element library:
FElupe, in three dimensions.

Both sides read the same cell file and stand on the same nodes, so the error of the mesh itself is not measured here.
All else is the other library's: shape functions, 27-point integration and assembly of the hexahedra; the gasket, a
layer of solid elements that resists thickness changes only; pretension, an eigenstrain in the part of the shank that
crosses the coolant space; heat, eigenstrains of the parts and of the layer; gas, normals of boundary elements that are
found by their place, and a stress in the layer cut at the sealing line by eight points across each element; symmetry,
support and the far end that stays plane. Nothing is condensed: one sparse matrix, one unit load after the other,
states by superposition. That needs a linear joint: the shipped cell with straight gasket laws, tied bearing faces and
no compliance in series, and nothing lifts off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np
import pyvista
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import CellRecovery, cell_model, condense_cell, gas_name
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import condensed_cell
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.errors import JointError, SolveError
from headjoint.model.cell import Cell
from headjoint.model.load_case import LoadCase
from headjoint.model.reading.reading import parse_cell
from validation.check import Check

CELL = "boosted-four"
LAWS = {  # of the shipped cell's zones
    "stopper": "multi-layer steel stopper",
    "bead": "computed boosted bead",
    "body": "multi-layer steel body",
}
SLOPES = {"stopper": 3000.0, "bead": 1200.0, "body": 300.0}  # MPa/mm, soft enough that nothing lifts off
ANGLES = {"at the bridge": 0.0, "at the stud": 45.0}  # degrees
GAS_POINTS = 8  # across an element of the layer, where the gas ends inside it
PENALTY = 1e9  # N/mm that keeps the far end plane, far above any element's stiffness
VERTICAL = np.diag([0.0, 0.0, 1.0])
TOLERANCE = 0.002
SAME_SPACE = "same nodes, same polynomials: integration rules, the edge of the gas and the search for places differ"


def checks() -> list[Check]:
    return _against_felupe(linear_cell())


def bank_checks() -> list[Check]:
    """Return the checks of two bores of which the second fires: a whole stud stands between them, half a one beyond."""
    return _against_felupe(linear_cell("bores = 2\nfired = [2]\n"))


def _against_felupe(text: str) -> list[Check]:
    fem = felupe()
    cell = parse_cell(text, file=f"{CELL}, made linear")
    mesh = build_cell(cell)
    own = OwnCell(cell, mesh)
    other = OtherCell(fem, cell, mesh)
    source = f"FElupe {fem.__version__}, twenty-node hexahedra (validation/independent_cell.py)"
    found = [Check("lift of 1 MPa in the bore", source, other.lift, own.lift, TOLERANCE, "N", SAME_SPACE)]
    return found + compared(source, own.states(), other.states(own.angles), own.angles)


def felupe() -> ModuleType:
    """Return the library; JointError where it is not installed."""
    try:
        import felupe
    except ImportError:
        raise JointError("the independent finite-element library is not installed: pip install felupe") from None
    return felupe


def linear_cell(bores: str = "") -> str:
    """Return the shipped cell's text on a coarse mesh, with all that is not linear taken out; bores : keys of them."""
    thread = '[[fastener.segments]]\nlength = "{} mm"\nthread = true\n'
    cold = '[[load_cases]]\nname = "cold again"\nkind = "cold"\ntemperature = "20 degC"\n'
    bonded = 'engagement = "22 mm"\nthread_compliance = "bonded"\nnut_compliance = "bonded"'
    changes = [
        (thread.format(12), ""),
        (thread.format(6), ""),
        (cold, ""),
        ('engagement = "22 mm"', bonded),
        ('thickness = "4 mm"', 'thickness = "4 mm"\ncontact = "tied"'),
        ('step = "0.10 mm"', "step = 0.0"),
        ('step = "0.105 mm"', "step = 0.0"),
        ("[tightening]", "[tightening]\nembedding = 0.0"),
        ("[layout]\n", f"[layout]\n{bores}"),
        *((f'law = "{law}"', f'law = "straight {zone}"') for zone, law in LAWS.items()),
    ]
    text = shipped_cells()[CELL].read_text("utf-8")
    for old, new in changes:
        if text.count(old) != 1:
            raise JointError(f"the shipped cell {CELL} no longer says {old!r} once")
        text = text.replace(old, new)
    for zone, slope in SLOPES.items():
        text += f'\n[gasket.laws."straight {zone}"]\nclosure = [0.0, 1.0]\npressure = [0.0, {slope}]\n'
    return text + '\n[mesh]\nring_size = "9 mm"\nstud_size = "9 mm"\nlargest = "25 mm"\n'


@dataclass(frozen=True)
class State:
    """forces : of whole studs, N. lines : (k,) MPa round each sealing line. decks : mm, fire deck over each bore."""

    name: str
    forces: tuple[float, ...]
    lines: tuple[np.ndarray, ...]
    decks: tuple[float, ...]


def compared(source: str, own: list[State], other: list[State], angles: Sequence[np.ndarray]) -> list[Check]:
    """Return the checks of every state, and of what changes from the state before it."""
    found: list[Check] = []

    def check(quantity: str, state: State, there: float, here: float, unit: str) -> None:
        found.append(Check(f"{quantity}, {state.name}", source, there, here, TOLERANCE, unit, SAME_SPACE))

    before: tuple[State, State] | None = None
    for here, there in zip(own, other, strict=True):
        for number, (mine, theirs) in enumerate(zip(here.decks, there.decks, strict=True)):
            which = _which(here.decks, "bore", number)
            if before is None:
                # the assembled forces are prescribed on both sides
                check(f"rise of the fire deck{which}", here, theirs * 1e3, mine * 1e3, "um")
            else:
                were = before[1].decks[number], before[0].decks[number]
                rise = (theirs - were[0]) * 1e3, (mine - were[1]) * 1e3
                check(f"rise of the fire deck since {before[0].name}{which}", here, *rise, "um")
        for number, (mine, theirs) in enumerate(zip(here.forces, there.forces, strict=True)):
            if before is not None:
                which = _which(here.forces, "stud", number)
                were = before[1].forces[number], before[0].forces[number]
                check(f"stud force{which}", here, theirs / 1e3, mine / 1e3, "kN")
                more = (theirs - were[0]) / 1e3, (mine - were[1]) / 1e3
                check(f"stud force gained since {before[0].name}{which}", here, *more, "kN")
        for number, (mine, theirs) in enumerate(zip(here.lines, there.lines, strict=True)):
            which = _which(here.lines, "bore", number)
            check(f"mean sealing-line pressure{which}", here, theirs.mean(), mine.mean(), "MPa")
            check(f"least sealing-line pressure{which}", here, theirs.min(), mine.min(), "MPa")
            for place, angle in ANGLES.items():
                at = int(np.abs(angles[number] - angle).argmin())
                check(f"sealing-line pressure {place}{which}", here, theirs[at], mine[at], "MPa")
        before = here, there
    return found


def _which(all_of_them: Sequence[object], name: str, number: int) -> str:
    return f" of {name} {number + 1}" if len(all_of_them) > 1 else ""


class OwnCell:
    """The cell as headjoint solves it."""

    def __init__(self, cell: Cell, mesh: SolidMesh) -> None:
        self.model = cell_model(cell, mesh)
        self.history = run(condensed_cell(self.model, condense_cell(self.model)))
        self.lift = sum(self.model.gas_lift[gas_name(bore)] for bore in cell.fired)
        self.angles = [line.angle for line in self.model.points.lines]

    def states(self) -> list[State]:
        mesh, cell = self.model.mesh, self.model.cell
        recovery = CellRecovery(self.model)
        middles = _deck_middles(mesh.points.T, cell)
        found = []
        for state in self.history.states:
            displacement = recovery.displacement(state.equilibrium.q, self.history.model.factors(state.case))
            lines = tuple(state.equilibrium.pressure[line.at] for line in self.model.points.lines)
            decks = tuple(float(displacement[3 * middle + 2]) for middle in middles)
            found.append(State(state.name, tuple(state.force.tolist()), lines, decks))
        return found


def _deck_middles(points: np.ndarray, cell: Cell) -> list[int]:
    """Return the node of the fire deck nearest to the axis of each bore."""
    height = cell.joint.gasket.thickness
    return [int(np.linalg.norm(points - [x, y, height], axis=1).argmin()) for x, y in cell.bore_centres]


@dataclass(frozen=True)
class Body:
    """Elements of one part: their displacement field, material, and numbers among all elements."""

    field: Any
    law: Any
    elements: np.ndarray


class OtherCell:
    """The cell as FElupe sees it: solids, a layer for the gasket, unit loads, boundaries; solved on construction."""

    def __init__(self, fem: ModuleType, cell: Cell, solid: SolidMesh) -> None:
        self.fem, self.cell, self.joint = fem, cell, cell.joint
        if cell.series_compliance != 0.0:
            raise JointError("the stud must have no compliance in series here")
        self.mesh, self.layer = self._with_layer(solid)
        self.bodies = self._bodies(solid)
        self.gasket = self._field(self.layer)
        self.resistance = self._slopes() * self.joint.gasket.thickness  # MPa per strain, (elements of the layer,)
        self.studs = solid.fasteners
        self.strained, self.length = self._shanks()
        gas, self.lift = self._gas()
        loads = {f"pull {number}": self._pull(number) for number in range(len(self.studs))}
        loads |= {"gas": gas} | {case.name: self._heat(case) for case in self.joint.load_cases}
        self.answers = self._solve(self._stiffness(), loads)

    # -- elements -----------------------------------------------------------------------------------------

    def _with_layer(self, solid: SolidMesh) -> tuple[Any, np.ndarray]:
        """Return the mesh with a layer of elements in the gasket's gap, and the numbers of those."""
        faces = solid.pair("gasket")
        corners, edge = np.unique(faces.lower[:4], return_inverse=True)
        half = np.array([0.0, 0.0, self.joint.gasket.thickness / 2.0])
        points = np.vstack([solid.points.T, solid.points[:, corners].T + half])
        upright = solid.points.shape[1] + edge.reshape(4, -1)
        layer = np.vstack([faces.lower[:4], faces.upper[:4], faces.lower[4:], faces.upper[4:], upright])
        cells = np.vstack([solid.cells.T, layer.T])
        return self.fem.Mesh(points, cells, "hexahedron20"), np.arange(solid.cells.shape[1], len(cells))

    def _field(self, elements: np.ndarray, across: int = 3) -> Any:
        """Return the displacement field over some elements, integrated by `across` points in each direction."""
        mesh = self.fem.Mesh(self.mesh.points, self.mesh.cells[elements], "hexahedron20")
        rule = self.fem.GaussLegendre(order=across - 1, dim=3)
        region = self.fem.RegionQuadraticHexahedron(mesh, quadrature=rule)
        return self.fem.FieldContainer([self.fem.Field(region, dim=3)])

    def _bodies(self, solid: SolidMesh) -> dict[str, Body]:
        bodies = {}
        for number in np.unique(solid.part):
            name = solid.parts[number]
            material = self.cell.part_material(name)
            law = self.fem.LinearElastic(E=material.E.at(self.joint.assembly_temperature), nu=material.nu)
            elements = np.flatnonzero(solid.part == number)
            field = self._field(elements)
            if solid.filled is not None:  # elements that the edge of a wall cuts count by their solid share
                field.region.dV = field.region.dV * solid.filled[elements]
            bodies[name] = Body(field, law, elements)
        return bodies

    def _slopes(self) -> np.ndarray:
        """Return the slope (elements of the layer,) in MPa/mm of each one's gasket law."""
        x, y, _ = self._centres(self.layer)
        radius = self._radius(x, y, range(len(self.cell.bore_centres)))
        zone = np.searchsorted([zone.outer_diameter / 2.0 for zone in self.cell.zones], radius)
        return np.array([SLOPES[self.cell.zones[index].name] for index in zone])

    def _radius(self, x: np.ndarray, y: np.ndarray, bores: Sequence[int]) -> np.ndarray:
        """Return the distance of places from the nearest axis of some bores."""
        centres = [self.cell.bore_centres[bore] for bore in bores]
        return np.min([np.hypot(x - at_x, y - at_y) for at_x, at_y in centres], axis=0)

    def _shanks(self) -> tuple[np.ndarray, float]:
        """Return which elements of each stud are strained (f, elements), those in the coolant space; its height."""
        head, bottom = self.cell.head, self.joint.gasket.thickness
        low, high = bottom + head.fire_deck, bottom + head.height - head.upper_deck
        x, y, z = self._centres(self.bodies["fastener"].elements)
        nearest = np.argmin([np.hypot(x - one.x, y - one.y) for one in self.studs], axis=0)
        crosses = (z > low) & (z < high)
        return np.array([crosses & (nearest == number) for number in range(len(self.studs))]), high - low

    def _centres(self, elements: np.ndarray) -> np.ndarray:
        return self.mesh.points[self.mesh.cells[elements, :8]].mean(axis=1).T

    # -- matrix and unit loads ----------------------------------------------------------------------------

    def _stiffness(self) -> sp.csr_matrix:
        bodies = [self.fem.SolidBody(body.law, body.field).assemble.matrix() for body in self.bodies.values()]
        resists = np.einsum("ij,kl->ijkl", VERTICAL, VERTICAL)[..., None, None]
        volume = self.gasket.region.dV
        tensor = resists * np.broadcast_to(self.resistance, volume.shape)
        layer = self.fem.IntegralForm([tensor], self.gasket, volume, self.gasket).assemble()
        return sum(bodies, start=layer)

    def _load(self, field: Any, stress: np.ndarray) -> np.ndarray:
        """Return the nodal forces of a stress (3, 3) or (3, 3, points, elements) that wants to expand a body."""
        volume = field.region.dV
        spread = np.ascontiguousarray(np.broadcast_to(stress, (3, 3, *volume.shape)))
        return self.fem.IntegralForm([spread], field, volume).assemble().toarray().ravel()

    def _pull(self, stud: int) -> np.ndarray:
        """Return the load of a shank that would be 1 mm shorter."""
        body = self.bodies["fastener"]
        return self._load(body.field, _stress(body.law, -VERTICAL / self.length) * self.strained[stud])

    def _heat(self, case: LoadCase) -> np.ndarray:
        load = self._load(self.gasket, VERTICAL[..., None, None] * self.resistance * self._growth(case))
        for name, body in self.bodies.items():
            load += self._load(body.field, _stress(body.law, self._free_strain(name, case) * np.eye(3)))
        return load

    def _free_strain(self, part: str, case: LoadCase) -> float:
        material = self.cell.part_material(part)
        return material.free_strain(case.temperatures[part], self.joint.assembly_temperature)

    def _growth(self, case: LoadCase) -> float:
        """Return the free strain of the gasket's thickness."""
        return self.joint.gasket.expansion * (case.temperatures["gasket"] - self.joint.assembly_temperature)

    def _gas(self) -> tuple[np.ndarray, float]:
        """Return the load of 1 MPa in every fired bore, and its lift on the head in N.

        It presses on the chamber, on the bore wall, on the deck between bore and gasket, and on both faces of the
        gasket inside the sealing line.
        """
        x, y, z = self.mesh.points.T
        radius, bore = self._radius(x, y, self.cell.fired), self.cell.layout.bore / 2.0
        opening = self.cell.zones[0].inner_diameter / 2.0
        chamber = self._pressed(np.isclose(z, self.joint.gasket.thickness) & (radius < opening + 1e-6))
        wall = self._pressed(np.isclose(radius, bore) & (z < 1e-6) & (z > -self.cell.wall_depth - 1e-6))
        deck = self._pressed(np.isclose(z, 0.0) & (radius > bore - 1e-6) & (radius < opening + 1e-6))
        gap = self._field(self.layer, GAS_POINTS)
        places = self.fem.Field(gap.region, dim=3, values=self.mesh.points).interpolate()
        line = self.cell.sealing_zone.sealing_diameter / 2.0
        inside = self._radius(places[0], places[1], self.cell.fired) < line
        area = gap.region.dV / self.joint.gasket.thickness
        lift = float(chamber.reshape(-1, 3)[:, 2].sum() + (area * inside).sum())
        return chamber + wall + deck + self._load(gap, VERTICAL[..., None, None] * inside), lift

    def _pressed(self, nodes: np.ndarray) -> np.ndarray:
        """Return the load of 1 MPa on all outer faces of the solids whose nodes are among `nodes`."""
        solids = self.fem.Mesh(self.mesh.points, self.mesh.cells[: self.layer[0]], "hexahedron20")
        region = self.fem.RegionQuadraticHexahedronBoundary(solids, mask=nodes)
        field = self.fem.FieldContainer([self.fem.Field(region, dim=3)])
        form = self.fem.IntegralForm([-region.normals], field, region.dV, grad_v=[False])
        return form.assemble().toarray().ravel()

    # -- solution -----------------------------------------------------------------------------------------

    def _solve(self, matrix: sp.csr_matrix, loads: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Return the displacements (n, 3) of every unit load."""
        region = self.fem.RegionQuadraticHexahedron(self.mesh, grad=False)
        everywhere = self.fem.FieldContainer([self.fem.Field(region, dim=3)])
        u, boundary = everywhere[0], self.fem.Boundary
        in_solids = np.isin(np.arange(self.mesh.npoints), self.mesh.cells[: self.layer[0]])
        held = {
            "middle of the bore": boundary(u, fx=0.0, skip=(0, 1, 1)),
            "middle of the engine": boundary(u, fy=0.0, skip=(1, 0, 1)),
            "foot": boundary(u, fz=-self.cell.block.height, skip=(1, 1, 0)),
            # nodes half-way up the layer have no stiffness sideways
            "inside the layer": boundary(u, mask=~in_solids, skip=(0, 0, 1)),
        }
        end = (self.cell.layout.bores - 0.5) * self.cell.layout.pitch
        far = np.flatnonzero(np.isclose(self.mesh.points[:, 0], end) & in_solids)
        plane = self.fem.MultiPointConstraint(
            everywhere, points=far[1:], centerpoint=int(far[0]), skip=(0, 1, 1), multiplier=PENALTY
        )
        _, free = self.fem.dof.partition(everywhere, held)
        stiff = (matrix + plane.assemble.matrix(everywhere))[free][:, free]
        answers = np.zeros((self.mesh.points.size, len(loads)))
        answers[free] = _solved(stiff, np.column_stack([load[free] for load in loads.values()]))
        return {name: answer.reshape(-1, 3) for name, answer in zip(loads, answers.T, strict=True)}

    def states(self, angles: Sequence[np.ndarray]) -> list[State]:
        """Return all load cases, with the pressure of each sealing line at its `angles` (degrees)."""
        cold, numbers = self.joint.load_cases[0], range(len(self.studs))
        alone = np.eye(len(self.studs))
        by_pull = np.array([self._forces(self.answers[f"pull {one}"], alone[one], cold) for one in numbers]).T
        overlaps = np.linalg.solve(by_pull, np.full(len(self.studs), self.joint.tightening.preload))
        pulled = sum(overlaps[one] * self.answers[f"pull {one}"] for one in numbers)
        middles = _deck_middles(self.mesh.points, self.cell)
        found = []
        for case in self.joint.load_cases:
            displacement = pulled + self.answers[case.name] + case.gas_pressure * self.answers["gas"]
            self._refuse_lift_off(displacement, case)
            lines = tuple(
                self._line(displacement, at, own, case) for at, own in zip(self.cell.bore_centres, angles, strict=True)
            )
            decks = tuple(float(displacement[middle, 2]) for middle in middles)
            found.append(State(case.name, tuple(self._forces(displacement, overlaps, case)), lines, decks))
        return found

    def _forces(self, displacement: np.ndarray, overlaps: np.ndarray, case: LoadCase) -> list[float]:
        """Return the mean force of the strained length of each shank; a part of a stud may stand in the cell."""
        body = self.bodies["fastener"]
        body.field[0].values[:] = displacement
        heat = (self._free_strain("fastener", case) * np.eye(3))[..., None, None]
        shorter = (overlaps @ self.strained / self.length)[None, None, None, :] * VERTICAL[..., None, None]
        axial = _stress(body.law, body.field[0].grad(sym=True) - heat + shorter)[2, 2] * body.field.region.dV
        pairs = zip(self.strained, self.studs, strict=True)
        return [float((axial * own).sum()) / self.length / stud.share for own, stud in pairs]

    def _refuse_lift_off(self, displacement: np.ndarray, case: LoadCase) -> None:
        self.gasket[0].values[:] = displacement
        pressure = self.resistance * (self._growth(case) - self.gasket[0].grad()[2, 2])
        if pressure.min() <= 0.0:
            raise SolveError(f"load case '{case.name}': the gasket lifts off, so superposition does not hold")

    def _line(
        self, displacement: np.ndarray, centre: tuple[float, float], angles: np.ndarray, case: LoadCase
    ) -> np.ndarray:
        """Return the pressure on the sealing line round a centre, from the layer's thickness as VTK interpolates it."""
        thickness, radius = self.joint.gasket.thickness, self.cell.sealing_zone.sealing_diameter / 2.0
        layer = self.fem.Mesh(self.mesh.points, self.mesh.cells[self.layer], "hexahedron20").as_unstructured_grid()
        layer.point_data["rise"] = displacement[:, 2]
        turn = np.radians(angles)
        low, high = (
            pyvista.PolyData(
                np.column_stack(
                    [centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn), np.full(len(turn), z)]
                )
            )
            for z in (0.25 * thickness, 0.75 * thickness)
        )
        below, above = low.sample(layer), high.sample(layer)
        if not (below["vtkValidPointMask"].all() and above["vtkValidPointMask"].all()):
            raise SolveError("a point of the sealing line lies in no element of the layer")
        strain = (above["rise"] - below["rise"]) / (0.5 * thickness)
        return SLOPES[self.cell.sealing_zone.name] * thickness * (self._growth(case) - strain)


def _solved(stiff: sp.csr_matrix, loads: np.ndarray) -> np.ndarray:
    """Return stiff^-1 loads, without refinement or anything else of `headjoint.cases.elements`."""
    try:
        from pypardiso import spsolve
    except ImportError:  # more memory, and minutes
        options = {"SymmetricMode": True}
        factors = splu(stiff.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
        return factors.solve(loads)
    return spsolve(stiff, loads)


def _stress(law: Any, strain: np.ndarray) -> np.ndarray:
    """Return the stress (3, 3, points, elements) of a linear law; strain (3, 3) or of the same shape."""
    full = strain if strain.ndim == 4 else strain[..., None, None]
    return law.gradient([full + np.eye(3)[..., None, None], None])[0]
