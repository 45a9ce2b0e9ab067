"""The section through a joint's axis: stress and magnified displacement, whole and around the gasket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.postproc.joint.fields import RecoveredState, cell_nodes, corner_values, part_edges, von_mises
from headjoint.postproc.present.drawing import INK, PAGE, Place, blank_figure, headline, note, round_down, round_ticks
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PART_COLOURS = {"fastener": "#8d99a8", "nut": "#b5a27a", "washer": "#6f7f72", "head": "#d6dde4", "block": "#c3b9ae"}
WHOLE, CLOSE = (0.115, 0.17, 0.32, 0.69), (0.525, 0.17, 0.46, 0.69)
AT_GASKET = 1.0  # mm, how near the deck nodes are taken as the gasket's faces
BEYOND = 0.99  # share of the values that colours tell apart; corners go higher


@dataclass(frozen=True)
class _Shape:
    """A joint's section in the unit shown: nodes (n, 2) as built and displaced, corners of its elements (m, 4)."""

    solved: SolvedJoint = field(repr=False)
    built: FloatArray = field(repr=False)
    moved: FloatArray = field(repr=False)
    corners: IntArray = field(repr=False)
    edges: IntArray = field(repr=False)

    @property
    def reach(self) -> float:
        """The greatest radius."""
        return float(np.abs(self.built[:, 0]).max())


def section(solved: SolvedJoint, recovered: dict[str, RecoveredState], units: str = "si") -> Figure:
    """Section through the axis, whole and around the gasket.

    Displacement is the change since assembly, magnified: what heat and gas do to the tightened joint.
    """
    scales = Scales(units)
    shown = _state_to_show(recovered)
    fields, first = recovered[shown], next(iter(recovered.values()))
    places: FloatArray = solved.assembled.body.basis.doflocs.T
    change = fields.nodal - first.nodal
    factor = round_down(0.05 * float(np.ptp(places[:, 1])) / max(float(np.abs(change).max()), 1e-9))
    near = np.abs(places[:, 1]) < AT_GASKET
    rise = scales.length(factor * float(np.median(change[near, 1])))
    built, moved = scales.length(places), scales.length(places + factor * change)
    shape = _Shape(solved, built, moved, cell_nodes(solved)[:, :4], part_edges(solved))
    figure = blank_figure(PAGE, 6.6)
    headline(figure, f"{solved.joint.name}: {shown}, displacement since assembly magnified {factor:g} times")
    _draw_whole(figure, shape, scales, fields)
    _draw_close(figure, shape, scales, fields, rise)
    return figure


def _draw_whole(figure: Figure, shape: _Shape, scales: Scales, fields: RecoveredState) -> None:
    """Draw the parts as built to the left of the axis, displaced and coloured by stress to the right."""
    solved, parts, reach = shape.solved, shape.solved.assembled.joint_mesh, shape.reach
    axes = _panel(figure, WHOLE, "left: parts as built;\nright: von Mises stress", scales)
    low, high = shape.built[:, 1].min(), shape.built[:, 1].max()
    mirrored = shape.built * [-1.0, 1.0]
    _paint(axes, mirrored[shape.corners], parts.part, parts.parts)
    stress = scales.pressure(np.maximum(corner_values(solved, von_mises(fields.stress)), 0.0))
    ticks = round_ticks(float(np.quantile(stress, BEYOND)))
    painted = _shade(axes, shape.moved[shape.corners], stress, (0.0, ticks[-1]), "viridis")
    axes.axvline(0.0, color=INK, linewidth=0.6, linestyle=(0, (8, 3, 2, 3)))
    for index in np.unique(parts.part):
        own = shape.built[shape.corners[parts.part == index]].mean(axis=1)
        _label_part(axes, parts.parts[index], own, solved.joint.fastener.kind)
    for at in (mirrored, shape.moved):
        _draw_lines(axes, at[shape.edges])
    axes.set_xlim(-2.2 * reach, 1.15 * reach)
    axes.set_xticks([-reach, 0.0, reach], [f"{reach:.3g}", "0", f"{reach:.3g}"])
    axes.set_ylim(low - 0.02 * (high - low), high + 0.09 * (high - low))
    axes.set_ylabel(scales.length.axis("height over the block deck"))
    text = f"{scales.pressure.axis('von Mises stress')};\nat corners it goes higher"
    _colour_bar(figure, painted, (0.115, 0.095, 0.32, 0.013), ticks, text)


def _draw_close(figure: Figure, shape: _Shape, scales: Scales, fields: RecoveredState, rise: float) -> None:
    """Draw the displaced parts around the gasket, head and block coloured by axial stress; rise : of its faces."""
    solved, parts, reach = shape.solved, shape.solved.assembled.joint_mesh, shape.reach
    axes = _panel(figure, CLOSE, "around the gasket: axial stress\nof head and block", scales)
    axial = scales.pressure(corner_values(solved, fields.stress[:, :, 1]))
    clamped = np.isin(parts.part, [parts.parts.index("head"), parts.parts.index("block")])
    window = 0.62 * reach
    near = clamped & (np.abs(shape.built[shape.corners, 1].mean(axis=1)) < window)
    ticks = round_ticks(float(np.quantile(np.abs(axial[near]), BEYOND)))
    displaced = shape.moved[shape.corners]
    _paint(axes, displaced[~clamped], parts.part[~clamped], parts.parts)
    painted = _shade(axes, displaced[clamped], axial[clamped], (-ticks[-1], ticks[-1]), "RdBu_r")
    _draw_lines(axes, shape.moved[shape.edges])
    _draw_gasket(axes, solved, shape.moved)
    axes.set_xlim(0.0, 1.08 * reach)
    axes.set_ylim(rise - window, rise + window)
    text = f"{scales.pressure.axis('axial stress')}; blue is pressed;\nat corners it goes higher"
    _colour_bar(
        figure, painted, (0.525, 0.095, 0.46, 0.013), [share * ticks[-1] for share in (-1.0, -0.5, 0.0, 0.5, 1.0)], text
    )


