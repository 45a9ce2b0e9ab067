"""Which model stands for the engine, in words, and what it cannot see."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from headjoint.model.cell import LARGE, Bank, Cell, typical_mesh
from headjoint.model.joint import Joint

BETWEEN_STUDS = "between_studs"  # key of the requirement that only a model of the bore can judge
NOT_ROUND = (
    "one fastener's ring of gasket is pressed alike all round, where a head bends over the bore and the bead gapes "
    "first between the studs; an engine file, with bores and studs in plan (`headjoint new` writes one), solved in "
    "three dimensions judges it, in seconds on a coarse mesh with `headjoint solve --model stud`"
)
ODD = "every tile is alike here; `headjoint head` has what [row] states of single studs and bores"
MEAN_OF_SIDES = "sides differ, and one stud bears their mean; `headjoint solve` without --model judges both"
CUT = (
    "elements this large cut walls and jacket, whose webs are too stiff then on the mesh of twice the size as well: "
    "such meshes were found up to 28 % too kind to the gasket; state [mesh] sizes of at most {:g} mm at rings and "
    "studs and {:g} mm elsewhere, or none"
)
WHOLE = "`headjoint solve` without --model judges it, by the engine in three dimensions"


@dataclass(frozen=True)
class ModelSeen:
    """A model in words. blind : requirements that it cannot judge, by key, and why.

    odd : whether something is stated of single studs and bores that this model has not. mean_of_sides : whether its
    states are those of no stud, but of a mean of two sides that differ. solid : whether it is of three dimensions.
    cut : why nothing is called sound on elements this large, "" where they are not.
    """

    title: str
    unseen: str
    blind: dict[str, str] = field(default_factory=dict)
    odd: bool = False
    mean_of_sides: bool = False
    solid: bool = False
    cut: str = ""

    @property
    def line(self) -> str:
        """What every answer begins with."""
        return f"{self.title}; it does not see {self.unseen}"


def one_fastener_seen(joint: Joint, by: str = "finite elements, axisymmetric") -> ModelSeen:
    """Return what one fastener with its share of head, gasket and block shows; without gas nothing is left unseen."""
    fired = any(case.gas_force > 0.0 for case in joint.load_cases) or joint.gas is not None
    return ModelSeen(
        f"one fastener with its share of head, gasket and block ({by})",
        "how the head bends over the bore and between the fasteners",
        {BETWEEN_STUDS: NOT_ROUND} if fired else {},
        mean_of_sides=joint.mean_of_sides,
    )


def beside_a_coarse_cell(cell: Cell) -> ModelSeen:
    """Return what one stud shows with the engine beside it on a coarse mesh."""
    stud = one_fastener_seen(cell.joint)
    title = f"{stud.title}, and the engine on a coarse mesh for what one stud cannot show"
    return replace(stud, title=title, unseen=_unseen(cell), blind={}, odd=bool(cell.row))


def without_a_coarse_cell(cell: Cell, why: str) -> ModelSeen:
    """Return what one stud of an engine shows where there is no coarse mesh beside it, and why there is none."""
    stud = one_fastener_seen(cell.joint)
    blind = dict.fromkeys(stud.blind, f"no coarse mesh shows it: {why}; {WHOLE}")
    return replace(stud, blind=blind, odd=bool(cell.row))


def closed_form_seen(joint: Joint) -> ModelSeen:
    """Return what the closed-form chain shows."""
    return one_fastener_seen(joint, "closed formulas in the style of VDI 2230")


def cell_seen(cell: Cell) -> ModelSeen:
    """Return what a cell in three dimensions shows."""
    layout = cell.layout
    if isinstance(layout, Bank):
        bores = "one bore of a row" if layout.bores == 1 else f"{layout.bores} bores of a row"
        fire = "every bore fires alike" if len(cell.fired) == layout.bores else f"{len(cell.fired)} of them fire"
    else:
        bores, fire = f"one bore in a ring of {layout.number} studs", "symmetric sectors"
    title = f"{bores} in three dimensions (finite elements; {fire})"
    return ModelSeen(title, _unseen(cell), odd=bool(cell.row), solid=True, cut=cut_by_elements(cell))


def cut_by_elements(cell: Cell) -> str:
    """Say why nothing is called sound on a cell's elements, "" where they are small enough to follow its walls."""
    typical = typical_mesh(cell.layout.bore)
    # rounded down, so that what is advised is not too large itself
    most = (math.floor(100.0 * LARGE * one) / 100.0 for one in (typical.stud_size, typical.largest))
    return CUT.format(*most) if cell.mesh_too_large else ""


def _unseen(cell: Cell) -> str:
    around = "the ends of the row" if isinstance(cell.layout, Bank) else "neighbouring bores"
    odd = ", what [row] states of single studs and bores" if cell.row else ""
    return f"{around}, ports and valves, friction between gasket and faces{odd}"


def stated_seen(stated: Joint | Cell) -> ModelSeen:
    """Return what finite elements show of what a file states."""
    return cell_seen(stated) if isinstance(stated, Cell) else one_fastener_seen(stated)
