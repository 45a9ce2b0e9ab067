"""What the rig should read, by the machinery that predicts engines: finite elements and closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.condensation import FieldRecovery
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.from_mesh import one_fastener
from headjoint.cases.service.fastener_law import FastenerLaw, Strains, at_rest, lengths_of, turned
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.rig import Rig, setup_compliance, stretch_compliance, thread_arm, torsion_compliance

BAND = (0.08, 0.16)  # friction class B of VDI 2230-1 table A6, from memory, high confidence


@dataclass(frozen=True)
class Prediction:
    """Compliances of the rig as a joint, mm/N: by finite elements and by closed form; and what follows from them.

    stretch : as the indicator stands. travel : of the nut on its thread. torsion : rad/(N.mm), closed form in both.
    """

    rig: Rig = field(repr=False)
    stretch: float
    travel: float
    stretch_estimate: float
    travel_estimate: float
    torsion: float
    unknowns: int

    @property
    def setup(self) -> float:
        """Compliance of the set-up by finite elements, mm/N."""
        return self.travel - self.stretch

    @property
    def setup_estimate(self) -> float:
        """Compliance of the set-up by closed form, mm/N."""
        return self.travel_estimate - self.stretch_estimate

    def angle(self, force: FloatArray, friction: float) -> FloatArray:
        """Return the angle (rad) turned at a force (N) below yield, the fastener's twist by friction included."""
        wound = self.torsion * thread_arm(self.rig.thread, friction)
        return (2.0 * math.pi * self.travel / self.rig.thread.pitch + wound) * force

    def torque(self, force: FloatArray, friction: float) -> FloatArray:
        """Return the torque (N.mm) at a force (N) with one friction for thread and bearing face."""
        return (thread_arm(self.rig.thread, friction) + self.rig.bearing_diameter / 2.0 * friction) * force

    def stretched(self, force: FloatArray, friction: float | None) -> FloatArray:
        """Return the stretch (mm) at rising forces (N), yield by the file's strengths included where they are known.

        friction : of the thread while the nut is turned, None in a pull without torsion.
        """
        elastic = self.stretch * force
        flow = self.rig.joint.fastener.flow
        if flow is None:
            return elastic
        joint = self.rig.joint
        law = FastenerLaw(lengths_of(joint), flow, joint.fastener.relaxation, self.rig.modulus, np.array([0.0]))
        arm = 0.0 if friction is None else thread_arm(self.rig.thread, friction)
        twist = turned(arm, 1) if arm else at_rest(np.zeros(1))
        zero = np.zeros((1, len(law.lengths.length)))
        permanent = []
        for one in force:
            strains = law.yielded(np.array([one]), Strains(zero, zero, zero), twist, joint.assembly_temperature)
            permanent.append(float(law.permanent(strains)[0]))
        return elastic + np.array(permanent)


def predict(rig: Rig) -> Prediction:
    """Return what finite elements and closed form say of the rig, at its load.

    Raises SolveError where the joint does not come to equilibrium or balance.
    """
    joint = rig.joint
    assembled, model = one_fastener(joint)
    state = run(model).states[0]
    displacement = FieldRecovery(assembled).displacement(state.equilibrium.q, model.factors(state.case))
    cut, force = float(state.equilibrium.q[model.reduced.overlaps[0]]), float(state.force[0])
    basis = assembled.body.basis
    r, z = basis.mesh.p
    vertical = displacement[2 * basis.nodal_dofs[0] + 1]
    axis = np.flatnonzero(np.isclose(r, 0.0))
    used = np.zeros(len(r), dtype=bool)
    fastener = assembled.joint_mesh.part == assembled.joint_mesh.parts.index("fastener")
    used[np.unique(basis.mesh.t[:, fastener])] = True
    axis = axis[used[axis]]
    top, bottom = axis[np.argmax(z[axis])], axis[np.argmin(z[axis])]
    # the cut takes its overlap off the upper part: lengths grow by what was pulled in
    stretch = float(vertical[top] - vertical[bottom]) + cut
    if rig.stated.gauges.stretch.position == "end to base":
        deck = np.argmin(np.abs(z) + 1e3 * (r < r.max() - 1e-6))
        teeth = joint.fastener.thread_compliance if joint.fastener.thread_teeth is None else joint.fastener.thread_teeth
        stretch = float(vertical[top] - vertical[deck]) + cut + teeth * force
    return Prediction(
        rig,
        stretch / force,
        float(state.overlap[0]) / force,
        stretch_compliance(rig),
        stretch_compliance(rig) + setup_compliance(rig),
        torsion_compliance(rig),
        assembled.body.unknowns,
    )
