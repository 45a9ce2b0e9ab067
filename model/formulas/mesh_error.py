"""How far a figure may be from that of an ever finer mesh, from the same figure on a coarser mesh."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# stated, not observed, for observed ones jump: formal order of second-order elements, which safety factors go with;
# edges of contact and re-entrant corners hold it lower, which those cover
ORDER = 2.0
ROUNDING = 1e-9  # of a figure, below which two meshes agree
# of the greatest error in any state, and of what two meshes hardly tell: by what `validation.mesh_error` finds
QUARTER = 0.25
# of figures that two meshes hardly tell, choices by what was found. Crush at a sharp edge: up to 0.3 % with one
# fastener, whose ring is pressed alike all round, and 3 % from mesh to mesh in three dimensions. What is a small
# difference of two states: up to 1.8 % in three dimensions; the load factor of one fastener shows its error like any
# figure. Bending of a cell's studs: up to 5 % of that in half of the states, in each by about as many MPa, and up to
# 1 % where they bend most, for the coarser mesh of a cell is hardly coarser where they bend. Yield of those studs: up
# to 0.11 %, and 5 % of their bending may be 0.2 %
PEAK, PEAK_SOLID, DIFFERENCE_SOLID, BENDING_SOLID, BENT_YIELD_SOLID = 0.005, 0.05, 0.02, 0.05, 0.002

Relieved = tuple[float, float]  # MPa on the sealing line: under the stated gas p(1), and in the same state without p_0


@dataclass(frozen=True)
class Companion:
    """The coarser mesh beside another. ratio : how much larger its elements are. safety : factor F_s."""

    ratio: float
    safety: float

    @property
    def share(self) -> float:
        """What a change between both meshes counts for: F_s / (r^p - 1)."""
        return self.safety / (self.ratio**ORDER - 1.0)


DOUBLED = Companion(2.0, 3.0)
# the plan of a cell keeps its lines on a coarser mesh, too: by the number of elements that is 1.2 to 1.45 times as
# coarse. The factor is Roache's for three meshes; that it does here is measured, by `python -m validation.mesh_error`
IN_SPACE = Companion(2.0**0.5, 1.25)


def companion(solid: bool) -> Companion:
    """Return what the coarser mesh is like, of a model in three dimensions or of one fastener."""
    return IN_SPACE if solid else DOUBLED


def mesh_error(fine: float, coarse: float, *, solid: bool = False) -> float:
    """Return the estimated error of `fine`, in its unit, from `coarse` on the coarser mesh of `companion`.

    Grid convergence index, F_s |f_2 - f_1| / (r^p - 1) (P. J. Roache, J. Fluids Eng. 116 (1994) 405; ASME V&V 20):
    F_s = 3 is that paper's for two meshes, whose order is not observed, and 1.25 for three. How well it covers the
    truth here is measured, by `python -m validation.mesh_error`.
    """
    change = abs(coarse - fine)
    return companion(solid).share * change if change > ROUNDING * abs(fine) else 0.0


def mesh_errors(
    fine: Sequence[float | None],
    coarse: Sequence[float | None],
    relieved: Sequence[Relieved | None] = (),
    coarse_relieved: Sequence[Relieved | None] = (),
    *,
    factors: bool = False,
    untold: float = 0.0,
    solid: bool = False,
) -> tuple[float | None, ...]:
    """Return the error of one figure in each of several states, None where either mesh has no figure.

    Two meshes may agree by chance in one state, hardly in most: relative to its value, a figure is off at least as the
    greatest one is, or as in half of the states where that is less. And what is small in one state is left over from
    what is large in another: it is off at least by a quarter of the greatest error - but for factors, which are large
    where little happens. What does not change at all is not of the mesh, and has none.

    relieved : of head-room on gas, as `head_room_error` takes it. factors : whether the figure is one. untold : share
    that it is off by at the least, for two meshes hardly tell more: of a factor itself, of another figure's median
    over the states, and by a quarter of that share of itself. solid : of `companion`.
    """
    own = [None if a is None or b is None else mesh_error(a, b, solid=solid) for a, b in zip(fine, coarse, strict=True)]
    for place, (kept, coarse_kept) in enumerate(zip(relieved, coarse_relieved, strict=True)):
        value, error = fine[place], own[place]
        if value is not None and error is not None and kept is not None and coarse_kept is not None:
            own[place] = max(error, head_room_error(value, kept, coarse_kept, solid=solid))
    changed = sorted((abs(value), error) for value, error in zip(fine, own, strict=True) if value and error)
    if not changed:
        return tuple(own)
    middle = (len(changed) - 1) // 2
    shares = [error / value for value, error in changed]
    relative = min(shares[-1], sorted(shares)[middle])
    if factors:
        relative, least = max(relative, untold), 0.0
    else:
        relative = max(relative, QUARTER * untold)
        least = max(QUARTER * max(error for _, error in changed), untold * changed[middle][0])
    return tuple(
        max(error, relative * abs(value), least) if value and error else error
        for value, error in zip(fine, own, strict=True)
    )


def head_room_error(factor: float, relieved: Relieved, coarse: Relieved, *, solid: bool = False) -> float:
    """Return the least error of a factor on gas, from what the sealing line keeps under the stated gas on two meshes.

    Gas takes the line's pressure in proportion, p(x) = p_0 - k x, and it falls short where that meets the need rho x:
    x = p_0 / (k + rho). An error of k is one of p(1), so that dx = x^2 dp(1) / p_0. For head-room in MPa p_0 counts
    times the stated gas.
    """
    (kept, standing), (coarse_kept, _) = relieved, coarse
    return factor**2 * mesh_error(kept, coarse_kept, solid=solid) / standing if standing > 0.0 else 0.0
