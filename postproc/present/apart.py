"""A picture that is taller than a sheet of paper, as pictures one below the other."""

from __future__ import annotations

import io

import numpy as np

TALLEST = 1.5  # times its width: made as small as a sheet is high, 225 mm of 180, words of 8.5 points are of 7
LEAST_PIECE = 0.3  # of the width: neither a headline nor a note stands alone
LEAST_BAND = 0.016  # of the width, without ink: between graphs, not between an axis and its title
AS_WIDE = 0.7  # of the widest band: graphs of one picture stand equally far apart
BLANK = 254  # of 255


def pieces(picture: bytes) -> list[bytes]:
    """Return a picture (PNG) that is too tall for paper cut where it is blank from side to side, else as it is.

    One below the other the pieces are the picture.
    """
    from PIL import Image

    with Image.open(io.BytesIO(picture)) as whole:
        wide, high = whole.size
        if high <= TALLEST * wide:
            return [picture]
        darkest: np.ndarray = np.asarray(whole.convert("L")).min(axis=1)
        ends = [0, *_cuts(darkest >= BLANK, wide), high]
        found = []
        for first, last in zip(ends[:-1], ends[1:], strict=True):
            written = io.BytesIO()
            whole.crop((0, first, wide, last)).save(written, "PNG", optimize=True)
            found.append(written.getvalue())
    return found


def _cuts(blank: np.ndarray, wide: int) -> list[int]:
    """Return the rows at which a picture is cut: the middles of its wide bands of `blank` rows."""
    changes = np.flatnonzero(np.diff(np.concatenate(([False], blank, [False])).astype(int)))
    bands = [
        (first, last - first)
        for first, last in changes.reshape(-1, 2).tolist()
        if LEAST_PIECE * wide <= first and last <= blank.size - LEAST_PIECE * wide and last - first >= LEAST_BAND * wide
    ]
    widest = max((size for _, size in bands), default=0)
    cuts: list[int] = []
    for first, size in bands:
        middle = first + size // 2
        if size >= AS_WIDE * widest and middle - (cuts[-1] if cuts else 0) >= LEAST_PIECE * wide:
            cuts.append(middle)
    return cuts
