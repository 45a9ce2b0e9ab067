"""Pictures of a solved joint, drawn without a screen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.history import demand_of
from headjoint.cases.reduced import grown_set, solve
from headjoint.cases.single import SolvedJoint
from headjoint.postproc.fields import RecoveredState, cell_nodes, von_mises
from headjoint.postproc.findings import StateFindings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DPI = 130
INK = "#22252b"
# one colour per kind of state, told apart also by people who see few colours
COLOURS = {
    "assembly": "#3b6ea5",
    "settled": "#7fa8c9",
    "hot": "#d98324",
    "firing": "#a8323e",
    "cold": "#2f8f83",
}
DASHES = {"assembly": "-", "settled": (0, (4, 2)), "hot": "-", "firing": "-", "cold": (0, (1, 1.2))}
PART_COLOURS = {"fastener": "#8d99a8", "nut": "#b5a27a", "washer": "#6f7f72", "head": "#d6dde4", "block": "#c3b9ae"}


def draw_all(
    solved: SolvedJoint, states: Sequence[StateFindings], recovered: dict[str, RecoveredState], folder: Path
) -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    drawn = []
    for name, draw in (
        ("contact_pressure", lambda: contact_pressure(solved, states)),
        ("joint_diagram", lambda: joint_diagram(solved, states)),
        ("clamp_history", lambda: clamp_history(solved)),
        ("section", lambda: section(solved, recovered)),
    ):
        path = folder / f"{name}.png"
        draw().savefig(path, dpi=DPI)
        drawn.append(path)
    return drawn


def _figure(width: float, height: float) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained", facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def _axes(figure: Figure, title: str, across: str, up: str) -> Any:
    axes = figure.add_subplot()
    axes.set_title(title, loc="left", fontsize=12, color=INK)
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#e6e8eb", linewidth=0.8)
    axes.set_axisbelow(True)
    return axes


def contact_pressure(solved: SolvedJoint, states: Sequence[StateFindings]) -> Figure:
    """Contact pressure over radius in every state, with the sealing line and what it needs."""
    joint = solved.joint
    figure = _figure(10, 5.6)
    axes = _axes(figure, f"Gasket contact pressure: {joint.name}", "radius from the fastener's axis, mm", "MPa")
    top = max(float(state.profile.pressure.max()) for state in states)
    for number, zone in enumerate(joint.gasket.zones):
        inner, outer = zone.inner_diameter / 2, zone.outer_diameter / 2
        axes.axvspan(inner, outer, color="#f1f3f5" if number % 2 else "#e4e8ec", zorder=0)
        axes.text((inner + outer) / 2, 1.10 * top, zone.name, ha="center", va="center", fontsize=9, color="#555b63")
    for state in states:
        profile = state.profile
        names = np.array(profile.zone)
        for index, zone in enumerate(joint.gasket.zones):
            at = names == zone.name
            axes.plot(
                profile.radius[at],
                profile.pressure[at],
                color=COLOURS[state.kind],
                linestyle=DASHES[state.kind],
                linewidth=1.8,
                label=state.name if index == 0 else None,
            )
    sealing = joint.gasket.sealing_zone
    line = sealing.sealing_diameter / 2
    axes.axvline(line, color=INK, linewidth=0.8, linestyle=(0, (6, 3)))
    axes.annotate(
        "sealing line", (line, 1.02 * top), ha="right", xytext=(-4, 0), textcoords="offset points", fontsize=9
    )
    hardest = max(states, key=lambda state: state.sealing_needed)
    axes.plot(
        [sealing.inner_diameter / 2, sealing.outer_diameter / 2],
        [hardest.sealing_needed] * 2,
        color=INK,
        linewidth=2.2,
        label=f"needed at {hardest.name}: {hardest.sealing_needed:.1f} MPa",
    )
    axes.set_ylim(0, 1.16 * top)
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, fontsize=9)
    return figure


def joint_diagram(solved: SolvedJoint, states: Sequence[StateFindings]) -> Figure:
    """Force over overlap while tightening, and what combustion does to fastener and gasket afterwards.

    The curve is solved, not sketched: the joint is tightened in steps, the gasket taking its set.
    """
    joint, history = solved.joint, solved.nominal
    overlaps, forces = _tightening_curve(solved)
    figure = _figure(10, 5.6)
    axes = _axes(figure, f"Joint diagram: {joint.name}", "overlap pulled in by tightening, mm", "kN")
    axes.plot(overlaps, forces, color=COLOURS["assembly"], linewidth=2.2, label="clamp while tightening")
    end = overlaps[-1]
    axes.plot(
        end - (forces[-1] - forces) * 1e3 * history.relief_compliance,
        forces,
        color=COLOURS["assembly"],
        linewidth=1.2,
        linestyle=(0, (4, 2)),
        label="clamp when loosened again (gasket keeps its set)",
    )
    fired = [state for state in states if state.gas_force > 0.0]
    for number, state in enumerate(fired):
        place = end * (1.10 + 0.16 * number)
        force, residual = state.fastener_force / 1e3, state.gasket_force / 1e3
        at_rest = force - (state.load_factor or 0.0) * state.gas_force / 1e3
        axes.plot([end, place], [at_rest, at_rest], color="#9aa1aa", linewidth=0.8, linestyle=(0, (2, 2)))
        if number == 0:
            note = f"without gas {at_rest:.1f} kN"
            axes.annotate(note, (end, at_rest), xytext=(-6, -3), textcoords="offset points", ha="right", fontsize=9)
        axes.vlines(place, residual, force, color=COLOURS["firing"], linewidth=2.2)
        for value, text, below in (
            (force, f"fastener {force:.1f}", False),
            (residual, f"gasket {residual:.1f}", True),
        ):
            axes.plot([place], [value], "o", color=COLOURS["firing"], markersize=6)
            axes.annotate(
                f"{text} kN",
                (place, value),
                xytext=(0, -14 if below else 8),
                textcoords="offset points",
                ha="center",
                fontsize=9,
            )
        share = f"{100 * (state.load_factor or 0):.1f} % of it\nin the fastener"
        axes.annotate(
            f"{state.name}\ngas {state.gas_force / 1e3:.1f} kN,\n{share}",
            (place, (force + residual) / 2),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            fontsize=9,
        )
    axes.plot([end], [forces[-1]], "o", color=COLOURS["assembly"], markersize=6)
    note = f"assembly {forces[-1]:.1f} kN"
    axes.annotate(note, (end, forces[-1]), xytext=(-10, 0), textcoords="offset points", ha="right", fontsize=9)
    axes.set_xlim(0, end * (1.3 + 0.16 * max(0, len(fired) - 1)))
    axes.set_ylim(0, 1.15 * max([forces[-1], *(s.fastener_force / 1e3 for s in states)]))
    axes.legend(loc="upper left", frameon=False, fontsize=9)
    return figure


def _tightening_curve(solved: SolvedJoint) -> tuple[np.ndarray, np.ndarray]:
    """Return overlaps (mm) and forces (kN) of tightening in steps from nothing to the preload."""
    joint, reduced = solved.joint, solved.nominal.reduced
    case = joint.load_cases[0]
    permanent_set, start = np.zeros(reduced.points), None
    overlaps, forces = [0.0], [0.0]
    for share in np.linspace(0.04, 1.0, 16):
        demand = demand_of(joint, reduced, case, force=share * solved.nominal.preload)
        state = solve(reduced, demand, permanent_set, start)
        permanent_set = grown_set(reduced, state, permanent_set, demand.gasket_temperature)
        start = state.q
        overlaps.append(float(state.overlap[0]))
        forces.append(float(state.force[0]) / 1e3)
    return np.array(overlaps), np.array(forces)


def clamp_history(solved: SolvedJoint) -> Figure:
    """Fastener force and clamp on the gasket through all states, for the scatter of tightening."""
    joint = solved.joint
    figure = _figure(10, 5.6)
    axes = _axes(figure, f"Clamp through the history: {joint.name}", "", "kN per fastener")
    least, nominal, greatest = solved.histories
    names = [state.name for state in nominal.states]
    x = np.arange(len(names))

    def forces(history) -> np.ndarray:
        return np.array([state.force for state in history.states]) / 1e3

    axes.fill_between(x, forces(least), forces(greatest), color="#dbe4ee", linewidth=0, label="scatter of tightening")
    axes.plot(x, forces(nominal), "o-", color=COLOURS["assembly"], linewidth=2, label="fastener force, nominal")
    clamp = np.array([state.force - state.case.gas_force for state in nominal.states]) / 1e3
    axes.plot(x, clamp, "s--", color=COLOURS["cold"], linewidth=1.6, label="clamp on the gasket, nominal")
    first = forces(nominal)[0]
    needed = joint.requirements.clamp_kept
    axes.axhline(needed * first, color=INK, linewidth=1, linestyle=(0, (6, 3)))
    note = f"{100 * needed:.0f} % of assembly, needed when cold"
    axes.text(-0.33, needed * first, note, ha="left", va="top", fontsize=9)
    for place, force, state in zip(x, forces(nominal), nominal.states, strict=True):
        axes.annotate(
            f"{force:.1f}", (place, force), xytext=(0, 9), textcoords="offset points", ha="center", fontsize=9
        )
        if state.kind == "cold":
            text = f"keeps {100 * force / first:.1f} %"
            axes.annotate(text, (place, force), xytext=(0, 22), textcoords="offset points", ha="center", fontsize=9)
    axes.set_xticks(x, names)
    axes.set_xlim(-0.35, len(names) - 0.65)
    axes.set_ylim(0, 1.15 * forces(greatest).max())
    axes.legend(loc="lower left", frameon=False, fontsize=9)
    return figure


def section(solved: SolvedJoint, recovered: dict[str, RecoveredState]) -> Figure:
    """Section through the axis, whole and around the gasket.

    Displacement is the change since assembly, magnified: what heat and gas do to the tightened joint.
    """
    shown = _state_to_show(recovered)
    fields, first = recovered[shown], next(iter(recovered.values()))
    nodes = cell_nodes(solved)
    ring = nodes[:, [0, 4, 1, 5, 2, 6, 3, 7]]
    places = solved.model.body.basis.doflocs.T
    change = fields.nodal - first.nodal
    factor = _nice(0.05 * np.ptp(places[:, 1]) / max(np.abs(change).max(), 1e-9))
    parts = solved.model.joint_mesh
    built, displaced = places[ring] * [-1.0, 1.0], (places + factor * change)[ring]
    colours = np.array([PART_COLOURS[parts.parts[index]] for index in parts.part])

    figure = _figure(10.5, 8.0)
    title = f"{solved.joint.name}: {shown}, displacement since assembly x {factor:g}"
    figure.suptitle(title, fontsize=12, color=INK, x=0.01, ha="left")
    whole, close = figure.subplots(1, 2, width_ratios=[1.0, 1.5])
    reach = np.abs(places[:, 0]).max()
    low, high = places[:, 1].min(), places[:, 1].max()
    _panel(whole, "left: parts as built; right: von Mises stress")
    _paint(whole, built, colours)
    stress = von_mises(fields.stress).mean(axis=1)
    limit = float(np.quantile(stress, 0.99))
    painted = _paint(whole, displaced, stress, (0.0, limit), "viridis")
    whole.axvline(0.0, color=INK, linewidth=0.6, linestyle=(0, (8, 3, 2, 3)))
    for index in np.unique(parts.part):
        own = places[nodes[parts.part == index, :4]].mean(axis=1)
        _label_part(whole, parts.parts[index], own, solved.joint.fastener.kind)
    whole.set_xlim(-1.08 * reach, 1.08 * reach)
    whole.set_ylim(low - 0.03 * (high - low), high + 0.07 * (high - low))
    whole.set_ylabel("height over the block deck, mm")
    figure.colorbar(painted, ax=whole, orientation="horizontal", pad=0.02).set_label(f"MPa, colours end at {limit:.0f}")

    _panel(close, "around the gasket (the gap): axial stress of head and block")
    window = 0.62 * reach
    axial = fields.stress[:, :, 1].mean(axis=1)
    clamped = np.isin(parts.part, [parts.parts.index("head"), parts.parts.index("block")])
    near = clamped & (np.abs(places[nodes[:, :4], 1].mean(axis=1)) < window)
    limit = float(np.quantile(np.abs(axial[near]), 0.98))
    _paint(close, displaced[~clamped], colours[~clamped])
    painted = _paint(close, displaced[clamped], axial[clamped], (-limit, limit), "RdBu_r")
    middle = factor * float(np.median(change[np.abs(places[:, 1]) < 1.0, 1]))
    close.set_xlim(0.0, 1.08 * reach)
    close.set_ylim(middle - window, middle + window)
    label = f"MPa, blue is pressed, colours end at {limit:.0f}; corners go higher"
    figure.colorbar(painted, ax=close, orientation="horizontal", pad=0.02).set_label(label)
    return figure


def _panel(axes: Any, title: str) -> None:
    axes.set_title(title, loc="left", fontsize=10, color=INK)
    axes.set_aspect("equal")
    axes.set_xlabel("radius, mm")
    axes.spines[["top", "right"]].set_visible(False)


def _paint(
    axes: Any,
    polygons: np.ndarray,
    colours: np.ndarray,
    limits: tuple[float, float] | None = None,
    colour_map: str | None = None,
) -> Any:
    """Draw polygons (m, k, 2) in given colours, or in values (m,) clipped to `limits` on a colour map."""
    from matplotlib.collections import PolyCollection

    if limits is None:
        drawn = PolyCollection(polygons, facecolors=colours, edgecolors="face", linewidths=0.2)
    else:
        drawn = PolyCollection(polygons, cmap=colour_map, edgecolors="face", linewidths=0.2)
        drawn.set_array(np.clip(colours, *limits))
        drawn.set_clim(*limits)
    axes.add_collection(drawn)
    return drawn


def _state_to_show(recovered: dict[str, RecoveredState]) -> str:
    """Return the last state under gas, else the hottest."""
    fired = [name for name, fields in recovered.items() if fields.state.case.gas_force > 0.0]
    if fired:
        return fired[0]
    return max(recovered, key=lambda name: recovered[name].state.case.temperatures["head"])


def _label_part(axes: Any, name: str, centres: np.ndarray, kind: str) -> None:
    """Write a part's name on the left half: inside large parts, over small ones with a line to them."""
    r, z = centres[:, 0], centres[:, 1]
    if name in ("head", "block"):
        axes.text(-0.62 * r.max(), z.mean(), name, ha="center", va="center", fontsize=10, color=INK)
        return
    text = "bolt head" if name == "nut" and kind == "bolt" else name
    place, lift = {
        "fastener": ((-0.5 * r.min(), z.max()), 16),
        "nut": ((-r.max(), z.mean()), 14),
        "washer": ((-r.max(), z.mean()), 4),
    }[name]
    axes.annotate(
        text,
        place,
        xytext=(-30, lift),
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
