"""The fitted parameters as a fragment that any joint file includes, with provenance and range of validity."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from importlib.metadata import version

import numpy as np

from headjoint.cases.rig.evaluation import QUANTITIES, Evaluated, Finding
from headjoint.cases.rig.faults import spoilt_by
from headjoint.cases.rig.pool import pooled
from headjoint.postproc.present.document import toml_text
from headjoint.postproc.rig.words import figures, short_name

INFORMATION = ("nut_factor", "stretch_compliance", "setup_compliance", "settled", "per_decade", "struck", "per_degree")


def withheld(logs: Sequence[Evaluated]) -> list[str]:
    """Return the names of findings that a fault of any of the logs spoils: the fragment leaves them out."""
    faults = [fault for each in logs for fault in each.faults]
    return [short_name(found.name) for found in pooled(logs) if spoilt_by(faults, found.key)]


def fragment_text(logs: Sequence[Evaluated]) -> str | None:
    """Return the fragment as TOML, of one log or of the means of several of one treatment on one rig.

    What a fault of any of them spoils is withheld, and said. None where nothing is left that a joint file can carry.
    """
    faults = [fault for each in logs for fault in each.faults]
    sound = tuple(found for found in pooled(logs) if not spoilt_by(faults, found.key))
    one = dataclasses.replace(logs[0], findings=sound)
    joint = one.rig.joint
    thread, bearing, alike = one.get("thread_friction"), one.get("bearing_friction"), one.get("mean_friction")
    proof, ultimate = one.get("proof_stress"), one.get("ultimate_strength")
    if alike is None and proof is None:
        return None
    left_out = withheld(logs)
    temperatures, forces = zip(*(_range(each) for each in logs), strict=True)
    lines = [
        "# Measured values, written by `headjoint rig`. Name this file in a joint file that lies beside it:",
        '#     include = "measured.toml"',
        "# and delete from the joint file what is stated here, so that it is clear which counts.",
        *([f"# Withheld, for the log is at fault there: {', '.join(left_out)}."] if left_out else []),
        "",
        "[measured]",
        f"log = {toml_text(', '.join(each.clean.log.file for each in logs))}",
        f"rig = {toml_text(one.rig.name)}",
        f"note = {toml_text(one.rig.note)}",
        f"written_by = {toml_text('headjoint ' + version('headjoint'))}",
        f"thread = {toml_text(one.rig.thread.designation)}",
        f"material = {toml_text(joint.fastener.material.name)}",
        f"lubricant = {toml_text(one.lubricant)}",
        f'temperature = ["{np.min(temperatures):.1f} degC", "{np.max(temperatures):.1f} degC"]',
        f'force = ["{max(np.min(forces), 0.0) / 1e3:.1f} kN", "{np.max(forces) / 1e3:.1f} kN"]',
        "",
        "[measured.values]             # for the record: value, lower and upper end of its interval, unit",
    ]
    for key in INFORMATION:
        if (found := one.get(key)) is not None:
            unit = QUANTITIES[key][1]
            lines.append(f"{key} = [{found.value:.6g}, {found.low:.6g}, {found.high:.6g}, {toml_text(unit)}]")
    if alike is not None:
        lines += ["", "[tightening]"]
        if thread is not None and bearing is not None:
            lines += [_friction("thread_friction", thread), _friction("bearing_friction", bearing)]
        else:
            lines += [
                "# one friction for both: only their sum was measured",
                _friction("thread_friction", alike),
                _friction("bearing_friction", alike),
            ]
        lines += _embedding(one)
    if proof is not None:
        lines += ["", "[fastener.material]", f"base = {toml_text(joint.fastener.material.name)}"]
        lines.append(
            f'yield_strength = "{proof.value:.0f} MPa"     # {proof.low:.0f} to {proof.high:.0f}; {proof.method}'
        )
        if ultimate is not None:
            lines.append(f'ultimate_strength = "{ultimate.value:.0f} MPa"  # {ultimate.low:.0f} to {ultimate.high:.0f}')
    return "\n".join(lines) + "\n"


def _range(one: Evaluated) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return least and greatest temperature (degC) and force (N) of tightening and pulling."""
    log = one.clean.log
    temperature = log.channels.get("temperature", np.array([one.rig.stated.temperature]))
    tightened = log.at("tighten") | log.at("pull")
    at = temperature[tightened] if len(temperature) == log.rows else temperature
    forces = one.clean.force[tightened & np.isfinite(one.clean.force)]
    return (float(np.nanmin(at)), float(np.nanmax(at))), (float(forces.min()), float(forces.max()))


def _friction(name: str, found: Finding) -> str:
    value, interval, _ = figures(found, "si")
    return f"{name} = {value}        # {interval}; {found.method}"


def _embedding(one: Evaluated) -> list[str]:
    """Return what settled as a depth, switched off: the ram's seals are in it."""
    settled, give, stretch = one.get("settled"), one.get("setup_compliance"), one.get("stretch_compliance")
    if settled is None or give is None or stretch is None:
        return []
    tight = float(np.nanmax(one.clean.force[one.clean.log.at("tighten", 1)]))
    depth = settled.value * tight * (give.value + stretch.value)
    return [
        "# what settled soon, as a depth of all faces; the ram's seals are in it, so it is not switched on:",
        f'# embedding = "{1e3 * depth:.1f} um"',
    ]
