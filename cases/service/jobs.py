"""The service of a joint or cell from its file: mesh, condense, run with every finished step kept on disk."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from headjoint.cases.condensed.cell_condensation import cell_model
from headjoint.cases.condensed.store import user_store
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.models.condensed import Model, chain_of, condensed_cell
from headjoint.cases.models.from_mesh import COARSE, NO_COARSER, mesh_of, one_fastener, or_why_not
from headjoint.cases.models.stages import Stages
from headjoint.cases.service.fastener_law import flow_of
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import Service, Unit, run_service
from headjoint.cases.service.scatter import at_scatter
from headjoint.cases.service.store import MARK, ServiceStore, identity
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.service import Step

Heating = Callable[[Model], Model]


def service_model(stated: Joint | Cell, stages: Stages, refinement: float = 1.0) -> ServiceModel:
    """Return the condensed service model of a joint or a cell, on a mesh so many times as fine as usual."""
    flow_of(stated.joint if isinstance(stated, Cell) else stated)  # refused before any work
    if isinstance(stated, Cell):
        store = user_store()
        mesh = stages.run("mesh", lambda: mesh_of(stated, refinement, store))
        model = stages.run("assemble", lambda: cell_model(stated, mesh))
        reduced = stages.run(f"condense {model.unknowns} unknowns", lambda: watched_cell(model, store).reduced)
        return service_of(condensed_cell(model, reduced))
    return stages.run("mesh and condense", lambda: service_of(one_fastener(stated, refinement)[1]))


@dataclass(frozen=True)
class Served:
    """A service as the file says, at the ends of the scatter of tightening (None without scatter), and by closed form.

    seconds : stage -> wall-clock time. coarse : the same on doubled elements; where it is None, `unbounded` says why.
    """

    nominal: Service
    least: Service | None
    greatest: Service | None
    chain: Service
    seconds: dict[str, float]
    coarse: Served | None = field(default=None, repr=False)
    unbounded: str = NO_COARSER


@dataclass(frozen=True)
class _Kept:
    """Where finished steps of a service and of those beside it are kept, None for nowhere, and whether to go on."""

    folder: Path | None
    resume: bool

    def beside(self, name: str) -> _Kept:
        """Return where those of a service beside are; it goes on where it had begun."""
        kept = None if self.folder is None else self.folder / name
        return _Kept(kept, self.resume and kept is not None and (kept / MARK).exists())


def run_history(
    stated: Joint | Cell,
    folder: Path | None,
    *,
    resume: bool,
    told: Callable[[float], tuple[Joint | Cell, Heating]] | None = None,
    stage: Callable[[str], None] = lambda name: None,
) -> Served:
    """Return the service by finite elements, over the scatter of tightening, and by the closed-form chain.

    folder : where finished steps are kept, None for nowhere; `resume` goes on from those of an earlier run of the same
    service. told : gives, on a mesh so many times as fine as usual, the joint or cell that knows the temperatures of
    its load cases by heat, and what tells a condensed model of their fields; None where there are none.

    Raises InputError where there is nothing to resume, SolveError where a step does not converge or balance.
    """
    stages, kept = Stages(stage), _Kept(folder, resume)
    fine = _on_mesh(stated, 1.0, kept, told, stages)
    if isinstance(stated, Cell) and stated.mesh.file is not None:
        return fine
    beside = Stages(lambda name: stage(f"coarse mesh for comparison: {name}"))
    coarse, unbounded = or_why_not(lambda: _on_mesh(stated, COARSE, kept.beside("coarse mesh"), told, beside))
    seconds = stages.seconds | {"coarse mesh for comparison": sum(beside.seconds.values())}
    return dataclasses.replace(fine, seconds=seconds, coarse=coarse, unbounded=unbounded)


def _on_mesh(
    stated: Joint | Cell,
    refinement: float,
    kept: _Kept,
    told: Callable[[float], tuple[Joint | Cell, Heating]] | None,
    stages: Stages,
) -> Served:
    heating: Heating = lambda model: model  # noqa: E731
    if told is not None:
        stated, heating = told(refinement)
    model = service_model(stated, stages, refinement)
    model = dataclasses.replace(model, base=heating(model.base))
    joint, scatter = model.joint, model.joint.tightening.scatter

    def served(name: str, model: ServiceModel, steps: tuple[Step, ...], kept: _Kept) -> Service:
        finished: list[Unit] = []
        keep: Callable[[Unit], None] = lambda unit: None  # noqa: E731
        if kept.folder is not None:
            store = ServiceStore(kept.folder, identity(model, steps))
            keep = store.keep
            if kept.resume:
                finished = store.resume()
            else:
                store.begin()
        return stages.run(name, lambda: run_service(model, steps, finished, keep, stages.tell))

    nominal = served("service", model, joint.history, kept)
    ends: dict[str, Service] = {}
    for name, factor in (("least", 1.0 - scatter), ("greatest", 1.0 + scatter)) if scatter > 0.0 else ():
        ends[name] = served(f"service at the {name} preload", *at_scatter(nominal, factor), kept.beside(name))
    chain = stages.run("estimate", lambda: run_service(service_of(chain_of(joint)), joint.history))
    return Served(nominal, ends.get("least"), ends.get("greatest"), chain, stages.seconds)
