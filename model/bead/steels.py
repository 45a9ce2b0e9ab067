"""The spring steels that ship with headjoint, by designation with temper, and how they change with temperature."""

from __future__ import annotations

import dataclasses
import tomllib
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from headjoint.model.base.errors import unknown_name
from headjoint.model.bead.hardening import Backstress, SpringSteel


@cache
def library() -> dict[str, dict[str, Any]]:
    """Return the table of every shipped steel, by name."""
    text = resources.files("headjoint.model").joinpath("data/spring_steels.toml").read_text("utf-8")
    return tomllib.loads(text)


def named_steel(name: str, temperature: float, field: str) -> SpringSteel:
    """Return a shipped steel at a temperature (degC); InputError with the nearest name otherwise."""
    if name not in library():
        raise unknown_name("spring steel with its temper", name, library(), field=field)
    row = library()[name]
    steel = SpringSteel(
        name,
        row["E"],
        row["nu"],
        row["yield_strength"],
        row["saturation"],
        row["rate"],
        0.0,
        tuple(Backstress(*map(float, one)) for one in row["backstresses"]),
        row["source"],
        row["title"],
        float(row["tensile_strength"]),
    )
    at, stiffness, strength = np.array(row["by_temperature"]).T
    return scaled(steel, *(float(np.interp(temperature, at, share)) for share in (stiffness, strength)))


def scaled(steel: SpringSteel, stiffness: float, strength: float) -> SpringSteel:
    """Return a steel with E, and with tensile strength and all stresses of its hardening, times factors."""
    tensile = None if steel.tensile_strength is None else strength * steel.tensile_strength
    steel = dataclasses.replace(steel, E=stiffness * steel.E, tensile_strength=tensile)
    if steel.yield_strength is None:
        return steel
    return dataclasses.replace(
        steel,
        yield_strength=strength * steel.yield_strength,
        saturation=strength * steel.saturation,
        modulus=strength * steel.modulus,
        backstresses=tuple(Backstress(strength * one.modulus, one.fading) for one in steel.backstresses),
    )
