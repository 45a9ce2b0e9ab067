"""A picture of the joint in the round, a quarter cut away, rendered without a screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.model.base.errors import unknown_name
from headjoint.model.joint import Joint
from headjoint.postproc.joint.fields import cell_nodes, recover, von_mises
from headjoint.postproc.present.drawing import round_ticks
from headjoint.postproc.present.renderer import probe_renderer
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from pyvista.plotting._typing import ScalarBarArgs

ANGLE, STEPS = 270.0, 60
SCALAR_BAR: ScalarBarArgs = {
    "color": "#22252b",
    "vertical": True,
    "fmt": "%.4g",
    "position_x": 0.86,
    "position_y": 0.3,
    "height": 0.4,
    "width": 0.06,
    "title_font_size": 20,
    "label_font_size": 20,
}


def state_shown(joint: Joint, asked: str | None) -> str:
    """Return the load case to show: the one asked for, else the last one with gas, else the last.

    Raises InputError with the nearest name for one that there is not.
    """
    names = [case.name for case in joint.load_cases]
    if asked is not None and asked not in names:
        raise unknown_name("load case", asked, names, field="--state")
    return asked or ([case.name for case in joint.load_cases if case.gas_force > 0.0] or names)[-1]


def cutaway(solved: SolvedJoint, state: str, path: Path, units: str = "si") -> Path:
    """Render the parts of a state, coloured by von Mises stress, and return the written PNG.

    Raises PictureError where nothing can be rendered.
    """
    probe_renderer()
    import pyvista as pv

    fields = recover(solved, [state])[state]
    mesh = solved.assembled.joint_mesh
    nodes = cell_nodes(solved)[:, :4]
    places = solved.assembled.body.basis.doflocs.T
    scale = Scales(units).pressure
    stress, title = scale(von_mises(fields.stress).mean(axis=1)), scale.axis("von Mises stress")
    ticks = round_ticks(float(np.quantile(stress, 0.99)))
    limit = ticks[-1]
    plotter = pv.Plotter(off_screen=True, window_size=[1200, 1400])
    try:
        plotter.background_color = pv.Color("white")
        for index, name in enumerate(mesh.parts):
            own = mesh.part == index
            if not own.any():
                continue
            used, local = np.unique(nodes[own], return_inverse=True)
            points = np.column_stack([places[used, 0], np.zeros(len(used)), places[used, 1]])
            faces = np.column_stack([np.full(own.sum(), 4), local.reshape(-1, 4)])
            surface = pv.PolyData(points, faces.ravel())
            surface.cell_data[title] = np.minimum(stress[own], limit)
            edges = surface.extract_feature_edges(
                boundary_edges=True, feature_edges=False, manifold_edges=False, non_manifold_edges=False
            )
            shell = edges.extrude_rotate(resolution=STEPS, angle=ANGLE, rotation_axis=(0, 0, 1), capping=False)
            colour = {"head": "#d6dde4", "block": "#c3b9ae", "washer": "#8a978c", "nut": "#b5a27a"}.get(name, "#8d99a8")
            plotter.add_mesh(shell, color=colour, smooth_shading=False)
            for turn in (0.0, ANGLE):
                plotter.add_mesh(
                    surface.rotate_z(turn),
                    scalars=title,
                    clim=[0.0, limit],
                    cmap="viridis",
                    lighting=False,
                    show_scalar_bar=name == "fastener" and turn == 0.0,
                    scalar_bar_args=SCALAR_BAR | {"n_labels": len(ticks)},
                )
        plotter.add_text(f"{solved.joint.name}: {state}", color="#22252b", font_size=12)
        plotter.camera_position = [(1.0, -1.25, 0.75), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)]
        plotter.reset_camera()  # type: ignore[call-arg]  # its wrapper loses sight of the object that it belongs to
        plotter.camera.zoom(1.15)
        plotter.screenshot(path)
    finally:
        plotter.close()
    return path
