"""What a joint file may name: the libraries as tables on the terminal."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal

from rich.console import Console
from rich.table import Table

from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.shipped_gaskets import SOURCE, gaskets
from headjoint.model.gasket.shipped_laws import library as gasket_laws
from headjoint.model.library import materials, property_classes, threads, tightening
from headjoint.postproc.present.console import console


def print_listing(library: str, shipped: dict[str, Path]) -> None:
    """Print one library: joints, materials, threads, classes, gaskets, laws, or methods and scatter of tightening."""
    listings: dict[str, Callable[[], Listing]] = {
        "joints": lambda: _joints(shipped, "joints"),
        "cells": lambda: _joints(shipped, "cells"),
        "rigs": lambda: _rigs(shipped),
        "logs": lambda: _logs(shipped),
        "beads": lambda: _beads(shipped),
        "materials": _materials,
        "threads": _threads,
        "classes": _classes,
        "gaskets": _gaskets,
        "laws": _laws,
        "tightening": _tightening,
    }
    _print(*listings[library]())
    if library == "tightening":
        print()
        _print(*_methods())


def _print(heading: str, columns: Columns, rows: list[list[str]]) -> None:
    table = Table(title=heading, title_justify="left", box=None, pad_edge=False)
    for name, justify in columns:
        table.add_column(name, justify=justify, overflow="fold")
    for row in rows:
        table.add_row(*row)
    screen: Console = console()
    screen.print(table)


Columns = list[tuple[str, Literal["left", "right"]]]
Listing = tuple[str, Columns, list[list[str]]]


def _joints(shipped: dict[str, Path], kind: str) -> Listing:
    from headjoint.model.joint import Joint
    from headjoint.model.reading.reading import read_input

    stated = {name: read_input(path) for name, path in shipped.items()}
    rows = [[name, one.name if isinstance(one, Joint) else one.joint.name] for name, one in stated.items()]
    return (
        f"Shipped {kind}, all invented: headjoint solve NAME",
        [("name", "left"), ("what it is", "left")],
        rows,
    )


def _rigs(shipped: dict[str, Path]) -> Listing:
    from headjoint.model.rig.reading import read_rig

    rows = [[name, f"{one.name} ({one.note})"] for name, path in shipped.items() if (one := read_rig(path))]
    return "Shipped rigs, all invented: headjoint rig LOG --rig NAME", [("name", "left"), ("what it is", "left")], rows


def _logs(shipped: dict[str, Path]) -> Listing:
    rows = []
    for name, path in shipped.items():
        remarks = [line.lstrip("# ") for line in path.read_text("utf-8").splitlines() if line.startswith("#")]
        rows.append([name, "; ".join(remarks[1:])])
    return (
        "Shipped rig logs, all invented: headjoint rig NAME --rig RIG",
        [("name", "left"), ("what it is", "left")],
        rows,
    )


def _beads(shipped: dict[str, Path]) -> Listing:
    from headjoint.model.bead.reading import read_gasket

    rows = [[name, f"{one.name} ({one.note})"] for name, path in shipped.items() if (one := read_gasket(path))]
    return "Shipped beads, all invented: headjoint bead NAME", [("name", "left"), ("what it is", "left")], rows


def _materials() -> Listing:
    rows = [
        [
            m.name,
            m.title,
            f"{m.E.at(20.0) / 1e3:.0f}",
            f"{m.expansion.at(100.0) * 1e6:.1f}",
            "" if m.yield_strength is None else f"{m.yield_strength.at(20.0):.0f}",
            m.sources["E"],
        ]
        for m in materials.library().values()
    ]
    columns: Columns = [
        ("designation", "left"),
        ("title", "left"),
        ("E GPa", "right"),
        ("expansion to 100 degC 1e-6/K", "right"),
    ]
    return "Materials", [*columns, ("yield MPa", "right"), ("source of E", "left")], rows


def _threads() -> Listing:
    rows = [
        [t.designation, f"{t.nominal_diameter:.4g}", f"{t.pitch:.4g}", f"{t.stress_area:.2f}", t.source]
        for t in threads.library().values()
    ]
    columns: Columns = [("designation", "left"), ("d mm", "right"), ("P mm", "right"), ("stress area mm2", "right")]
    return "Threads", [*columns, ("source", "left")], rows


def _classes() -> Listing:
    rows = [
        [c.name, f"{c.proof:.0f}", f"{c.yield_strength.at(20.0):.0f}", f"{c.ultimate:.0f}", c.source]
        for c in property_classes.library().values()
    ]
    columns: Columns = [("class", "left"), ("proof MPa", "right"), ("yield MPa", "right"), ("ultimate MPa", "right")]
    return "Property classes", [*columns, ("source", "left")], rows


def _gaskets() -> Listing:
    rows = []
    for one in gaskets().values():
        zones = [*((ring.name, ring.law, ring.step) for ring in one.rings), ("body", one.body_law, one.body_step)]
        stated = [f"{name}: {law}{f', {step} lower' if step else ''}" for name, law, step in zones]
        rows.append([one.name, one.title, one.thickness, one.expansion, "; ".join(stated)])
    columns: Columns = [("gasket", "left"), ("what it is", "left"), ("thickness", "right"), ("expansion", "right")]
    return (
        f"Complete gaskets, made to fit round a bore, all invented: typical of their kind, {SOURCE}; headjoint compare "
        "ENGINE --gasket NAME",
        [*columns, ("zones from the bore outwards, and their laws", "left")],
        rows,
    )


def _laws() -> Listing:
    rows = [
        [
            law.name,
            law.title,
            _stiffnesses(law),
            f"{100 * (law.spread or 0):.0f} %",
            law.source,
        ]
        for law in gasket_laws().values()
    ]
    columns: Columns = [("law", "left"), ("what it is", "left"), ("unloading MPa/mm", "right"), ("range +/-", "right")]
    return (
        "Gasket laws: typical shapes from memory, no published table was found",
        [*columns, ("source", "left")],
        rows,
    )


def _stiffnesses(law: GasketLaw) -> str:
    """Return the least and the greatest unloading stiffness, 0 for a law that keeps no set."""
    if not law.keeps_set:
        return "0"
    ends = f"{law.softest:.0f}", f"{law.stiffest:.0f}"
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def _tightening() -> Listing:
    rows = [
        [name, f"{low:g} to {high:g}", f"{100 * ((low + high) / 2 - 1) / ((low + high) / 2 + 1):.0f} %"]
        for name, (low, high) in tightening.TIGHTENING_FACTORS.items()
    ]
    columns: Columns = [("scatter", "left"), ("alpha_A", "right"), ("preload +/- (middle)", "right")]
    return "Tightening scatter, VDI 2230-1 table A8 (from memory, high confidence)", columns, rows


def _methods() -> Listing:
    rows = [[name, ", ".join(method.takes), method.what, method.scatter] for name, method in tightening.METHODS.items()]
    columns: Columns = [
        ("method", "left"),
        ("takes", "left"),
        ("what is done", "left"),
        ("scatter unless stated", "left"),
    ]
    return "Methods of tightening, each with its own keys", columns, rows
