"""A picture of the joint in the round, a quarter cut away, rendered without a screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import unknown_name
from headjoint.model.joint import Joint
from headjoint.postproc.joint.fields import cell_nodes, corner_values, recover, von_mises
from headjoint.postproc.joint.section import PART_COLOURS
from headjoint.postproc.present.drawing import round_ticks, save_pictures
from headjoint.postproc.present.renderer import probe_renderer
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.present.scene import Solid, framed, rendered

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ANGLE, STEPS = 270.0, 60
LOOKED_FROM = (1.0, -1.25, 0.75)
COLOURS = "viridis"
BEYOND = 0.99  # share of the stresses that colours tell apart


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
    (written,) = save_pictures([(path.stem, lambda: cut_open(solved, state, units))], path.parent)
    return written


def cut_open(solved: SolvedJoint, state: str, units: str = "si") -> Figure:
    """Return the parts of a state with a quarter cut away, the cut coloured by von Mises stress."""
    fields = recover(solved, [state])[state]
    scale = Scales(units).pressure
    corners = scale(np.maximum(corner_values(solved, von_mises(fields.stress)), 0.0))
    ticks = round_ticks(float(np.quantile(corners, BEYOND)))
    mesh, kind = solved.assembled.joint_mesh, solved.joint.fastener.kind
    shown: list[Solid] = []
    for index, name in enumerate(mesh.parts):
        own = mesh.part == index
        if own.any():
            shown += _part(solved, name, _words(name, kind), own, corners[own], ticks[-1])
    title = f"{solved.joint.name}: {state}"
    return framed(title, rendered(shown, looked_from=LOOKED_FROM), ticks, COLOURS, scale.axis("von Mises stress"))


def _words(part: str, kind: str) -> str:
    """Return what a part is called."""
    return kind if part == "fastener" else "bolt head" if part == "nut" and kind == "bolt" else part


def _part(
    solved: SolvedJoint, part: str, words: str, own: NDArray[np.bool_], corners: FloatArray, limit: float
) -> list[Solid]:
    """Return a part turned by three quarters, and its two cuts with the stress (m, 4) at their corners."""
    import pyvista as pv

    nodes = cell_nodes(solved)[own, :4]
    places = solved.assembled.body.basis.doflocs.T
    used, local = np.unique(nodes, return_inverse=True)
    outline = pv.PolyData(_upright(places[used]), _quads(local.reshape(-1, 4)))
    edges = outline.extract_feature_edges(
        boundary_edges=True, feature_edges=False, manifold_edges=False, non_manifold_edges=False
    )
    shell = edges.extrude_rotate(resolution=STEPS, angle=ANGLE, rotation_axis=(0, 0, 1), capping=False)
    found = [Solid(words, shell, {"color": PART_COLOURS[part]})]
    cut = pv.PolyData(_upright(places[nodes.ravel()]), _quads(np.arange(nodes.size).reshape(-1, 4)))
    cut.point_data["shown"] = corners.ravel()
    look = {"scalars": "shown", "clim": [0.0, limit], "cmap": COLOURS, "lighting": False}
    return found + [Solid(words, cut.rotate_z(turn), look) for turn in (0.0, ANGLE)]


def _upright(places: FloatArray) -> FloatArray:
    """Return places (n, 3) of radius and height (n, 2)."""
    return np.column_stack([places[:, 0], np.zeros(len(places)), places[:, 1]])


def _quads(corners: IntArray) -> IntArray:
    return np.column_stack([np.full(len(corners), 4), corners]).ravel()
