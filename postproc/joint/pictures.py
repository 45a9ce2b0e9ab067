"""Pictures of a solved joint, drawn without a screen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.condensed.reduced_joint import grown_set, solve
from headjoint.cases.load_cases.load_history import demand_of, gas_trial
from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.postproc.joint.fields import (
    RecoveredState,
    cell_nodes,
    corner_values,
    fastener_stretch,
    part_edges,
    von_mises,
)
from headjoint.postproc.joint.findings import StateFindings
from headjoint.postproc.present.drawing import (
    CLAMPED,
    COLOURS,
    DASHES,
    FASTENER,
    INK,
    QUIET,
    Place,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PART_COLOURS = {"fastener": "#8d99a8", "nut": "#b5a27a", "washer": "#6f7f72", "head": "#d6dde4", "block": "#c3b9ae"}
TIGHTENING_STEPS, GAS_STEPS = 12, 4


def draw_all(
    solved: SolvedJoint, states: Sequence[StateFindings], recovered: dict[str, RecoveredState], folder: Path
) -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    return save_pictures(
        (
            ("contact_pressure", lambda: contact_pressure(solved, states)),
            ("joint_diagram", lambda: joint_diagram(solved, states, recovered[states[0].name])),
            ("clamp_history", lambda: clamp_history(solved)),
            ("section", lambda: section(solved, recovered)),
        ),
        folder,
    )


def _note(axes: Any, text: str, place: tuple[float, float], shift: tuple[float, float], **more: Any) -> None:
    """Write `text` at a data place, shifted by points."""
    axes.annotate(text, place, xytext=shift, textcoords="offset points", **{"fontsize": 9, "color": INK} | more)


def _dimension(axes: Any, start: tuple[float, float], end: tuple[float, float], colour: str, style: str) -> None:
    arrow = {"arrowstyle": style, "color": colour, "linewidth": 1.3, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", end, xytext=start, arrowprops=arrow)


def contact_pressure(solved: SolvedJoint, states: Sequence[StateFindings]) -> Figure:
    """Contact pressure over radius in every state, with the sealing line and what it needs.

    States of one kind share its colour; the second and later of them are told apart by their dashes.
    """
    joint = solved.joint
    figure = blank_figure(10, 5.6)
    headline(figure, f"Gasket contact pressure, nominal preload: {joint.name}")
    place = (0.068, 0.10, 0.74, 0.82)
    axes = placed_axes(figure, place, "", "radius from the fastener's axis, mm", "contact pressure, MPa")
    top = max(float(state.profile.pressure.max()) for state in states)
    sealing = joint.gasket.sealing_zone
    for number, zone in enumerate(joint.gasket.zones):
        inner, outer = zone.inner_diameter / 2, zone.outer_diameter / 2
        axes.axvspan(inner, outer, color="#f3f5f7" if number % 2 else "#e6eaee", zorder=0)
        axes.text((inner + outer) / 2, 1.15 * top, zone.name, ha="center", va="center", fontsize=9, color=QUIET)
    for number, state in enumerate(states):
        names = np.array(state.profile.zone)
        again = sum(other.kind == state.kind for other in states[:number])
        dashes = DASHES[state.kind] if again == 0 else (0, (7.0, *(1.5, 1.5) * again, 1.5))
        look = {"color": COLOURS[state.kind], "linestyle": dashes, "linewidth": 1.8}
        for index, zone in enumerate(joint.gasket.zones):
            at = names == zone.name
            label = state.name if index == 0 else None
            axes.plot(state.profile.radius[at], state.profile.pressure[at], label=label, **look)
    line = sealing.sealing_diameter / 2
    axes.plot([line, line], [0.0, 1.08 * top], color=INK, linewidth=0.8)
    to_left = line > np.mean(axes.get_xlim())
    side = "right" if to_left else "left"
    _note(axes, "sealing line", (line, 1.08 * top), (-4 if to_left else 4, 0), ha=side, va="top")
    hardest = max(states, key=lambda state: state.need.over(sealing.line_width))
    needed = hardest.need.over(sealing.line_width)
    axes.plot(
        [sealing.inner_diameter / 2, sealing.outer_diameter / 2],
        [needed] * 2,
        color=INK,
        linestyle=(0, (2.5, 1.2)),
        linewidth=2.2,
        label=f"needed at {hardest.name}:\n{needed:.1f} MPa",
    )
    axes.set_ylim(0, 1.2 * top)
    axes.legend(loc="center left", bbox_to_anchor=(1.005, 0.5), frameon=False, fontsize=9)
    return figure


def joint_diagram(solved: SolvedJoint, states: Sequence[StateFindings], assembled: RecoveredState) -> Figure:
    """Forces over stretch: the tightening, and what combustion then does to fastener and gasket.

    Every curve is solved, not sketched. The overlap pulled in divides into what the fastener stretches, read
    at its bearing face, and what the clamped parts and the gasket close. Bodies and threads are linear, so the
    fastener's line is straight; the gasket's laws bend the other.
    """
    figure = blank_figure(10.4, 5.6)
    headline(figure, f"Joint diagram, nominal preload: {solved.joint.name}")
    fired = [state for state in states if state.gas_force > 0.0]
    stretch = fastener_stretch(solved, assembled)
    top = max(solved.nominal.preload / 1e3, *(state.fastener_force / 1e3 for state in states))
    place = (0.062, 0.10, 0.435 if fired else 0.70, 0.78)
    left = placed_axes(figure, place, "tightening", "overlap pulled in, mm", "force, kN")
    _draw_tightening(left, solved, stretch)
    left.set_ylim(0, 1.27 * top)
    if fired:
        worst = max(fired, key=lambda state: state.gas_force)
        title = f"{worst.name}: {worst.gas_force / 1e3:.1f} kN of gas per fastener"
        place = (0.545, 0.10, 0.44, 0.78)
        right = placed_axes(figure, place, title, "stretch of the fastener that gas adds, µm", "")
        _draw_gas(right, solved, worst, stretch / solved.nominal.preload)
        right.set_ylim(0, 1.27 * top)
    return figure


def _draw_tightening(axes: Any, solved: SolvedJoint, stretch: float) -> None:
    overlaps, forces = tightening_curve(solved)
    end, preload = overlaps[-1], forces[-1]
    stretched = stretch * forces / preload
    closed = overlaps - stretched
    relief = solved.nominal.relief_compliance * 1e3 - stretch / preload
    relieved = stretch + relief * (preload - forces)
    axes.plot(stretched, forces, color=FASTENER, linewidth=2.2, label="fastener")
    axes.plot(end - closed, forces, color=CLAMPED, linewidth=2.2, label="clamped parts and gasket")
    label = "the same when first relieved (gasket keeps its set)"
    axes.plot(relieved, forces, color=CLAMPED, linewidth=1.1, linestyle=(0, (4, 2)), label=label)
    axes.plot([stretch, stretch], [0, preload], color=QUIET, linewidth=0.8, linestyle=(0, (2, 2)))
    axes.plot([stretch], [preload], "o", color=COLOURS["assembly"], markersize=6)
    _note(axes, f"assembly, F_M = {preload:.1f} kN", (stretch, preload), (-9, 0), ha="right", va="center")
    low = 0.05 * preload
    _dimension(axes, (0.0, low), (stretch, low), FASTENER, "<->")
    _note(axes, f"stretches {1e3 * stretch:.0f} µm", (stretch, low), (-8, 4), ha="right", va="bottom", color=FASTENER)
    _dimension(axes, (stretch, low), (end, low), CLAMPED, "<->")
    _note(axes, f"closes\n{1e3 * closed[-1]:.0f} µm", (end, low), (5, 0), va="center", color=CLAMPED)
    axes.set_xlim(0, 1.2 * end)
    axes.legend(loc="upper left", frameon=False, fontsize=9)


def _draw_gas(axes: Any, solved: SolvedJoint, state: StateFindings, resilience: float) -> None:
    """Draw fastener force F_S and gasket clamp F_K as combustion grows from nothing to its full force F_A."""
    force, gas = gas_curve(solved, state.name)
    clamp = force - gas
    added = 1e6 * resilience * (force - force[0])  # mm/N times kN, in um
    rest, full, residual, end = force[0], force[-1], clamp[-1], added[-1]
    unit = max(abs(end), 1e-6)
    start, first, second = -1.1 * unit, end + 0.2 * unit, end + 1.4 * unit
    axes.plot(added, force, color=FASTENER, linewidth=2.2)
    axes.plot(added, clamp, color=CLAMPED, linewidth=2.2)
    axes.plot([start, second + 0.1 * unit], [rest, rest], color=QUIET, linewidth=0.8, linestyle=(0, (2, 2)))
    for height, reach in ((full, first), (residual, second)):
        axes.plot([end, reach + 0.1 * unit], [height, height], color=QUIET, linewidth=0.6)
    axes.plot([0.0], [rest], "o", color=COLOURS["hot"], markersize=6)
    axes.plot([end, end], [full, residual], "o", color=COLOURS["firing"], markersize=6)
    _note(axes, f"without gas\n{rest:.1f} kN", (start, rest), (0, -5), va="top")
    _note(axes, f"fastener\nF_S = {full:.1f} kN", (end, full), (-4, 9), ha="right", va="bottom", color=FASTENER)
    _note(axes, f"gasket\nF_K = {residual:.1f} kN", (end, residual), (0, -10), ha="center", va="top", color=CLAMPED)
    _dimension(axes, (first, residual), (first, full), COLOURS["firing"], "<->")
    share = 100.0 * (full - rest) / gas[-1]
    middle = (full + residual) / 2
    _note(axes, f"gas\nF_A = {gas[-1]:.1f} kN", (first, middle), (6, 0), va="center", color=COLOURS["firing"])
    _dimension(axes, (second, rest), (second, residual), CLAMPED, "->")
    text = f"off the gasket\nF_PA = {rest - residual:.1f} kN\n({100 - share:.1f} %)"
    _note(axes, text, (second, middle), (6, 0), va="center", color=CLAMPED)
    text = f"into the fastener\nF_SA = {full - rest:.2f} kN ({share:.1f} %)"
    _note(axes, text, (first, max(full, rest)), (6, 9), va="bottom", color=FASTENER)
    axes.set_xlim(-1.2 * unit, second + 1.25 * unit)
    axes.set_xticks([0.0, end], ["0", f"{end:.2g}"])


def tightening_curve(solved: SolvedJoint) -> tuple[np.ndarray, np.ndarray]:
    """Return overlaps (mm) and forces (kN) of tightening in steps from nothing to the preload."""
    model, reduced = solved.nominal.model, solved.nominal.reduced
    case = solved.joint.load_cases[0]
    permanent_set, start = np.zeros(reduced.points), None
    overlaps, forces = [0.0], [0.0]
    for share in np.linspace(0.04, 1.0, TIGHTENING_STEPS):
        demand = demand_of(model, case, force=np.array([share * solved.nominal.preload]))
        state = solve(reduced, demand, permanent_set, start)
        permanent_set = grown_set(reduced, state, permanent_set, demand.gasket_temperature)
        start = state.q
        overlaps.append(float(state.overlap[0]))
        forces.append(float(state.force[0]) / 1e3)
    return np.array(overlaps), np.array(forces)


def gas_curve(solved: SolvedJoint, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return fastener and gas forces (kN) as combustion grows from nothing, overlap and set held as found."""
    model, state = solved.nominal.model, solved.nominal.state(name)
    shares = np.linspace(0.0, 1.0, GAS_STEPS + 1)
    forces, start = [], state.equilibrium.q
    for share in shares:
        found = gas_trial(model, state, float(share), start)
        start = found.q
        forces.append(float(found.force[0]) / 1e3)
    return np.array(forces), shares * state.case.gas_force / 1e3


