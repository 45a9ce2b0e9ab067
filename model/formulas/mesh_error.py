"""How far a figure may be from that of an ever finer mesh, from the same figure on a mesh of doubled element size."""

from __future__ import annotations

# stated, not observed, for observed ones jump: formal order of second-order elements, which a factor of 3 goes with;
# edges of contact and re-entrant corners hold it lower, which that factor covers
ORDER = 2.0
SAFETY = 3.0
ROUNDING = 1e-9  # of a figure, below which two meshes agree


def mesh_error(fine: float, coarse: float) -> float:
    """Return the estimated error of `fine`, in its unit, from `coarse` on a mesh of twice the element size.

    Grid convergence index, F_s |f_2 - f_1| / (r^p - 1) with r = 2 (P. J. Roache, J. Fluids Eng. 116 (1994) 405; ASME
    V&V 20): F_s = 3 is that paper's for two meshes, whose order is not observed; 1.25 would need three. How well it
    covers the truth here is measured, by `python -m validation.mesh_error`.
    """
    change = abs(coarse - fine)
    return SAFETY * change / (2.0**ORDER - 1.0) if change > ROUNDING * abs(fine) else 0.0


def mesh_errors(fine: tuple[float | None, ...], coarse: tuple[float | None, ...]) -> tuple[float | None, ...]:
    """Return the error of each of several figures, None where either mesh has no figure."""
    return tuple(
        None if one is None or other is None else mesh_error(one, other)
        for one, other in zip(fine, coarse, strict=True)
    )
