"""A warm-up as a series of VTU files with their times, for animation."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from headjoint.cases.warm_up.warm_up import WarmUp
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.postproc.warm_up.chosen_instants import spread_moments

FRAMES = 24  # at most, spread so that temperatures change alike from one to the next


def write_series(warmed: WarmUp, folder: Path) -> list[Path]:
    """Write warmup-NN.vtu for chosen moments and warmup.vtu.series with their times; return the paths.

    Point data: temperature, displacement since assembly without gas. Cell data: part number. One fastener's joint is
    its half section, x = radius, y = height.
    """
    import meshio

    heated = warmed.march.heated
    mesh, body = heated.mesh, heated.body
    flat = isinstance(mesh, JointMesh)
    points = np.column_stack([body.places.T, np.zeros(body.count)]) if flat else body.places.T
    kind = "quad8" if flat else {20: "hexahedron20", 10: "tetra10"}[len(body.cells)]
    frames, paths = [], []
    for number, moment in enumerate(spread_moments(warmed, FRAMES), start=1):
        path = folder / f"warmup-{number:02d}.vtu"
        moved = heated.cold.displacement(moment.rest.equilibrium.q, moment.temperature).reshape(body.count, -1)
        if flat:
            moved = np.column_stack([moved, np.zeros(body.count)])
        meshio.Mesh(
            points,
            [(kind, body.cells.T)],
            point_data={"temperature [degC]": moment.temperature, "displacement [mm]": moved},
            cell_data={"part": [mesh.part + 1]},
        ).write(path)
        frames.append({"name": path.name, "time": moment.instant.time})
        paths.append(path)
    index = folder / "warmup.vtu.series"
    index.write_text(json.dumps({"file-series-version": "1.0", "files": frames}, indent=1), encoding="utf-8")
    return [*paths, index]
