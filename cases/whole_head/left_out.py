"""What the modes of the faces leave out of a state: its energy, and by how much figures may be off for it.

Of the modes left out it is known what acts on them. With r that force, in modes of unit energy, the displacement that
is missing has the energy norm |e| = |r|: the rest of the head answers it by the square of the tolerance only. Where a
face is of one bore alone it is half as stiff as between two, and its r^2 counts twice; where the row's end begins, as
often as modes left out give way there at most.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from headjoint.cases.condensed.newton_step import Tangent
from headjoint.cases.condensed.reduced_joint import regularised
from headjoint.cases.load_cases.load_history import State
from headjoint.cases.whole_head.iteration import product_with
from headjoint.cases.whole_head.numbering import gathered, gathered_at_ends
from headjoint.cases.whole_head.row import Row
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.stud_bending import stiffened


def left_out(
    row: Row, q: FloatArray, factors: Mapping[str, float], acting: Sequence[FloatArray] | None = None
) -> float:
    """Return |e| in (N mm)^1/2 of a state with unknowns q (N,) under unit loads times `factors`.

    acting : by block of the row's stiffness, (copies, r) what else acts on its modes left out.
    """
    total = 0.0
    blocks = row.model.reduced.K.blocks  # type: ignore[attr-defined]
    bores, sides, end = row.numbers.bores, row.numbers.sides, row.tile.end
    for across, modes in row.tile.modes.items():
        sign = np.where(modes.beyond_normal, -1.0, 1.0)
        force = np.zeros((bores + 1, len(sign)))
        for number, (parity, part) in enumerate(row.tile.parts.items()):
            if parity[1] != across:
                continue
            own = blocks[number].own(q) @ part.beyond.T
            own -= gathered(part.loads_beyond, factors, bores, len(sign), sides)
            own -= 0.0 if acting is None else acting[number]
            force[1:] += np.sqrt(0.5) * own
            force[:-1] += np.sqrt(0.5) * parity[0] * sign * own
        if end is None:
            # a plane of symmetry bears what is normal to it
            force[[0, -1]] *= np.where(modes.beyond_normal, 0.0, np.sqrt(2.0))
        else:
            part = end.parts[across]
            number = len(row.tile.parts) + list(end.parts).index(across)
            given = gathered_at_ends(part.loads_beyond, factors, bores, len(sign), sides)
            own = blocks[number].own(q) @ part.beyond.T - given
            own -= 0.0 if acting is None else acting[number]
            force[[-1, 0]] += own * np.stack([np.ones(len(sign)), sign])
            force[[0, -1]] *= np.sqrt(end.softness[across])
        total += float(np.sum(force**2))
    return float(np.sqrt(total))


def figure_left_out(row: Row, state: State, figure: FloatArray, acting: Sequence[FloatArray] | None = None) -> float:
    """Return by how much a figure of a locked state may be off for what the modes leave out.

    figure : (N,) its derivative by the unknowns. acting : by modes left out, as in `left_out`, None where it does not
    go by them. With z the answer of the state's tangent to it, the error of the
    figure is a(e, e_z) <= |e| |e_z|: what is missing of the state times what is missing of z, so the tolerance
    counts twice.
    """
    reduced, factors = row.model.reduced, row.model.factors(state.case)
    if not figure.any():  # an open interface has no pressure to err in
        return 0.0
    spring = np.zeros(len(reduced.K))
    spring[reduced.overlaps] = reduced.share / reduced.series_compliance
    slope = reduced.weight * regularised(state.equilibrium.slope)
    tangent = Tangent(reduced.K, reduced.B, reduced.B.T.tocsr(), slope, spring, np.arange(len(spring)))
    answer = reduced.solver.solve(tangent, figure, 0.0)
    # once more for what that left, since little of an answer is missing, and that is wanted exactly
    answer = answer + reduced.solver.solve(tangent, figure - product_with(tangent, answer), 0.0)
    return left_out(row, state.equilibrium.q, factors) * left_out(row, answer, {}, acting)


def force_figure(row: Row, fastener: int) -> FloatArray:
    """Return the derivative (N,) of a locked fastener's force (N): its overlap slackens what is in series."""
    reduced = row.model.reduced
    figure = np.zeros(len(reduced.K))
    figure[reduced.overlaps[fastener]] = -1.0 / reduced.series_compliance[fastener]
    return figure


def pressure_figure(row: Row, state: State, point: int) -> FloatArray:
    """Return the derivative (N,) of the pressure (MPa) at an interface point."""
    return state.equilibrium.slope[point] * np.asarray(row.model.reduced.B[point].todense()).ravel()


def bending_left_out(row: Row, first: State, state: State, fastener: int) -> float:
    """Return by how much (MPa) the bending stress of a locked fastener may be off for what the modes leave out.

    first : as assembled, which slips are counted from. At the end of its free length that bends more, the way it bends
    there; of a nut that slides freely and of all nuts sticking, stiffened by tension.
    """
    watched, factors = row.watched, row.model.factors(state.case)
    gradients = watched.rows.gradients(state.equilibrium.q, factors)[fastener]
    at_thread, at_seat = gradients[:2], gradients[:2] + gradients[2:]
    upper = float(np.linalg.norm(at_seat) > np.linalg.norm(at_thread))
    way = at_seat if upper else at_thread
    along = np.concatenate([way, upper * way]) / max(float(np.linalg.norm(way)), 1e-300)
    sliding, sticking = along @ watched.sliding(fastener), along @ watched.sticking(fastener)
    joint, longer = row.model.cell.joint, watched.rows.longer
    stiffest = max(stiffened(joint, *one) for one in zip(state.force.tolist(), longer.tolist(), strict=True))
    found = []
    for figure in (sliding, sliding + stiffest * (sticking - sliding)):
        found.append(figure_left_out(row, state, figure @ watched.figures, watched.beyond(figure)))
    # what the modes leave out of the assembly is in the slips as well
    own = left_out(row, state.equilibrium.q, factors)
    assembled = left_out(row, first.equilibrium.q, row.model.factors(first.case))
    return max(found) * float(watched.rows.arm[fastener]) * (1.0 + assembled / max(own, 1e-300))
