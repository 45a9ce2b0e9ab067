"""Views in the round: rendered without a screen, cut to what is seen, named and scaled like every other picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.postproc.present.drawing import INK, PAGE, blank_figure, headline
from headjoint.postproc.present.end_names import spread

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Direction = tuple[float, float, float]
FROM_THE_FRONT: Direction = (-1.0, -1.5, 0.9)  # looked from, so that what is cut open at the left is seen
WHITE = 250  # grey value from which a pixel is background
RIM = 6  # pixels of background kept round what is seen
FEWEST = 60  # pixels that are seen of a part that is named
RIGHTMOST = 0.85  # share of what is seen of a part that lies left of where it is named
GREY_STEP = 20  # between the greys that tell parts apart
NAMES, BAR, TOP, BELOW, TALLEST = 0.95, 1.0, 0.72, 0.12, 7.6  # inches beside, above and below a view
EDGE, EDGE_ANGLE = "#5a6068", 35.0  # degrees between faces from which their edge is drawn
# castings without dark sides
LIGHT: dict[str, Any] = {"ambient": 0.42, "diffuse": 0.62, "specular": 0.0}
EVEN_LIGHT: dict[str, Any] = {"ambient": 0.75, "diffuse": 0.28, "specular": 0.0}


@dataclass(frozen=True)
class Solid:
    """A surface of a part in a view. surface : as pyvista has it; look : colour, or scalars with their colours."""

    part: str
    surface: Any = field(repr=False)
    look: dict[str, Any]


@dataclass(frozen=True)
class Rendered:
    """A view cut to what is seen. image : (rows, columns, 3). parts : their names; part : (rows, columns) number of the
    one that is seen in every pixel, -1 for none.
    """

    image: FloatArray = field(repr=False)
    parts: tuple[str, ...]
    part: IntArray = field(repr=False)

    def right_end(self, number: int) -> tuple[float, float] | None:
        """Return column and row where a part ends at the right, half-way up what is seen there; None where hidden."""
        rows, columns = np.nonzero(self.part == number)
        if len(rows) < FEWEST:
            return None
        right = columns >= np.quantile(columns, RIGHTMOST)  # of several alike, the one at the right
        row = float(np.median(rows[right]))
        return float(columns[right & (np.abs(rows - row) <= 2.0)].max()) - 4.0, row


def rendered(
    solids: Sequence[Solid], size: tuple[int, int] = (1500, 1700), looked_from: Direction = FROM_THE_FRONT
) -> Rendered:
    """Render solids in parallel projection, and cut off the background.

    The machine must be able to (`present.renderer`).
    """
    import pyvista as pv

    parts = tuple(dict.fromkeys(one.part for one in solids))
    plotter = pv.Plotter(off_screen=True, window_size=list(size))
    try:
        plotter.background_color = pv.Color("white")
        shown = [plotter.add_mesh(one.surface, show_scalar_bar=False, **_lit(one.look)) for one in solids]
        edges = [_add_edges(plotter, one.surface) for one in solids if one.look.get("lighting", True)]
        plotter.enable_parallel_projection()  # type: ignore[call-arg]
        plotter.camera_position = [looked_from, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)]
        plotter.reset_camera()  # type: ignore[call-arg]  # its wrapper loses sight of the object that it belongs to
        image = _picture(plotter)
        # once more, every part in a grey of its own, to know what is seen where
        for one, actor in zip(solids, shown, strict=True):
            actor.mapper.scalar_visibility = False
            actor.prop.lighting, actor.prop.ambient, actor.prop.diffuse = False, 1.0, 0.0
            actor.prop.color = [(1 + parts.index(one.part)) * GREY_STEP / 255.0] * 3
        for actor in filter(None, edges):
            actor.visibility = False
        grey = _picture(plotter)[:, :, 0].astype(np.int64)
    finally:
        plotter.close()
    part = np.where((grey % GREY_STEP == 0) & (grey // GREY_STEP <= len(parts)), grey // GREY_STEP - 1, -1)
    rows, columns = (np.flatnonzero((image.min(axis=2) < WHITE).any(axis=axis)) for axis in (1, 0))
    kept = np.s_[max(rows[0] - RIM, 0) : rows[-1] + RIM, max(columns[0] - RIM, 0) : columns[-1] + RIM]
    return Rendered(image[kept], parts, part[kept])


def _lit(look: dict[str, Any]) -> dict[str, Any]:
    """Return a look under the light; where colours tell values, shade hardly darkens them."""
    return (EVEN_LIGHT if "scalars" in look else LIGHT) | look


def _picture(plotter: Any) -> Any:
    plotter.render()
    return np.asarray(plotter.screenshot(None, return_img=True))[:, :, :3]


def _add_edges(plotter: Any, surface: Any) -> Any:
    edges = surface.extract_feature_edges(EDGE_ANGLE, boundary_edges=False)
    return plotter.add_mesh(edges, color=EDGE, line_width=1.2) if edges.n_cells else None


def framed(title: str, view: Rendered, ticks: Sequence[float], colours: str, bar: str) -> Figure:
    """Return a view filling its frame, its parts named at the right, the colours' scale beside them."""
    rows, columns = view.image.shape[:2]
    inch = min((PAGE - NAMES - BAR - 0.1) / columns, TALLEST / rows)
    height = TOP + inch * rows + BELOW
    figure = blank_figure(PAGE, height)
    headline(figure, title)
    left = (PAGE - NAMES - BAR - inch * columns) / 2.0
    axes = figure.add_axes((left / PAGE, BELOW / height, inch * columns / PAGE, inch * rows / height))
    show(axes, view)
    name_parts(axes, view)
    at = left + inch * columns + NAMES + 0.1
    tall = min(0.7 * inch * rows, 4.0)
    place = (at / PAGE, (BELOW + (inch * rows - tall) / 2.0) / height, 0.17 / PAGE, tall / height)
    colour_bar(figure, place, ticks, colours, bar)
    return figure


