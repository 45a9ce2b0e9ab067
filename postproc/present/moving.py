"""Pictures that move: figures one after another as a GIF, which every page, mail and slide plays."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from PIL.Image import Image as Picture

ACROSS = 770  # pixels
EACH, LAST = 0.35, 2.0  # s that a frame and the last one stand
COLOURS, SAMPLED = 256, 4  # of all frames, and in how many of them they are looked for


def save_moving(frames: Iterable[Callable[[], Figure]], path: Path) -> Path:
    """Draw figures of one size one after another into a GIF that runs for ever, and return its path."""
    import matplotlib
    from PIL import Image

    images = []
    with matplotlib.rc_context({"text.parse_math": False}):
        for draw in frames:
            figure = draw()
            figure.set_dpi(ACROSS / figure.get_size_inches()[0])
            figure.canvas.draw()
            pixels = np.asarray(figure.canvas.buffer_rgba())[:, :, :3]  # type: ignore[attr-defined]
            images.append(Image.fromarray(pixels))
    # one palette, from frames all along, so that colours mean the same in every frame
    some = np.vstack([np.asarray(one) for one in images[:: max(len(images) // SAMPLED, 1)]])
    palette = Image.fromarray(some).quantize(COLOURS, kmeans=1)
    entries = np.array(palette.getpalette()).reshape(-1, 3)
    white = int(entries.sum(axis=1).argmax())
    entries[white] = 255
    palette.putpalette(entries.ravel().tolist())
    images = [_in_palette(one, palette, white) for one in images]
    stands = [int(1e3 * EACH)] * (len(images) - 1) + [int(1e3 * LAST)]
    images[0].save(path, save_all=True, append_images=images[1:], duration=stands, loop=0, optimize=False)
    return path


def _in_palette(image: Picture, palette: Picture, white: int) -> Picture:
    """Return an image in the colours of a palette, its white paper white, which the nearest colour may miss."""
    from PIL import Image

    found = image.quantize(palette=palette, dither=Image.Dither.NONE)
    numbers = np.array(found)
    numbers[(np.asarray(image) == 255).all(axis=2)] = white
    told = Image.fromarray(numbers, "P")
    told.putpalette(palette.getpalette() or [])
    return told
