"""Curves of the live page that are solved once an answer stands: the joint diagram, and the clamp through a service."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np

from headjoint.cases.condensed.newton_step import TangentSolver
from headjoint.cases.load_cases.load_history import LEFT_OVER, History, State, gas_trial, pulled_in_steps
from headjoint.cases.service.model import service_of
from headjoint.cases.service.run import Record, run_service
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.resilience import fastener_resilience, total
from headjoint.postproc.designs.outcome import JudgedDesign
from headjoint.postproc.present.scale import Scales

STEPS = 6  # of tightening from nothing to the preload: the gasket's laws bend the curve, bodies are linear


def joint_diagram(found: JudgedDesign, units: str, between: Callable[[], None] = lambda: None) -> dict[str, Any]:
    """Return forces of one stud over stretch while it is tightened, and what the greatest gas does to them.

    All forces are solved, means of the studs at nominal preload. How the overlap that is pulled in divides into stretch
    and closing goes by the fastener's closed-form resilience. gas : None without any. between : called between steps,
    and may raise to end it.

    Raises InputError for fasteners past yield, whose line is not straight; SolveError where a step has no equilibrium.
    """
    history, scales = found.histories["nominal"], Scales(units)
    if history.tightened.past_yield:
        raise InputError("the joint diagram is drawn of fasteners within yield", field="tightening")
    overlap, force = tightening_curve(history, between)
    stretch = total(fastener_resilience(history.joint)) * force
    told: dict[str, Any] = {
        "stretch": scales.small(stretch).tolist(),
        "closed": scales.small(overlap[-1] - (overlap - stretch)).tolist(),
        "force": scales.force(force).tolist(),
        "stretch_by": "stud's closed-form resilience",
        "unit": scales.small.unit,
        "gas": None,
    }
    fired = [state for state in history.states if state.case.gas_pressure > 0.0]
    if fired:
        worst = max(fired, key=lambda state: state.case.gas_pressure)
        told["gas"] = {"state": worst.name} | {
            name: scales.force(value) for name, value in gas_split(history, worst).items()
        }
    return told


def tightening_curve(history: History, between: Callable[[], None] = lambda: None) -> tuple[FloatArray, FloatArray]:
    """Return mean overlaps (mm) and forces (N) of one stud, all tightened at once in steps to the preload."""
    mean, overlaps, forces = history.reduced.mean, [0.0], [0.0]
    for state in pulled_in_steps(history.model, history.tightened.forces, np.linspace(1.0 / STEPS, 1.0, STEPS)):
        overlaps.append(mean(state.overlap))
        forces.append(mean(state.force))
        between()
    return np.array(overlaps), np.array(forces)


def gas_split(history: History, state: State) -> dict[str, float]:
    """Return forces (N) of one stud: at rest, under gas, of the gas, and the clamp that is left on the gasket."""
    rest = history.reduced.mean(gas_trial(history.model, state, 0.0).force)
    fired = history.reduced.mean(state.force)
    gas = history.model.lift(state.case) / float(history.reduced.share.sum())
    clamp = fired - gas
    return {"rest": rest, "fired": fired, "gas": gas, "clamp": clamp if abs(clamp) > LEFT_OVER * fired else 0.0}


def clamp_in_service(found: JudgedDesign, units: str) -> dict[str, Any] | None:
    """Return the clamp after every step of the file's service, at nominal preload; None where it states no service.

    Raises SolveError where a step does not converge, InputError where the fastener's flow is not known.
    """
    history = found.histories["nominal"]
    if not history.joint.history:
        return None
    # a solver of its own, for other threads answer meanwhile
    reduced = dataclasses.replace(history.reduced, solver=TangentSolver())
    model = dataclasses.replace(history.model, reduced=reduced)
    service = run_service(service_of(model), history.joint.history)
    rows = [one for one in service.records if _shown(one)]
    force = Scales(units).force
    return {
        "names": [f"{one.step + 1} {one.name}" + (f", cycle {one.cycle}" if one.cycle else "") for one in rows],
        "force": [force(history.reduced.mean(one.force)) for one in rows],
        "fired": [None if one.fired_force is None else force(history.reduced.mean(one.fired_force)) for one in rows],
        "broken": service.broken is not None,
    }


def _shown(record: Record) -> bool:
    return record.cycle == 0 or record.cold_force is not None or record.cycle in (1, 10, 100, 1000)
