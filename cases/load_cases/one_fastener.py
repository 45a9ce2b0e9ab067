"""The main job: mesh, condense and run one joint at its least, nominal and greatest preload."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from headjoint.cases.condensed.condensation import FullModel, condense, full_model
from headjoint.cases.load_cases.load_history import History, run
from headjoint.cases.load_cases.stages import Stages
from headjoint.meshes.one_fastener import single_stud
from headjoint.model.joint import Joint

COARSE = 0.5  # refinement of the companion mesh that shows the mesh error


@dataclass(frozen=True)
class SolvedJoint:
    """All that the finite-element side knows of one joint.

    least, nominal, greatest : histories at F_Mmin, F_M and F_Mmax of the tightening scatter.
    coarse : nominal history on a mesh of doubled element size, of coarse_elements. seconds : stage -> wall-clock time.
    """

    joint: Joint
    model: FullModel = field(repr=False)
    least: History
    nominal: History
    greatest: History
    coarse: History
    coarse_elements: int
    seconds: dict[str, float]

    @property
    def histories(self) -> tuple[History, History, History]:
        """Least, nominal and greatest tightening."""
        return self.least, self.nominal, self.greatest


def solve_joint(joint: Joint, stage: Callable[[str], None] = lambda name: None) -> SolvedJoint:
    """Mesh, condense and run `joint`; `stage` is told the name of each stage as it begins.

    Raises SolveError when a state does not converge or does not balance, MeshError for an unusable mesh.
    """
    stages = Stages(stage)
    mesh = stages.run("mesh", lambda: single_stud.build(joint))
    model = stages.run("assemble", lambda: full_model(joint, mesh))
    reduced = stages.run("condense", lambda: condense(joint, model))
    tight = joint.tightening
    nominal = stages.run("nominal preload", lambda: run(joint, reduced))
    least = stages.run("least preload", lambda: run(joint, reduced, tight.preload * (1.0 - tight.scatter)))
    greatest = stages.run("greatest preload", lambda: run(joint, reduced, tight.preload * (1.0 + tight.scatter)))

    def on_coarse_mesh() -> tuple[History, int]:
        coarse_mesh = single_stud.build(joint, COARSE)
        coarse_model = full_model(joint, coarse_mesh)
        return run(joint, condense(joint, coarse_model)), coarse_mesh.mesh.nelements

    coarse, coarse_elements = stages.run("coarse mesh for comparison", on_coarse_mesh)
    return SolvedJoint(joint, model, least, nominal, greatest, coarse, coarse_elements, stages.seconds)
