"""The service of a joint or cell from its file: mesh, condense, run with every finished step kept on disk."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.store import user_store
from headjoint.cases.models.condensed import chain_of, condensed_cell
from headjoint.cases.models.from_mesh import mesh_of, one_fastener
from headjoint.cases.models.stages import Stages
from headjoint.cases.service.fastener_law import flow_of
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import Service, Unit, run_service
from headjoint.cases.service.store import ServiceStore, identity
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint


def service_model(stated: Joint | Cell, stages: Stages) -> ServiceModel:
    """Return the condensed service model of a joint or a cell."""
    flow_of(stated.joint if isinstance(stated, Cell) else stated)  # refused before any work
    if isinstance(stated, Cell):
        mesh = stages.run("mesh", lambda: mesh_of(stated))
        model = stages.run("assemble", lambda: cell_model(stated, mesh))
        reduced = stages.run(f"condense {model.unknowns} unknowns", lambda: condense_cell(model, user_store()))
        return service_of(condensed_cell(model, reduced))
    return stages.run("mesh and condense", lambda: service_of(one_fastener(stated)[1]))


def run_history(
    stated: Joint | Cell, folder: Path | None, *, resume: bool, stage: Callable[[str], None] = lambda name: None
) -> tuple[Service, Service, dict[str, float]]:
    """Return the service by finite elements, by the closed-form chain, and seconds per stage.

    folder : where finished steps are kept, None for nowhere; `resume` goes on from those of an earlier run of the same
    service.

    Raises InputError where there is nothing to resume, SolveError where a step does not converge or balance.
    """
    stages = Stages(stage)
    model = service_model(stated, stages)
    joint = model.joint
    finished: list[Unit] = []
    keep: Callable[[Unit], None] = lambda unit: None  # noqa: E731
    if folder is not None:
        store = ServiceStore(folder, identity(model, joint.history))
        keep = store.keep
        if resume:
            finished = store.resume()
        else:
            store.begin()
    service = stages.run("service", lambda: run_service(model, joint.history, finished, keep, stage))
    chain = stages.run("estimate", lambda: run_service(service_of(chain_of(joint)), joint.history))
    return service, chain, stages.seconds
