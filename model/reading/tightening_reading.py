"""From what a file states of tightening, in [tightening] or in a step of a service, to what is done."""

from __future__ import annotations

import dataclasses

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.files.joint_file import TighteningTable
from headjoint.model.files.service_file import TightenTable, TorqueStages, WaysTable
from headjoint.model.formulas.strength import tightening_utilisation
from headjoint.model.formulas.turning import torsion_of
from headjoint.model.joint import Fastener, Joint, Seat, Tightening
from headjoint.model.library import tightening
from headjoint.model.library.tightening import METHODS, SNUG_SHARE, WAYS
from headjoint.model.service import Tighten

FIELD = "tightening"


def resolve_tightening(
    table: TighteningTable, fastener: Fastener, seat: Seat, *, washer: bool, insert: bool, temperature: float
) -> Tightening:
    """Return how a fastener is tightened at a temperature (degC).

    washer, insert : whether one lies under its seat, and round its thread in the block: each is one more interface.

    Raises InputError for a key that the method does not take, or one that it lacks.
    """
    method = METHODS[table.method]
    stated = [key for key in WAYS if getattr(table, key) is not None]
    for key in stated:
        if key not in method.takes:
            raise InputError(
                f"does not belong to method '{table.method}', which takes {_listed(method.takes)}",
                field=f"{FIELD}.{key}",
            )
    for key in method.needs:
        if key not in stated:
            raise InputError(f"is required by method '{table.method}' but missing", field=f"{FIELD}.{key}")
    factor, scatter_name = tightening.tightening_factor(table.scatter or method.scatter, f"{FIELD}.scatter")
    frictions = table.thread_friction, table.bearing_friction
    step, typical_snug = _step(table, "tighten", frictions, fastener, temperature, FIELD)
    torque = step.torques[-1] if table.method == "torque" else None
    preload = step.preload
    if torque is not None:
        # D_Km = (d_W + D_Ki)/2, VDI 2230-1
        bearing = (seat.bearing_outer_diameter + seat.bearing_inner_diameter) / 2.0
        preload = torque / tightening.torque_per_preload(fastener.nut_thread, *frictions, bearing)
    embedding: float | None = table.embedding
    source = "stated in the joint file"
    if embedding is None:
        embedding = tightening.embedding(
            table.roughness,
            # an insert embeds by its outer thread, too
            threads=(2 if fastener.kind == "stud" else 1) + (1 if insert else 0),
            bearing_faces=1,
            inner_interfaces=1 if washer else 0,
        )
        source = (
            f"VDI 2230-1 table 5, {table.roughness}, metal faces only: what beds in at the gasket's is in its law, as "
            "set and creep"
        )
    return Tightening(
        method=table.method,
        step=step,
        preload=preload,
        torque=torque,
        thread_friction=table.thread_friction,
        bearing_friction=table.bearing_friction,
        tightening_factor=factor,
        scatter_name=scatter_name,
        embedding=embedding,
        embedding_source=source,
        typical_snug=typical_snug,
    )


def resolve_tighten(table: TightenTable, joint: Joint, *, again: bool, field: str) -> Tighten:
    """Return a step of a service at `field`: as [tightening] says where it states no way of its own.

    An angle or a yield slope alone goes on from the torque of [tightening] where that ends at one.

    Raises InputError for ways that exclude each other.
    """
    tight = joint.tightening
    frictions = table.thread_friction or tight.thread_friction, table.bearing_friction or tight.bearing_friction
    name = table.name or ("reuse" if again else "tighten")
    if all(getattr(table, key) is None for key in WAYS):
        return dataclasses.replace(
            tight.step, name=name, thread_friction=frictions[0], bearing_friction=frictions[1], again=again
        )
    if table.twisted is not None and table.preload is None:
        raise InputError("belongs to a preload", field=f"{field}.twisted")
    ways = [key for key in ("stretch", "pull", "preload") if getattr(table, key) is not None]
    turns = [key for key in WAYS if getattr(table, key) is not None and key not in (*ways, "twisted")]
    if len(ways) > 1 or (ways and turns):
        raise InputError("give one of torque or angle, stretch, pull, preload", field=f"{field}.{ways[0]}")
    if table.angle is not None and table.yield_slope is not None:
        raise InputError("give angle or yield_slope, not both", field=f"{field}.yield_slope")
    if table.angle is None and table.yield_slope is None:
        for key in ("snug_torque", "snug_force"):
            if key in turns:
                raise InputError("is where an angle or a yield_slope starts; state one", field=f"{field}.{key}")
    if tight.torque is not None and turns in (["angle"], ["yield_slope"]):
        table = msgspec.structs.replace(table, torque=TorqueStages(tight.step.torques))
    step, _ = _step(table, name, frictions, joint.fastener, joint.assembly_temperature, field)
    twisted = tight.step.twisted if table.twisted is None else table.twisted
    return dataclasses.replace(step, again=again, twisted=twisted)


def check_strength(joint: Joint) -> None:
    """Refuse a nominal torque, preload or pull that yields the fastener; what else is past yield is so on purpose."""
    tight = joint.tightening
    key = "pull" if tight.step.pull is not None else tight.method
    force = tight.step.pull or tight.preload
    if force is None:
        return
    use = tightening_utilisation(joint, force, torsion_of(joint, force).tightening)
    if use.factor is None or use.factor >= 1.0:
        return
    assert use.strength is not None
    allowed = use.factor
    most = f"{tight.torque * allowed / 1e3:.4g} N.m" if tight.torque else f"{force * allowed / 1e3:.4g} kN"
    raise InputError(
        f"this {key} yields the fastener: combined stress {use.stress:.0f} MPa in its smallest "
        f"section against a yield strength of {use.strength:.0f} MPa; at most {most}",
        field=f"{FIELD}.{key}",
        value=f"{tight.torque / 1e3:.4g} N.m" if tight.torque else f"{force / 1e3:.4g} kN",
    )


def _step(
    table: WaysTable,
    name: str,
    frictions: tuple[float, float],
    fastener: Fastener,
    temperature: float,
    field: str,
) -> tuple[Tighten, bool]:
    """Return what is done, and whether it starts at the typical force of snug."""
    torques = () if table.torque is None else table.torque.values
    if any(after <= before for before, after in zip(torques, torques[1:], strict=False)):
        raise InputError("stages of torque must rise", field=f"{field}.torque")
    starts = [key for key in ("torque", "snug_torque", "snug_force") if getattr(table, key) is not None]
    if len(starts) > 1:
        raise InputError(f"give one of {_listed(starts)}", field=f"{field}.{starts[1]}")
    if table.snug_torque is not None:
        torques = (float(table.snug_torque),)
    snug: float | None = table.snug_force
    typical = not starts and (table.angle is not None or table.yield_slope is not None)
    if typical:
        if fastener.yield_strength is None:
            raise InputError(
                "is required, or snug_force: the yield strength, of which a tenth would be taken, is not known",
                field=f"{field}.snug_torque",
            )
        snug = SNUG_SHARE * fastener.yield_strength.at(temperature) * fastener.smallest_area
    step = Tighten(
        name=name,
        torques=torques,
        angles=() if table.angle is None else table.angle.values,
        gradient=table.yield_slope,
        stretch=table.stretch,
        pull=table.pull,
        preload=table.preload,
        thread_friction=frictions[0],
        bearing_friction=frictions[1],
        snug=snug,
        twisted=table.twisted is not False,
    )
    return step, typical


def _listed(names: tuple[str, ...] | list[str]) -> str:
    return ", ".join(names)