def _panel(figure: Figure, place: Place, title: str, scales: Scales) -> Axes:
    axes = figure.add_axes(place)
    axes.set_title(title, loc="left", fontsize=10, color=INK)
    axes.set_aspect("equal")
    axes.set_xlabel(scales.length.axis("radius"))
    axes.spines[["top", "right"]].set_visible(False)
    return axes


def _colour_bar(figure: Figure, painted: Any, place: Place, ticks: Sequence[float], text: str) -> None:
    """Draw the colours below a panel, pointed where values go beyond them."""
    extend = "both" if ticks[0] < 0.0 else "max"
    bar = figure.colorbar(
        painted, cax=figure.add_axes(place), orientation="horizontal", ticks=ticks, extend=extend, extendfrac=0.03
    )
    bar.set_label(text, fontsize=8.5)
    bar.ax.tick_params(labelsize=8.5)


def _draw_lines(axes: Axes, lines: FloatArray) -> None:
    from matplotlib.collections import LineCollection

    axes.add_collection(LineCollection(list(lines), colors=INK, linewidths=0.5))


def _draw_gasket(axes: Axes, solved: SolvedJoint, displaced: FloatArray) -> None:
    """Fill the gap with the gasket's zones, the sealing zone dark and named."""
    mesh, vertices = solved.assembled.joint_mesh, solved.assembled.body.basis.nodal_dofs[0]
    sealing = solved.joint.gasket.sealing_zone.name
    for face in mesh.interfaces:
        if face.kind != "gasket":
            continue
        lower, upper = (
            displaced[vertices[np.unique(mesh.mesh.facets[:, facets])]] for facets in (face.lower, face.upper)
        )
        lower, upper = lower[np.argsort(lower[:, 0])], upper[np.argsort(-upper[:, 0])]
        colour = "#4b5563" if face.name == sealing else "#b6bdc6"
        axes.fill(*np.concatenate([lower, upper]).T, facecolor=colour, edgecolor="white", linewidth=0.8)
        if face.name == sealing:
            arrow = {"arrowstyle": "-", "color": INK, "linewidth": 0.8}
            r, z = upper.mean(axis=0)
            note(axes, f"sealing zone: {face.name}", (float(r), float(z)), (-20, 60), ha="center", arrowprops=arrow)


def _paint(axes: Axes, corners: FloatArray, part: IntArray, names: Sequence[str]) -> None:
    """Draw quadrilaterals (m, 4, 2) in the colours of their parts."""
    from matplotlib.colors import ListedColormap

    colours = ListedColormap([PART_COLOURS[name] for name in names])
    values = np.repeat(part[:, None], 4, axis=1).astype(float)
    _shade(axes, corners, values, (0.0, len(names) - 1.0), colours)


def _shade(axes: Axes, corners: FloatArray, values: FloatArray, limits: tuple[float, float], colour_map: Any) -> Any:
    """Draw quadrilaterals (m, 4, 2) shaded between values (m, 4) at their corners, clipped to `limits`."""
    from matplotlib.collections import TriMesh
    from matplotlib.tri import Triangulation

    number = np.arange(corners.shape[0] * 4).reshape(-1, 4)
    triangles = np.concatenate([number[:, [0, 1, 2]], number[:, [0, 2, 3]]])
    x, y = corners.reshape(-1, 2).T
    drawn = TriMesh(Triangulation(x, y, triangles), cmap=colour_map)
    drawn.set_array(np.clip(values.ravel(), *limits))
    drawn.set_clim(*limits)
    axes.add_collection(drawn)
    return drawn


def _state_to_show(recovered: dict[str, RecoveredState]) -> str:
    """Return the state under the most gas, else the hottest."""
    cases = {name: fields.state.case for name, fields in recovered.items()}
    return max(cases, key=lambda name: (cases[name].gas_force, cases[name].temperatures["head"]))


def _label_part(axes: Axes, name: str, centres: FloatArray, kind: str) -> None:
    """Write a part's name on the left half: inside large parts, over small ones with a line to them."""
    r, z = centres[:, 0], centres[:, 1]
    if name in ("head", "block"):
        axes.text(-0.62 * r.max(), z.mean(), name, ha="center", va="center", fontsize=10, color=INK)
        return
    text = "bolt head" if name == "nut" and kind == "bolt" else name
    # a bolt's shank ends under its head, so its name stands over the clamped parts, lower down
    shank = ((-0.5 * r.max(), 0.8 * z.max()), 0) if kind == "bolt" else ((-0.5 * r.min(), z.max()), 16)
    place, lift = {
        "fastener": shank,
        "nut": ((-r.max(), z.mean()), 14),
        "washer": ((-r.max(), z.mean()), 4),
    }[name]
    shift = (-9 if kind == "bolt" and name == "fastener" else -30, lift)
    arrow = {"arrowstyle": "-", "color": "#9aa1aa", "linewidth": 0.8}
    note(axes, text, place, shift, ha="right", arrowprops=arrow)
