"""Views of a cell in the round, rendered without a screen: the stack pulled apart, and the deformed section."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.postproc.cell.assessment import CellFindings
from headjoint.postproc.present.drawing import round_ticks
from headjoint.postproc.present.renderer import PictureError, probe_renderer
from headjoint.postproc.present.scale import Scale, Scales

if TYPE_CHECKING:
    from pyvista.plotting._typing import ScalarBarArgs

PART_COLOURS = {
    "head": "#d6dde4",
    "block": "#c3b9ae",
    "liner": "#9aa58f",
    "washer": "#8a978c",
    "nut": "#b5a27a",
    "fastener": "#8d99a8",
}
BAR: ScalarBarArgs = {
    "color": "#22252b",
    "fmt": "%.4g",
    "vertical": True,
    "position_x": 0.8,
    "position_y": 0.3,
    "height": 0.4,
    "width": 0.06,
    "title_font_size": 20,
    "label_font_size": 20,
}


def draw_views(findings: CellFindings, solved: SolvedCell, folder: Path, units: str = "si") -> list[Path]:
    """Render both views; none where this machine cannot render (the other pictures do without)."""
    try:
        probe_renderer()
    except PictureError:
        return []
    kinds = [state.kind for state in findings.states["nominal"]]
    index = len(kinds) - 1 - kinds[::-1].index("firing") if "firing" in kinds else 0
    exploded = folder / "exploded_stack.png"
    deformed = folder / "deformed.png"
    pressure = Scales(units).pressure
    _exploded(solved, index, exploded, pressure)
    _deformed(findings, solved, index, deformed, pressure)
    return [exploded, deformed]


def solid_grid(mesh: SolidMesh, displacement: np.ndarray | None = None) -> Any:
    """Return a mesh by its corners, moved by nodal displacements (n, 3) in mm."""
    import pyvista as pv

    corners = 8 if len(mesh.cells) == 20 else 4
    points = mesh.points.T if displacement is None else mesh.points.T + displacement
    kind = pv.CellType.HEXAHEDRON if corners == 8 else pv.CellType.TETRA
    cells = np.column_stack([np.full(mesh.cells.shape[1], corners), mesh.cells[:corners].T])
    return pv.UnstructuredGrid(cells.ravel(), np.full(mesh.cells.shape[1], kind), points)


def _exploded(solved: SolvedCell, index: int, path: Path, shown: Scale) -> None:
    import pyvista as pv

    mesh, state = solved.assembled.mesh, solved.nominal.states[index]
    grid = solid_grid(mesh)
    gap = 0.45 * float(np.ptp(mesh.points[2]))
    plotter = pv.Plotter(off_screen=True, window_size=[1200, 1300])
    try:
        plotter.background_color = pv.Color("white")
        shifts = {"block": -0.35 * gap, "liner": -0.35 * gap, "head": 0.5 * gap, "washer": gap, "nut": gap}
        for number, name in enumerate(mesh.parts):
            own = np.flatnonzero(mesh.part == number)
            if not len(own):
                continue
            surface = grid.extract_cells(own).extract_surface(algorithm="dataset_surface")
            surface = surface.translate((0.0, 0.0, shifts.get(name, gap)))
            plotter.add_mesh(surface, color=PART_COLOURS[name])
            edges = surface.extract_feature_edges(35.0)
            if edges.n_cells:
                plotter.add_mesh(edges, color="#5a6068", line_width=1.2)
        carriers = solved.assembled.points.gasket_faces
        corners = 4 if len(carriers) == 8 else 3
        faces = np.column_stack([np.full(carriers.shape[1], corners), carriers[:corners].T])
        points = mesh.points.T.copy()
        points[:, 2] += 0.02 * gap
        gasket = pv.PolyData(points, faces.ravel())
        title = shown.axis("contact pressure")
        pressure = shown(solved.assembled.points.face_means(state.equilibrium.pressure))
        gasket.cell_data[title] = pressure
        ticks = round_ticks(float(np.quantile(pressure, 0.995)))
        bar = BAR | {"n_labels": len(ticks)}
        plotter.add_mesh(gasket, scalars=title, cmap="viridis", clim=[0.0, ticks[-1]], scalar_bar_args=bar)
        plotter.add_text(f"{solved.cell.joint.name}: {state.name}", color="#22252b", font_size=12)
        look(plotter)
        _make_room(plotter)
        plotter.screenshot(path)
    finally:
        plotter.close()


def _deformed(findings: CellFindings, solved: SolvedCell, index: int, path: Path, shown: Scale) -> None:
    import pyvista as pv

    from headjoint.postproc.cell.files import von_mises_3d

    fields = findings.fields[index]
    mesh = solved.assembled.mesh
    # against the state before, so that a warm head's growth does not hide what combustion does
    before = findings.fields[max(index - 1, 0)]
    moved = fields.displacement - before.displacement if index else fields.displacement
    size = float(np.abs(moved).max())
    scale = 0.06 * float(np.ptp(mesh.points[2])) / max(size, 1e-9)
    grid = solid_grid(mesh, scale * moved)
    stress, heading = shown(von_mises_3d(fields.stress).mean(axis=1)), shown.axis("von Mises stress")
    grid.cell_data[heading] = stress
    plotter = pv.Plotter(off_screen=True, window_size=[1200, 1300])
    try:
        plotter.background_color = pv.Color("white")
        surface = grid.extract_surface(algorithm="dataset_surface")
        castings = np.isin(mesh.part, [mesh.parts.index(name) for name in ("head", "block")])
        ticks = round_ticks(float(np.quantile(stress[castings], 0.98)))
        bar, limits = BAR | {"n_labels": len(ticks)}, [0.0, ticks[-1]]
        plotter.add_mesh(surface, scalars=heading, cmap="viridis", clim=limits, ambient=0.35, scalar_bar_args=bar)
        edges = surface.extract_feature_edges(35.0)
        plotter.add_mesh(edges, color="#3a3f46", line_width=1.0)
        since = f" since {before.name}" if index else ""
        title = f"{solved.cell.joint.name}: {fields.name}\ndeformation{since}, enlarged {scale:.0f} times"
        plotter.add_text(title, color="#22252b", font_size=12)
        look(plotter)
        _make_room(plotter)
        plotter.screenshot(path)
    finally:
        plotter.close()


def look(plotter: Any) -> None:
    """Look from the bore's side, where the planes of symmetry cut the parts open."""
    plotter.camera_position = [(-1.0, -1.5, 0.75), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)]
    plotter.reset_camera()


def _make_room(plotter: Any) -> None:
    """Move what is seen off the colour bar at the right."""
    plotter.camera.zoom(0.85)
    plotter.camera.SetWindowCenter(0.17, 0.0)
