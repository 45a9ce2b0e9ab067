"""What a fragment says that `headjoint bead` wrote: gasket laws computed from a bead, and where they hold."""

from __future__ import annotations

from msgspec import field

from headjoint.model.base.units import PositiveLength, PositiveLineStiffness, PositivePressure, Temperature
from headjoint.model.files.joint_file import LawTable
from headjoint.model.files.table import Table


class ComputedTable(Table, kw_only=True):
    """Provenance and range of validity of laws that were computed from a bead, or from what a sheet was measured to be.

    A bead or ring has a line load and the width that it is smeared over, a sheet a pressure.
    """

    bead: str
    note: str = ""
    written_by: str = ""
    temperature: list[Temperature] = field(default_factory=list)
    deepest_closure: PositiveLength
    greatest_line_load: PositiveLineStiffness | None = None
    greatest_pressure: PositivePressure | None = None
    zone_width: PositiveLength | None = None
    cautions: list[str] = field(default_factory=list)


class ComputedGasket(Table, kw_only=True):
    """What such a fragment carries."""

    laws: dict[str, LawTable]
