"""Head-room on combustion of a joint in service: the factor on gas at which a sealing line falls short."""

from __future__ import annotations

import dataclasses

from headjoint.cases.models.condensed import line_lacking
from headjoint.cases.models.gas_that_seals import factor_that_seals
from headjoint.cases.service.memory import Memory
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.steps import FractureError, settle
from headjoint.model.base.arrays import FloatArray
from headjoint.model.load_case import LoadCase


def factor_in_service(
    model: ServiceModel, memory: Memory, case: LoadCase, heat: FloatArray | None = None
) -> float | None:
    """Return the factor on the gas of a case up to which every sealing line seals, None beyond what is searched.

    memory : of gasket and fasteners when the gas comes. heat : (n,) condensed load of a temperature field in place of
    the case's uniform temperatures.

    Raises SolveError where a trial does not converge or balance.
    """

    def short(factor: float) -> float:
        pressure = factor * case.gas_pressure
        more = dataclasses.replace(case, gas_pressure=pressure, gas_force=factor * case.gas_force)
        try:
            trial = settle(model, memory, more, gas=factor > 0.0, heat=heat, name=f"gas x {factor:.3g}")
        except FractureError:  # gas that breaks a fastener is not sealed either
            return pressure
        return line_lacking(model.joint, model.lines(trial.equilibrium), pressure)

    return factor_that_seals(short, short(0.0), short(1.0))
