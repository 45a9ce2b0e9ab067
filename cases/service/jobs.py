"""The service of a joint or cell from its file: mesh, condense, run with every finished step kept on disk."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.store import user_store
from headjoint.cases.models.condensed import Model, chain_of, condensed_cell
from headjoint.cases.models.from_mesh import mesh_of, one_fastener
from headjoint.cases.models.stages import Stages
from headjoint.cases.service.fastener_law import flow_of
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import Service, Unit, run_service
from headjoint.cases.service.scatter import at_scatter
from headjoint.cases.service.store import MARK, ServiceStore, identity
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.service import Step


def service_model(stated: Joint | Cell, stages: Stages) -> ServiceModel:
    """Return the condensed service model of a joint or a cell."""
    flow_of(stated.joint if isinstance(stated, Cell) else stated)  # refused before any work
    if isinstance(stated, Cell):
        mesh = stages.run("mesh", lambda: mesh_of(stated))
        model = stages.run("assemble", lambda: cell_model(stated, mesh))
        reduced = stages.run(f"condense {model.unknowns} unknowns", lambda: condense_cell(model, user_store()))
        return service_of(condensed_cell(model, reduced))
    return stages.run("mesh and condense", lambda: service_of(one_fastener(stated)[1]))


@dataclass(frozen=True)
class Served:
    """A service as the file says, at the ends of the scatter of tightening (None without scatter), and by closed form.

    seconds : stage -> wall-clock time.
    """

    nominal: Service
    least: Service | None
    greatest: Service | None
    chain: Service
    seconds: dict[str, float]


def run_history(
    stated: Joint | Cell,
    folder: Path | None,
    *,
    resume: bool,
    heating: Callable[[Model], Model] = lambda model: model,
    stage: Callable[[str], None] = lambda name: None,
) -> Served:
    """Return the service by finite elements, over the scatter of tightening, and by the closed-form chain.

    folder : where finished steps are kept, None for nowhere; `resume` goes on from those of an earlier run of the same
    service. heating : tells a condensed model of the temperature fields of load cases.

    Raises InputError where there is nothing to resume, SolveError where a step does not converge or balance.
    """
    stages = Stages(stage)
    model = service_model(stated, stages)
    model = dataclasses.replace(model, base=heating(model.base))
    joint, scatter = model.joint, model.joint.tightening.scatter

    def served(name: str, model: ServiceModel, steps: tuple[Step, ...], kept: Path | None, *, again: bool) -> Service:
        finished: list[Unit] = []
        keep: Callable[[Unit], None] = lambda unit: None  # noqa: E731
        if kept is not None:
            store = ServiceStore(kept, identity(model, steps))
            keep = store.keep
            if again:
                finished = store.resume()
            else:
                store.begin()
        return stages.run(name, lambda: run_service(model, steps, finished, keep, stage))

    nominal = served("service", model, joint.history, folder, again=resume)
    ends: dict[str, Service] = {}
    for name, factor in (("least", 1.0 - scatter), ("greatest", 1.0 + scatter)) if scatter > 0.0 else ():
        kept = None if folder is None else folder / name
        begun = kept is not None and (kept / MARK).exists()
        ends[name] = served(
            f"service at the {name} preload", *at_scatter(nominal, factor), kept, again=resume and begun
        )
    chain = stages.run("estimate", lambda: run_service(service_of(chain_of(joint)), joint.history))
    return Served(nominal, ends.get("least"), ends.get("greatest"), chain, stages.seconds)
