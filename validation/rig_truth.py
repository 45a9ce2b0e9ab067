"""What the fits should find in an invented log, from its truth alone."""

from __future__ import annotations

import numpy as np

from headjoint.model.rig.rig import Rig, thread_arm
from validation.invented_logs import Truth, plastic_stretch, settled_share


def expected(rig: Rig, truth: Truth) -> dict[str, float]:
    """Return the true value of every finding by its key, in internal units."""
    area, d = rig.joint.fastener.smallest_area, rig.thread.nominal_diameter
    found: dict[str, float] = {}
    for use, more in ((1, 1.0), (2, truth.second)):
        of = "" if use == 1 else f", use {use}"
        thread, bearing = truth.thread_friction * more, truth.bearing_friction * more
        arm = thread_arm(rig.thread, thread) + rig.bearing_diameter / 2.0 * bearing
        found |= {
            f"nut_factor{of}": arm / d,
            f"thread_friction{of}": thread,
            f"bearing_friction{of}": bearing,
            f"pitch{of}": rig.thread.pitch,
            f"stretch_compliance{of}": truth.stretch_compliance,
            f"setup_compliance{of}": truth.setup_compliance + (truth.sets if use == 1 else 0.0),
            f"stretch_zero{of}": truth.offset,
        }
        if rig.stated.load is not None:
            found[f"torque_at_load{of}"] = arm * rig.stated.load
            found[f"stretch_at_load{of}"] = truth.stretch_compliance * rig.stated.load
    found["effective_length"] = truth.stretch_compliance * rig.modulus * rig.shank.area
    found |= {
        "settled": truth.settles,
        "per_decade": truth.rate,
        "lost_in_a_day": 1.0 - float(settled_share(truth, 86400.0)),
        "struck": -truth.struck,
        "per_degree": truth.per_degree,
        "lost_by_heat": 0.0,
    }
    # the offset is measured from the elastic line: R_p where the permanent stretch is that share of the length
    stress = np.linspace(0.5, 1.0, 200_001) * truth.ultimate
    proof = float(np.interp(rig.stated.offset * rig.offset_length, plastic_stretch(rig, truth, stress), stress))
    return found | {
        "yield_force": proof * area,
        "proof_stress": proof,
        "ultimate_force": truth.ultimate * area,
        "ultimate_strength": truth.ultimate,
    }