def clamp_history(solved: SolvedJoint) -> Figure:
    """Fastener force and clamp on the gasket through all states, at the three preloads of the scatter."""
    joint = solved.joint
    figure = blank_figure(10, 6.4)
    headline(figure, f"Clamp through the history: {joint.name}")
    axes = placed_axes(figure, (0.17, 0.31, 0.82, 0.60), "", "", "force per fastener, kN")
    states = solved.nominal.states
    x, gas = np.arange(len(states)), np.array([state.case.gas_force for state in states]) / 1e3
    beside = (gas > 0) | np.append(gas[1:] > 0, False) | np.append(False, gas[:-1] > 0)
    rows: list[tuple[str, str, list[str]]] = []
    for name, history in solved.histories.items():
        force = np.array([state.force[0] for state in history.states]) / 1e3
        clamp = force - gas
        main = name == "nominal"
        look = {"linewidth": 2.2, "markersize": 6} if main else {"linewidth": 1.1, "alpha": 0.6, "markersize": 4}
        label = "fastener force (thin: least and greatest preload)" if main else None
        axes.plot(x, force, "o-", color=FASTENER, label=label, **look)
        rows.insert(0, (f"fastener, {name}", FASTENER, [f"{f:.1f} kN  {100 * f / force[0]:.1f} %" for f in force]))
        if beside.any():
            label = "clamp on the gasket, where gas takes part of it" if main else None
            axes.plot(x, np.where(beside, clamp, np.nan), "s--", color=CLAMPED, label=label, zorder=1.9, **look)
            entries = [f"{c:.1f} kN  {100 * c / force[0]:.1f} %" for c in clamp]
            entries = [entry if g > 0 else "" for entry, g in zip(entries, gas, strict=True)]
            rows.append((f"gasket under gas, {name}", CLAMPED, entries))
    cold = [place for place, state in enumerate(states) if state.kind == "cold"]
    needed = joint.requirements.clamp_kept
    floor = needed * float(states[0].force[0]) / 1e3
    label = f"needed when cold, judged at the nominal preload: {100 * needed:.0f} % of assembly, {floor:.1f} kN"
    for place in cold:
        own = label if place == cold[0] else None
        axes.plot([place - 0.25, place + 0.25], [floor, floor], color=COLOURS["cold"], linewidth=2.4, label=own)
    axes.set_xticks(x, [state.name for state in states])
    axes.set_xlim(-0.5, len(x) - 0.5)
    axes.set_ylim(0, 1.08 * max(state.force[0] for state in solved.greatest.states) / 1e3)
    axes.legend(loc="lower left", frameon=False, fontsize=9)
    # least came first, so the gasket's rows stand the other way round
    ordered = [row for row in rows if row[1] == FASTENER] + [row for row in reversed(rows) if row[1] == CLAMPED]
    for number, (name, colour, entries) in enumerate(ordered):
        line = {"color": colour, "fontsize": 9, "fontweight": "bold" if name.endswith("nominal") else "normal"}
        height = 0.235 - 0.036 * number
        figure.text(0.012, height, name, **line)
        for place, entry in enumerate(entries):
            figure.text(0.17 + 0.82 * (place + 0.5) / len(x), height, entry, ha="center", **line)
    figure.text(0.99, 0.012, "per cent of the assembly force of the same preload", ha="right", fontsize=8, color=QUIET)
    return figure


