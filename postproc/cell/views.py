"""Views of a cell in the round: the stack pulled apart, and the deformed castings, bores whole, a quarter cut away."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Cell
from headjoint.postproc.cell.assessment import CellFindings
from headjoint.postproc.cell.files import von_mises_3d
from headjoint.postproc.cell.findings import FullField
from headjoint.postproc.cell.in_plan import CellPlan, cell_plan
from headjoint.postproc.plan.picture import PRESSURES
from headjoint.postproc.plan.whole import Image, Whole, whole
from headjoint.postproc.present.drawing import round_down, round_ticks, save_pictures
from headjoint.postproc.present.renderer import PictureError, probe_renderer
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.present.scene import Solid, framed, rendered

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PART_COLOURS = {
    "head": "#d6dde4",
    "block": "#c3b9ae",
    "liner": "#9aa58f",
    "washer": "#8a978c",
    "nut": "#b5a27a",
    "fastener": "#8d99a8",
}
CASTINGS = ("head", "block", "liner")
APART = {"block": 0.0, "liner": 0.0, "gasket": 0.14, "head": 0.3, "washer": 0.42, "nut": 0.42, "stud": 0.42}
WORDS = {"fastener": "stud"}
BEYOND_STRESS = 0.98  # share of the castings' volume whose stress colours tell apart
BEYOND = 0.25  # of the pitch beyond the bores within which whole fasteners are drawn
MOVED = 0.06  # of the height, how far the castings' greatest displacement is drawn at most


def draw_views(
    findings: CellFindings, solved: SolvedCell, fields: Sequence[FullField], folder: Path, units: str = "si"
) -> list[Path]:
    """Render both views; none where this machine cannot render (the other pictures do without)."""
    try:
        probe_renderer()
    except PictureError:
        return []
    kinds = [state.kind for state in findings.states["nominal"]]
    index = len(kinds) - 1 - kinds[::-1].index("firing") if "firing" in kinds else 0
    return save_pictures(
        (
            ("exploded_stack", lambda: exploded(solved, index, units)),
            ("deformed", lambda: deformed(solved, fields, index, units)),
        ),
        folder,
    )


def shown_images(bores: Whole, *, cut: bool) -> tuple[Image, ...]:
    """Return the images that make bores whole; cut : without those of the quarter at the front left."""
    if not cut or len(bores.images) < 4:
        return bores.images
    inside = np.array([[1e-3], [0.37e-3]])  # a place of every tile that lies in no plane of symmetry
    return tuple(image for image in bores.images if (image.of(inside) - image.shift[:, None]).max() > 0.0)


def solids(
    cell: Cell, mesh: SolidMesh, moved: FloatArray, look: dict[str, dict[str, Any]], values: FloatArray
) -> list[Solid]:
    """Return the parts of a cell, bores and studs whole, a quarter of the castings cut away.

    moved : (3, n) nodes as they are drawn. look : of parts that are not plain; values : (n,) of all nodes, that its
    scalars "shown" are.
    """
    found = []
    for part in mesh.parts:
        bores = whole(cell, beyond=0.0 if part in CASTINGS else BEYOND)
        for image in shown_images(bores, cut=part in CASTINGS):
            surface = _surface(mesh, part, image, bores, moved, values)
            if surface is not None:
                found.append(Solid(WORDS.get(part, part), surface, look.get(part, {"color": PART_COLOURS[part]})))
    return found


def _surface(mesh: SolidMesh, part: str, image: Image, bores: Whole, moved: FloatArray, values: FloatArray) -> Any:
    """Return the surface of one part of an image as far as the picture shows it, None for none."""
    import pyvista as pv

    own = mesh.part == mesh.parts.index(part)
    middle = image.of(mesh.points[:2, mesh.cells[:, own]].mean(axis=1)).T
    cells = mesh.cells[:, own][:, ((middle > bores.low) & (middle < bores.high)).all(axis=1)]
    if not cells.size:
        return None
    corners = 8 if len(cells) == 20 else 4
    used, local = np.unique(cells[:corners], return_inverse=True)
    local = local.reshape(corners, -1)
    if np.linalg.det(image.matrix) < 0.0:  # a mirror image turns elements inside out
        local = local[[0, 3, 2, 1, 4, 7, 6, 5] if corners == 8 else [0, 2, 1, 3]]
    places = np.vstack([image.of(moved[:2, used]), moved[2, used]]).T
    kind = pv.CellType.HEXAHEDRON if corners == 8 else pv.CellType.TETRA
    listed = np.column_stack([np.full(local.shape[1], corners), local.T]).ravel()
    grid = pv.UnstructuredGrid(listed, np.full(local.shape[1], kind), places)
    grid.point_data["shown"] = values[used]
    return grid.extract_surface(algorithm="dataset_surface")


def exploded(solved: SolvedCell, index: int, units: str = "si") -> Figure:
    """Return the parts of a state one above the other, the gasket between them coloured by its pressure."""
    mesh, cell, state = solved.assembled.mesh, solved.cell, solved.nominal.states[index]
    tall = float(np.ptp(mesh.points[2]))
    plan = cell_plan(solved.nominal.model, mesh.points[:2, solved.assembled.points.gasket_faces])
    equilibrium, scale = state.equilibrium, Scales(units).pressure
    pressure = plan.field.pressures(equilibrium.closure, state.permanent_set, state.case.temperatures["gasket"])
    ticks = round_ticks(float(np.quantile(scale(pressure), 0.995)))
    shown = solids(cell, mesh, mesh.points, {}, np.zeros(mesh.points.shape[1]))
    for one in shown:
        one.surface.translate((0.0, 0.0, APART[one.part] * tall), inplace=True)
    shown += _gasket(plan, scale(pressure), APART["gasket"] * tall, ticks[-1])
    title = f"{cell.joint.name}: {state.name}\nparts pulled apart, castings cut open"
    return framed(title, rendered(shown), ticks, PRESSURES, scale.axis("contact pressure"))


def _gasket(plan: CellPlan, shown: FloatArray, height: float, limit: float) -> list[Solid]:
    """Return the gasket of whole bores at a height (mm), coloured by values (n,) of its field."""
    import pyvista as pv

    look = {"scalars": "shown", "cmap": PRESSURES, "clim": [0.0, limit], "lighting": False}
    bores, found = whole(plan.cell, beyond=0.0), []
    for image in bores.images:
        at = image.of(plan.field.places)
        middle = at[:, plan.field.triangles].mean(axis=2).T
        kept = plan.field.triangles[(middle > bores.low).all(axis=1)]
        places = np.vstack([at, np.full(at.shape[1], height)]).T
        flat = pv.PolyData(places, np.column_stack([np.full(len(kept), 3), kept]).ravel())
        flat.point_data["shown"] = shown
        found.append(Solid("gasket", flat, look))
    return found


def deformed(solved: SolvedCell, fields: Sequence[FullField], index: int, units: str = "si") -> Figure:
    """Return the deformed castings of a state coloured by their stress, the fasteners plain.

    Against the state before, so that a warm head's growth does not hide what combustion does.
    """
    now, before = fields[index], fields[max(index - 1, 0)]
    mesh, cell = solved.assembled.mesh, solved.cell
    change = now.displacement - before.displacement if index else now.displacement
    casting = np.isin(mesh.part, [mesh.parts.index(name) for name in CASTINGS if name in mesh.parts])
    factor = magnified(change[np.unique(mesh.cells[:, casting])], float(np.ptp(mesh.points[2])))
    scale = Scales(units).pressure
    _, weight = solved.assembled.body.places()
    volume = weight.sum(axis=1)
    stress = scale(np.einsum("mq,mq->m", weight, von_mises_3d(now.stress)) / volume)
    ticks = round_ticks(_quantile(stress[casting], volume[casting], BEYOND_STRESS))
    look = {"scalars": "shown", "cmap": PRESSURES, "clim": [0.0, ticks[-1]]}
    values = _at_nodes(mesh, casting, stress, volume)
    shown = solids(cell, mesh, mesh.points + factor * change.T, dict.fromkeys(CASTINGS, look), values)
    since = f" since {before.name}" if index else ""
    title = f"{cell.joint.name}: {now.name}\ndisplacement{since} magnified {factor:g} times"
    return framed(title, rendered(shown), ticks, PRESSURES, scale.axis("von Mises stress of head and block"))


def magnified(change: FloatArray, tall: float) -> float:
    """Return the round factor by which displacements (n, 3) are drawn on a joint of a height."""
    return round_down(MOVED * tall / max(float(np.abs(change).max()), 1e-9))


def _at_nodes(mesh: SolidMesh, own: NDArray[np.bool_], values: FloatArray, volume: FloatArray) -> FloatArray:
    """Return the means (n,) at nodes, by volume, of values (m,) of some elements."""
    nodes, count = mesh.cells[:, own].ravel(), mesh.points.shape[1]
    weight = np.tile(volume[own], len(mesh.cells))
    total = np.bincount(nodes, weight * np.tile(values[own], len(mesh.cells)), count)
    return total / np.maximum(np.bincount(nodes, weight, count), 1e-12)


def _quantile(values: FloatArray, weight: FloatArray, share: float) -> float:
    """Return the value that a share of all weight does not exceed."""
    order = np.argsort(values)
    return float(values[order][np.searchsorted(np.cumsum(weight[order]), share * weight.sum())])
