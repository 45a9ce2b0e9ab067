"""The joint diagram: forces over stretch while a joint is tightened, and what combustion then does to it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.load_cases.load_history import gas_trial, pulled_in_steps
from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.joint.fields import RecoveredState, fastener_stretch
from headjoint.postproc.joint.findings import StateFindings
from headjoint.postproc.present.drawing import (
    CLAMPED,
    COLOURS,
    FASTENER,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    note,
    placed_axes,
)
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TIGHTENING_STEPS, GAS_STEPS = 12, 4
PANEL = 3.55  # inches, height of one of the two
DOTTED, DASHED = (0, (2, 2)), (0, (4, 2))


def joint_diagram(
    solved: SolvedJoint, states: Sequence[StateFindings], assembled: RecoveredState, units: str = "si"
) -> Figure:
    """Forces over stretch: the tightening, and what combustion then does to fastener and gasket.

    Every curve is solved, not sketched. The overlap pulled in divides into what the fastener stretches, read
    at its bearing face, and what the clamped parts and the gasket close. Bodies and threads are linear, so the
    fastener's line is straight; the gasket's laws bend the other.
    """
    scales = Scales(units)
    fired = [state for state in states if state.gas_force > 0.0]
    height = 9.4 if fired else 5.2
    figure = blank_figure(PAGE, height)
    headline(figure, f"Joint diagram, nominal preload: {solved.joint.name}")
    stretch = fastener_stretch(solved, assembled)
    top = 1.27 * scales.force(max(solved.nominal.preload, *(state.fastener_force for state in states)))
    place = (0.13, 1.0 - (1.0 + PANEL) / height, 0.85, PANEL / height)
    left = placed_axes(
        figure, place, "tightening", scales.small.axis("overlap pulled in"), scales.force.axis("force per fastener")
    )
    _draw_tightening(left, solved, stretch, scales)
    left.set_ylim(0, top)
    if fired:
        worst = max(fired, key=lambda state: state.gas_force)
        title = f"{worst.name}: {scales.force.text(worst.gas_force)} of gas per fastener"
        across = scales.small.axis("stretch of the fastener that gas adds")
        place = (0.13, 0.55 / height, 0.85, PANEL / height)
        right = placed_axes(figure, place, title, across, scales.force.axis("force per fastener"))
        _draw_gas(right, solved, worst, stretch / solved.nominal.preload, scales)
        right.set_ylim(0, top)
    return figure


def _dimension(axes: Any, start: tuple[float, float], end: tuple[float, float], colour: str, style: str) -> None:
    arrow = {"arrowstyle": style, "color": colour, "linewidth": 1.3, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", end, xytext=start, arrowprops=arrow)


def _draw_tightening(axes: Any, solved: SolvedJoint, stretch: float, scales: Scales) -> None:
    """Draw how fastener and gasket take the overlap; stretch : of the fastener at assembly, mm."""
    overlaps, forces = tightening_curve(solved)
    preload = forces[-1]
    stretched = stretch * forces / preload
    closed = overlaps - stretched
    relief = solved.nominal.relief_compliance - stretch / preload
    relieved = stretch + relief * (preload - forces)
    force, along = scales.force(forces), scales.small
    axes.plot(along(stretched), force, color=FASTENER, linewidth=2.2, label="fastener, stretch solved")
    axes.plot(along(overlaps[-1] - closed), force, color=CLAMPED, linewidth=2.2, label="clamped parts and gasket")
    label = "the same when first relieved (gasket keeps its set)"
    axes.plot(along(relieved), force, color=CLAMPED, linewidth=1.1, linestyle=DASHED, label=label)
    middle, end, top = along(stretch), along(overlaps[-1]), force[-1]
    axes.plot([middle, middle], [0, top], color=QUIET, linewidth=0.8, linestyle=DOTTED)
    axes.plot([middle], [top], "o", color=COLOURS["assembly"], markersize=6)
    note(axes, f"assembly, F_M = {scales.force.text(preload)}", (middle, top), (-9, 0), ha="right", va="center")
    low = 0.05 * top
    _dimension(axes, (0.0, low), (middle, low), FASTENER, "<->")
    text = f"stretches {along.text(stretch, '.0f')}"
    note(axes, text, (middle, low), (-8, 4), ha="right", va="bottom", color=FASTENER)
    _dimension(axes, (middle, low), (end, low), CLAMPED, "<->")
    note(axes, f"closes\n{along.text(closed[-1], '.0f')}", (end, low), (5, -3), va="bottom", color=CLAMPED)
    axes.set_xlim(0, 1.2 * end)
    axes.legend(loc="upper left", frameon=False, fontsize=9)


def _draw_gas(axes: Any, solved: SolvedJoint, state: StateFindings, resilience: float, scales: Scales) -> None:
    """Draw fastener force F_S and gasket clamp F_K as combustion grows from nothing to its full force F_A.

    resilience : of the fastener, mm/N.
    """
    force, gas = gas_curve(solved, state.name)
    shown, words = scales.force, scales.force.text
    clamp = force - gas
    added = scales.small(resilience * (force - force[0]))
    rest, full, residual, end = shown(force[0]), shown(force[-1]), shown(clamp[-1]), float(added[-1])
    unit = max(abs(end), scales.small(1e-9))
    start, first, second = -1.1 * unit, end + 0.2 * unit, end + 1.65 * unit
    axes.plot(added, shown(force), color=FASTENER, linewidth=2.2)
    axes.plot(added, shown(clamp), color=CLAMPED, linewidth=2.2)
    axes.plot([start, second + 0.1 * unit], [rest, rest], color=QUIET, linewidth=0.8, linestyle=DOTTED)
    for height, reach in ((full, first), (residual, second)):
        axes.plot([end, reach + 0.1 * unit], [height, height], color=QUIET, linewidth=0.6)
    axes.plot([0.0], [rest], "o", color=COLOURS["hot"], markersize=6)
    axes.plot([end, end], [full, residual], "o", color=COLOURS["firing"], markersize=6)
    note(axes, f"without gas\n{words(force[0])}", (start, rest), (0, -5), va="top")
    text = f"fastener\nF_S = {words(force[-1])}"
    note(axes, text, (end, full), (-4, 9), ha="right", va="bottom", color=FASTENER)
    text = f"gasket\nF_K = {words(clamp[-1])}"
    note(axes, text, (end, residual), (0, -10), ha="center", va="top", color=CLAMPED)
    _dimension(axes, (first, residual), (first, full), COLOURS["firing"], "<->")
    share = 100.0 * (force[-1] - force[0]) / gas[-1]
    middle = (full + residual) / 2
    note(axes, f"gas\nF_A = {words(gas[-1])}", (first, middle), (6, 0), va="center", color=COLOURS["firing"])
    _dimension(axes, (second, rest), (second, residual), CLAMPED, "->")
    text = f"off the gasket\nF_PA = {words(force[0] - clamp[-1])}\n({100 - share:.1f} %)"
    note(axes, text, (second, middle), (6, 0), va="center", color=CLAMPED)
    text = f"into the fastener\nF_SA = {words(force[-1] - force[0], '.2f')} ({share:.1f} %)"
    note(axes, text, (first, max(full, rest)), (6, 9), va="bottom", color=FASTENER)
    axes.set_xlim(-1.2 * unit, second + 1.5 * unit)
    axes.set_xticks([0.0, end], ["0", f"{end:.2g}"])


def tightening_curve(solved: SolvedJoint) -> tuple[FloatArray, FloatArray]:
    """Return overlaps (mm) and forces (N) of tightening in steps from nothing to the preload."""
    shares = np.linspace(0.04, 1.0, TIGHTENING_STEPS)
    states = list(pulled_in_steps(solved.nominal.model, np.array([solved.nominal.preload]), shares))
    return np.array([0.0, *(one.overlap[0] for one in states)]), np.array([0.0, *(one.force[0] for one in states)])


def gas_curve(solved: SolvedJoint, name: str) -> tuple[FloatArray, FloatArray]:
    """Return fastener and gas forces (N) as combustion grows from nothing, overlap and set held as found."""
    model, state = solved.nominal.model, solved.nominal.state(name)
    shares = np.linspace(0.0, 1.0, GAS_STEPS + 1)
    forces, start = [], state.equilibrium.q
    for share in shares:
        found = gas_trial(model, state, float(share), start)
        start = found.q
        forces.append(float(found.force[0]))
    return np.array(forces), shares * state.case.gas_force
