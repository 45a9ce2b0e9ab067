"""The words of a drawing and of what stands beside it: dimensions, what was assumed, what is not modelled."""

from __future__ import annotations

from headjoint.model.cell import Cell
from headjoint.model.joint import Assumed, Joint
from headjoint.postproc.present.report import Paragraphs, Sheet
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.present.units import figure_text, value_text

MARK = "*"
NOT_MODELLED = (
    "friction and sideways shear between gasket, head and block",
    "the turns of threads one by one: they are bonded cylinders, with the give of their teeth in series",
    "ports, valves, passages for oil and water within the castings, ribs and bosses that the file does not state",
    "how what is thicker holds the ends of a length that yields: `headjoint guide service` says what that changes",
    "stresses locked into castings, distortion by machining, faces that are not flat",
    "vibration, loosening by turning of itself, fretting, corrosion and embrittlement",
    "knock and detonation; gas presses like a pressure that stands still",
    "yield and fatigue of head and block: their bearing faces, threads and the gasket are judged, nothing else of them",
)
ONE_STUD = "bending of the head between the fasteners and over the bore"
HANGS_ON = "what hangs on the engine"
ENDS = f"the ends of the row of bores and {HANGS_ON}"
WHY_USUAL = "usual; `headjoint guide joint-file` says more"


class Told:
    """The dimensions of a drawing in its reader's unit, a mark behind those that the file leaves out."""

    def __init__(self, joint: Joint, units: str) -> None:
        self._length, self._places = Scales(units).length, 2 if units == "si" else 3
        self._left_out = {one.field for one in joint.assumed}
        self._marked = False
        self.seat = "nut" if joint.fastener.kind == "stud" else "bolt_head"

    def length(self, value: float, field: str = "") -> str:
        """Write a length (mm)."""
        shown = f"{self._length(value):.{self._places if value >= 1.0 else self._places + 1}f}"
        marked = field in self._left_out
        self._marked = self._marked or marked
        return f"{shown.rstrip('0').rstrip('.')}{MARK if marked else ''}"

    def diameter(self, value: float, field: str = "") -> str:
        """Write a diameter (mm)."""
        return f"\N{LATIN CAPITAL LETTER O WITH STROKE}{self.length(value, field)}"

    @property
    def legend(self) -> str:
        """The unit of all that was written, and what the mark means where one was."""
        marks = f"; {MARK} not stated in the file, see what was assumed" if self._marked else ""
        return f"dimensions in {'inches' if self._length.unit == 'in' else self._length.unit}{marks}"


def assumed_sheet(joint: Joint, units: str) -> Sheet:
    """Return what the file leaves out, what stands in its place, and on what ground."""
    lines = tuple((one.field, _value(one, units), one.why or WHY_USUAL) for one in joint.assumed)
    headings = ("left out of the file", "taken in its place", "ground")
    return Sheet("What was assumed", headings, lines, left=(1, 2), on="page")


def _value(one: Assumed, units: str) -> str:
    if isinstance(one.value, str):
        return one.value
    if one.unit in ("", "1/K", "mm2"):
        return f"{one.value:.4g} {one.unit}".rstrip()
    return value_text(one.value, one.unit, units) if one.value else figure_text(0.0)


def not_modelled(stated: Joint | Cell, has_ends: bool = False) -> Paragraphs:
    """Return what no answer about a joint or an engine counts; has_ends : but one that has the ends of the row."""
    first = ONE_STUD if isinstance(stated, Joint) else HANGS_ON if has_ends else ENDS
    return Paragraphs("What is not modelled", (first, *NOT_MODELLED), listed=True, on="page")
