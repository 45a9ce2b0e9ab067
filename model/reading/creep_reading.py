"""From what a gasket law states of creep to its rate by temperature."""

from __future__ import annotations

import math

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.files import service_file as tables
from headjoint.model.library.plasticity import Creep


def resolve_creep(creep: tables.CreepTable | None, keeps_set: bool, field: str) -> Creep | None:
    """Return the creep of a law; InputError where its two lists do not match, or where the law keeps no set."""
    if creep is None:
        return None
    field = f"{field}.creep"
    temperatures: list[float] = [*creep.temperature] if creep.temperature else [20.0]
    if len(temperatures) != len(creep.loss) or sorted(set(temperatures)) != temperatures:
        raise InputError("give as many losses as temperatures, the temperatures rising", field=f"{field}.temperature")
    if (creep.kind == "power") != (creep.exponent is not None):
        raise InputError("belongs to kind 'power', which needs it", field=f"{field}.exponent", value=creep.exponent)
    if not keeps_set:
        raise InputError("a law that creeps needs its unloading stiffness", field=field)
    per = math.log(10.0) if creep.kind == "logarithmic" else 1.0
    rate = PropertyTable(tuple(temperatures), tuple(loss / per for loss in creep.loss))
    return Creep(creep.kind, rate, creep.onset, creep.exponent or 0.0, creep.activation_energy)