def section(solved: SolvedJoint, recovered: dict[str, RecoveredState]) -> Figure:
    """Section through the axis, whole and around the gasket.

    Displacement is the change since assembly, magnified: what heat and gas do to the tightened joint.
    """
    shown = _state_to_show(recovered)
    fields, first = recovered[shown], next(iter(recovered.values()))
    nodes = cell_nodes(solved)[:, :4]
    places = solved.assembled.body.basis.doflocs.T
    change = fields.nodal - first.nodal
    factor = _nice(0.05 * np.ptp(places[:, 1]) / max(np.abs(change).max(), 1e-9))
    parts = solved.assembled.joint_mesh
    built, displaced = places[nodes] * [-1.0, 1.0], (places + factor * change)[nodes]

    figure = blank_figure(10.5, 7.8)
    headline(figure, f"{solved.joint.name}: {shown}, displacement since assembly magnified {factor:g} times")
    whole = _panel(figure, (0.065, 0.17, 0.36, 0.735), "left: parts as built; right: von Mises stress")
    close = _panel(figure, (0.475, 0.17, 0.515, 0.735), "around the gasket: axial stress of head and block")
    reach = np.abs(places[:, 0]).max()
    low, high = places[:, 1].min(), places[:, 1].max()
    edges = part_edges(solved)
    _paint(whole, built, parts.part, parts.parts)
    stress = np.maximum(corner_values(solved, von_mises(fields.stress)), 0.0)
    limit = float(np.quantile(stress, 0.99))
    painted = _shade(whole, displaced, stress, (0.0, limit), "viridis")
    whole.axvline(0.0, color=INK, linewidth=0.6, linestyle=(0, (8, 3, 2, 3)))
    for index in np.unique(parts.part):
        own = places[nodes[parts.part == index]].mean(axis=1)
        _label_part(whole, parts.parts[index], own, solved.joint.fastener.kind)
    for at in (places * [-1.0, 1.0], places + factor * change):
        _draw_lines(whole, at[edges])
    whole.set_xlim(-2.2 * reach, 1.15 * reach)
    whole.set_xticks([-reach, 0.0, reach], [f"{reach:g}", "0", f"{reach:g}"])
    whole.set_ylim(low - 0.02 * (high - low), high + 0.09 * (high - low))
    whole.set_ylabel("height over the block deck, mm")
    text = f"MPa; colours end at {limit:.0f}, the 99th percentile"
    _colour_bar(figure, painted, (0.065, 0.075, 0.36, 0.02), text)

    axial = corner_values(solved, fields.stress[:, :, 1])
    clamped = np.isin(parts.part, [parts.parts.index("head"), parts.parts.index("block")])
    window = 0.62 * reach
    near = clamped & (np.abs(places[nodes, 1].mean(axis=1)) < window)
    limit = float(np.quantile(np.abs(axial[near]), 0.99))
    _paint(close, displaced[~clamped], parts.part[~clamped], parts.parts)
    painted = _shade(close, displaced[clamped], axial[clamped], (-limit, limit), "RdBu_r")
    _draw_lines(close, (places + factor * change)[edges])
    _draw_gasket(close, solved, places + factor * change)
    middle = factor * float(np.median(change[np.abs(places[:, 1]) < 1.0, 1]))
    close.set_xlim(0.0, 1.08 * reach)
    close.set_ylim(middle - window, middle + window)
    text = f"MPa, blue is pressed; colours end at {limit:.0f}, the 99th percentile; corners go higher"
    _colour_bar(figure, painted, (0.475, 0.075, 0.515, 0.02), text)
    return figure


