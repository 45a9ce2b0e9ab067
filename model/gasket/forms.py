"""The forms that a gasket law may have. A new one is a module of its own and a line here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from headjoint.model.base.errors import InputError
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.gasket.opening_curves import OpeningCurvesLaw
from headjoint.model.gasket.stiffness_by_pressure import StiffnessByPressureLaw

# the first is that of a law that states no key of any form
FORMS: dict[str, type[GasketLaw]] = {
    "one unloading stiffness": OneStiffnessLaw,
    "unloading stiffness by pressure reached": StiffnessByPressureLaw,
    "opening along curves": OpeningCurvesLaw,
}


def stated_form(stated: Mapping[str, Any], field: str) -> tuple[type[GasketLaw], dict[str, Any]]:
    """Return the form whose keys are stated, and what they state; InputError where several forms' are."""
    given = {
        form: {key: _fixed(stated[key]) for key in form.KEYS if stated.get(key) is not None} for form in FORMS.values()
    }
    chosen = [form for form, values in given.items() if values] or [next(iter(given))]
    if len(chosen) > 1:
        keys = " and ".join(f"`{key}`" for form in chosen for key in given[form])
        raise InputError(f"{keys} belong to different forms of a law; keep one", field=field)
    return chosen[0], given[chosen[0]]


def _fixed(value: Any) -> Any:
    """Return a value with tuples for lists, as the fields of a law hold them."""
    return tuple(_fixed(one) for one in value) if isinstance(value, (list, tuple)) else value