def show(axes: Axes, view: Rendered) -> None:
    """Show a view in axes."""
    axes.imshow(view.image, interpolation="lanczos")
    axes.axis("off")


def colour_bar(
    figure: Figure, place: Any, ticks: Sequence[float] | FloatArray, colours: str, words: str, extend: str = "max"
) -> None:
    """Draw a scale of colours from the first of round ticks to the last, pointed where values go beyond it."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    scale = ScalarMappable(Normalize(ticks[0], ticks[-1]), colours)
    bar = figure.colorbar(scale, cax=figure.add_axes(place), ticks=list(ticks), extend=extend, extendfrac=0.03)
    bar.set_label(words, color=INK, fontsize=9.5)
    bar.ax.tick_params(labelsize=9)


def name_parts(axes: Axes, view: Rendered) -> None:
    """Write the names of what is seen right of a view, each led to its part, apart from each other."""
    rows, columns = view.image.shape[:2]
    found = [(name, view.right_end(number)) for number, name in enumerate(view.parts)]
    seen = [(name, end) for name, end in found if end is not None]
    inches = axes.get_figure().get_size_inches()[1] * axes.get_position().height  # type: ignore[union-attr]
    heights = np.full(len(seen), 0.2 * rows / inches)
    wanted = np.array([end[1] for _, end in seen])
    line = {"arrowstyle": "-", "color": INK, "linewidth": 0.7, "shrinkA": 1.0, "shrinkB": 0.0, "relpos": (0.0, 0.5)}
    for (name, end), row in zip(seen, spread(wanted, heights, 0.0, float(rows)), strict=True):
        axes.annotate(
            name, end, xytext=(1.04 * columns, row), fontsize=9.5, color=INK, va="center", arrowprops=line,
            annotation_clip=False,
        )  # fmt: skip
        axes.plot(*end, marker="o", markersize=3.5, color=INK, markeredgecolor="white", markeredgewidth=0.6)