def _panel(figure: Figure, place: Place, title: str) -> Any:
    axes = figure.add_axes(place)
    axes.set_title(title, loc="left", fontsize=10, color=INK)
    axes.set_aspect("equal")
    axes.set_xlabel("radius, mm")
    axes.spines[["top", "right"]].set_visible(False)
    return axes


def _colour_bar(figure: Figure, painted: Any, place: Place, text: str) -> None:
    figure.colorbar(painted, cax=figure.add_axes(place), orientation="horizontal").set_label(text, fontsize=9)


def _draw_lines(axes: Any, lines: np.ndarray) -> None:
    from matplotlib.collections import LineCollection

    axes.add_collection(LineCollection(lines, colors=INK, linewidths=0.5))


def _draw_gasket(axes: Any, solved: SolvedJoint, displaced: np.ndarray) -> None:
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
            _note(axes, f"sealing zone: {face.name}", tuple(upper.mean(axis=0)), (30, 70), arrowprops=arrow)


def _paint(axes: Any, corners: np.ndarray, part: np.ndarray, names: Sequence[str]) -> None:
    """Draw quadrilaterals (m, 4, 2) in the colours of their parts."""
    from matplotlib.colors import ListedColormap

    colours = ListedColormap([PART_COLOURS[name] for name in names])
    _shade(axes, corners, np.repeat(part[:, None], 4, axis=1), (0.0, len(names) - 1.0), colours)


def _shade(axes: Any, corners: np.ndarray, values: np.ndarray, limits: tuple[float, float], colour_map: Any) -> Any:
    """Draw quadrilaterals (m, 4, 2) shaded between values (m, 4) at their corners, clipped to `limits`."""
    from matplotlib.collections import TriMesh
    from matplotlib.tri import Triangulation

    number = np.arange(corners.shape[0] * 4).reshape(-1, 4)
    triangles = np.concatenate([number[:, [0, 1, 2]], number[:, [0, 2, 3]]])
    drawn = TriMesh(Triangulation(*corners.reshape(-1, 2).T, triangles), cmap=colour_map)
    drawn.set_array(np.clip(values.ravel(), *limits))
    drawn.set_clim(*limits)
    axes.add_collection(drawn)
    return drawn


def _state_to_show(recovered: dict[str, RecoveredState]) -> str:
    """Return the state under the most gas, else the hottest."""
    cases = {name: fields.state.case for name, fields in recovered.items()}
    return max(cases, key=lambda name: (cases[name].gas_force, cases[name].temperatures["head"]))


def _label_part(axes: Any, name: str, centres: np.ndarray, kind: str) -> None:
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
    axes.annotate(
        text,
        place,
        xytext=(-9 if kind == "bolt" and name == "fastener" else -30, lift),
        textcoords="offset points",
        ha="right",
        fontsize=9,
        color=INK,
        arrowprops={"arrowstyle": "-", "color": "#9aa1aa", "linewidth": 0.8},
    )


def _nice(value: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at most `value`."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= value))
