"""The command line. Heavy libraries are imported only by the commands that use them."""

from __future__ import annotations

import json
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import headjoint
from headjoint.cases.command.delivery import (
    Options,
    answer_options,
    deliver,
    deliver_study,
    model_option,
    moving_option,
    study_options,
    told_units,
    units_option,
)
from headjoint.cases.command.ends import EPILOG, run_to_end
from headjoint.cases.command.helped import Helped, file_option
from headjoint.cases.command.joint_options import folder_option, is_accepted, joint_options
from headjoint.cases.command.new_file import new_engine, new_engine_options, starter
from headjoint.cases.command.odd_options import odd_options, order_option
from headjoint.cases.command.output_paths import check_file
from headjoint.cases.command.progress import Telling, progress
from headjoint.cases.command.quick_answers import said_meanwhile
from headjoint.cases.command.stated_files import (
    law_file,
    laws_named,
    named_file,
    read_stated,
    say_cautions,
    shipped_files,
)
from headjoint.cases.elements.threads import one_thread
from headjoint.model.base.errors import InputError
from headjoint.model.base.whole_files import STEPS, draft_of, write_whole
from headjoint.model.joint import Joint
from headjoint.model.reading.credible import check_credible
from headjoint.postproc.studies import FINDS

if TYPE_CHECKING:
    from headjoint.interface import Seen
    from headjoint.model.cell import Cell

HELP = """The bolted joint that holds a cylinder head to its block: clamp, gasket pressure, separation, stress.

JOINT is an engine file (bores and studs, solved in three dimensions) or a joint file (one fastener: a rig, a specimen),
both TOML, or the name of a shipped one.
"""
LIBRARIES = (
    "joints",
    "cells",
    "rigs",
    "logs",
    "beads",
    "materials",
    "threads",
    "classes",
    "gaskets",
    "laws",
    "tightening",
)

_joint = joint_options(click.argument("joint"))


@click.group(cls=Helped, help=HELP, epilog=EPILOG)
@click.version_option(package_name="headjoint", message="headjoint %(version)s")
def app() -> None:
    """Gather the commands."""


def main() -> None:
    """Run the command line."""
    run_to_end(app)


def _read(joint: str, model: Seen = "whole") -> tuple[Path, Joint | Cell]:
    """Return path and content of a joint or engine file, or of one stud of an engine; says cautions."""
    path, stated = read_stated(joint)
    say_cautions(stated, check_credible(stated, is_accepted()))
    return path, headjoint.read(stated, model)


@app.command()
@_joint
@model_option
@moving_option
@answer_options
def solve(joint: str, model: Seen, options: Options) -> None:
    """Run the joint by finite elements through all its load cases, beside the closed-form estimate."""
    path, stated = _read(joint)
    if isinstance(stated, Joint) or model == "stud":
        deliver(path, options, lambda told: headjoint.solve(stated, model=model, stage=told.stage))
        return

    def solved(told: Telling) -> Any:
        by_one_stud = partial(headjoint.solve, model="stud")
        with said_meanwhile(stated, told_units(options.units, path), headjoint.estimate, by_one_stud) as coarse:
            from headjoint.postproc.cell.answer import answer_of_cell

            return answer_of_cell(stated, told.stage, coarse, drawn=options.pictures)

    deliver(path, options, solved)


@app.command()
@_joint
@order_option
@odd_options
@answer_options
def head(joint: str, order: list[int], slack: list[int], hotter: dict[int, str], options: Options) -> None:
    """Solve the whole head of an engine whose file says `in_row`: every stud, every bore fired alone."""
    path, stated = _read(joint)
    turned = order or None
    solved = lambda told: headjoint.head(stated, order=turned, slack=slack, hotter=hotter, stage=told.stage)  # noqa: E731
    deliver(path, options, solved)


@app.command()
@_joint
@model_option
@click.option("--resume", is_flag=True, help="Go on where an interrupted run of the same service stands.")
@answer_options
def history(joint: str, model: Seen, resume: bool, options: Options) -> None:
    """Run the joint's service, step by step: tighten, wait, heat, run, cool, retorque, reuse - what clamp is kept."""
    path, stated = _read(joint, model)
    kept = options.kept_in(path.stem)
    steps = None if kept is None else kept / STEPS
    deliver(path, options, lambda told: headjoint.history(stated, folder=steps, resume=resume, stage=told.stage))


@app.command()
@_joint
@model_option
@click.option("--series/--no-series", default=True, help="Write instants as VTU files for animation, or not.")
@moving_option
@answer_options
def warmup(joint: str, model: Seen, options: Options) -> None:
    """Warm the joint up and cool it down by heat conduction: which part is hot when, and what clamp that makes."""
    path, stated = _read(joint, model)
    deliver(path, options, lambda told: headjoint.warm_up(stated, stage=told.stage))


@app.command()
@_joint
@answer_options
def estimate(joint: str, options: Options) -> None:
    """Answer by closed formulas alone, in the style of VDI 2230: no mesh, at once; files only into --output."""
    path, stated = _read(joint)
    deliver(path, options, lambda told: headjoint.estimate(stated), files=False)


@app.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--joint", "kind", flag_value="joint", help="Write a starter of one fastener's joint instead.")
@click.option("--rig", "kind", flag_value="rig", help="Write a starter of a test rig instead, for `headjoint rig`.")
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
@new_engine_options
def new(file: Path | None, kind: str | None, force: bool, units: str | None, facts: dict[str, str]) -> None:
    """Write an engine file from a few facts, asked for here or given as options; the rest is typical and says so."""
    file = file or Path(f"{kind or 'engine'}.toml")
    check_file(file, "FILE")
    if file.exists() and not force:
        raise InputError("exists already; choose another name or give --force", file=str(file))
    if kind is None:
        text, words = new_engine(facts, units, file.absolute().parent, asking=sys.stdin.isatty())
    else:
        if facts:
            raise InputError("belongs to an engine file", field=f"--{next(iter(facts)).replace('_', '-')}")
        text, words = starter(kind), []
    write_whole(file, text.encode())
    command = "rig LOG --rig" if kind == "rig" else "estimate"
    for line in [*words, f"wrote {file}; look at it, then: headjoint {command} {file}"]:
        print(line)


@app.command()
@joint_options(click.argument("joint", required=False, default="boosted-four"))
@units_option
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Listen here; at another address other machines may ask."
)
@click.option("--port", type=click.IntRange(1, 65535), default=8431, show_default=True, help="Listen at this port.")
@click.option("--browser/--no-browser", default=True, help="Open the page, or only say where it is.")
def live(joint: str, units: str | None, host: str, port: int, browser: bool) -> None:
    """Serve a page on this machine: move torque, gas, heat or gasket, and see what follows. Ctrl-C ends it."""
    from headjoint.postproc.live.server import serve

    path, _ = _read(joint)
    shipped = shipped_files("cells") | shipped_files("joints")
    name = path.stem if path not in shipped.values() else next(one for one, at in shipped.items() if at == path)

    def ready(address: str) -> None:
        print(f"headjoint: {address} shows {name}; Ctrl-C ends it", file=sys.stderr)
        if browser:
            import webbrowser

            webbrowser.open(address)

    serve({name: path} | shipped | {name: path}, name, told_units(units, path), host, port, ready)


@app.command()
@_joint
@file_option("Write the page into this text file; without it it is printed.")
@units_option
def worksheet(joint: str, output: Path | None, units: str | None) -> None:
    """Print one page for the bench: torque and angle, passes, order of nuts, wait, retorque, use again."""
    from headjoint.postproc.joint.work_sheet import work_sheet

    path, stated = _read(joint)
    told = told_units(units, path)
    sheet = work_sheet(stated, headjoint.estimate(stated).verdict, told)
    if output is None:
        print(sheet, end="")
        return
    check_file(output)
    write_whole(output, sheet.encode())
    print(f"wrote {output}")


@app.command()
@click.option("--cell", "kind", flag_value="cell", help="Print the schema of engine files instead.")
@click.option("--rig", "kind", flag_value="rig", help="Print the schema of rig files instead.")
def schema(kind: str | None) -> None:
    """Print the JSON schema of joint files, for editors that check and complete them."""
    from headjoint.model.files.cell_file import CellFile
    from headjoint.model.files.joint_file import JointFile, json_schema
    from headjoint.model.rig.reading import RigFile

    print(json.dumps(json_schema({"cell": CellFile, "rig": RigFile}.get(kind or "", JointFile)), indent=2))


@app.command(name="list", help=f"List what ships, or what a file may name. WHAT is one of {', '.join(LIBRARIES)}.")
@click.argument("library", type=click.Choice(LIBRARIES), metavar="WHAT")
def list_library(library: str) -> None:
    """List what ships, or what a file may name."""
    from headjoint.postproc.joint.listings import print_listing

    print_listing(library, shipped_files(library))


@app.command()
@click.argument("topic", required=False)
def guide(topic: str | None) -> None:
    """Show the guide's page on a TOPIC; without one, list the topics."""
    from headjoint.postproc.joint.guide import print_guide

    print_guide(topic, shipped_files("guide"))


@app.command()
@click.argument("name")
@click.option("--law", "wanted", metavar="LAW", help="Take only this one of a file's laws.")
@file_option("Write the picture as this file; without it as law-NAME.png here.")
@units_option
def law(name: str, wanted: str | None, output: Path | None, units: str | None) -> None:
    """Print and draw a gasket law by NAME, or those of the zones of a joint or cell file."""
    laws = laws_named(name, wanted)
    if output is not None:
        check_file(output, endings=(".png",))
        if len(laws) > 1:
            names = ", ".join(one.name for one in laws)
            raise InputError(f"is one picture for several laws; choose with --law: {names}", field="--output")
    from headjoint.postproc.law.pictures import draw_laws, picture_names
    from headjoint.postproc.law.report import print_laws

    paths = [output] if output is not None else [Path(one) for one in picture_names(laws)]
    shown = told_units(units, law_file(name))
    draw_laws(laws, paths, shown)
    print_laws(laws, shown, paths)


@app.command()
@_joint
@model_option
@file_option("Write this file: .vtu or .msh.", "mesh.vtu")
def mesh(joint: str, model: Seen, output: Path) -> None:
    """Write the mesh with its parts and loaded faces, and stop: look before you solve."""
    _, stated = _read(joint, model)
    check_file(output, endings=(".vtu", ".msh"))
    from headjoint.postproc.joint.mesh_file import write_cell_mesh, write_mesh
    from headjoint.postproc.verdict.model_seen import stated_seen

    print(f"Model: {stated_seen(stated).line}.")
    print(write_mesh(stated, output) if isinstance(stated, Joint) else write_cell_mesh(stated, output))


@app.command()
@_joint
@model_option
@click.option("--state", metavar="NAME", help="Show this load case; without it the last with gas, or else the last.")
@file_option("Write this picture: .png.", "cutaway.png")
@units_option
def cutaway(joint: str, model: Seen, state: str | None, output: Path, units: str | None) -> None:
    """Render the joint in the round with a quarter cut away, coloured by stress."""
    path, stated = _read(joint, model)
    if not isinstance(stated, Joint):
        words = "is an engine, whose views `headjoint solve` draws; give --model stud for one stud of it"
        raise InputError(words, file=joint)
    check_file(output, endings=(".png",))
    from headjoint.cases.load_cases.solved import solve_joint
    from headjoint.postproc.joint.cutaway import cutaway as render
    from headjoint.postproc.joint.cutaway import state_shown
    from headjoint.postproc.verdict.model_seen import stated_seen

    shown = state_shown(stated, state)
    with progress() as told, one_thread():
        solved = solve_joint(stated, told.stage)
        told.stage("picture")
        with draft_of(output) as draft:
            render(solved, shown, draft, told_units(units, path))
    print(f"Model: {stated_seen(stated).line}.")
    print(f"wrote {output}")


@app.command()
@_joint
@click.option(
    "--over", multiple=True, required=True, metavar="QUANTITY", help='Vary "PATH=LOW..HIGH UNIT in N" or "PATH=a, b".'
)
@study_options
@answer_options
def sweep(joint: str, over: tuple[str, ...], options: Options, **where: Any) -> None:
    """Sweep one or two quantities: --over "torque=60..110 N.m" --over "boost=0..2 bar"."""
    path, _ = _read(joint)
    deliver_study(path, options, headjoint.sweep, joint, over, **where)


@app.command()
@joint_options(click.argument("joints", nargs=-1, required=True))
@click.option("--vary", multiple=True, metavar="QUANTITY", help='Vary "PATH=a, b, c"; every combination is one design.')
@click.option("--gasket", default="", metavar="NAMES", help="Compare gaskets: A, B of `headjoint list gaskets`.")
@study_options
@answer_options
def compare(joints: tuple[str, ...], vary: tuple[str, ...], gasket: str, options: Options, **where: Any) -> None:
    """Put joints, or the variants of one, beside each other: --vary "size=M10x1.25, M11x1.25, M12x1.25"."""
    paths = [_read(joint)[0] for joint in joints]
    name = paths[0].stem if len(paths) == 1 else "comparison"
    gaskets = [one.strip() for one in gasket.split(",") if one.strip()]
    deliver_study(
        paths[0], options, headjoint.compare, joints, vary, name=name, more=paths[1:], gaskets=gaskets, **where
    )


@app.command()
@_joint
@click.option("--samples", type=click.IntRange(16, 1_000_000), help="Draw so many; else as in the file, or 1000.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Draw from this seed; else as in the file, or from 7.")
@study_options
@answer_options
def scatter(joint: str, samples: int | None, seed: int | None, options: Options, **where: Any) -> None:
    """Say how likely the joint is to fail with the scatter of friction, tightening, gasket, temperature and gas."""
    path, _ = _read(joint)
    deliver_study(path, options, headjoint.scatter, joint, samples, seed, **where)


@app.command()
@_joint
@click.option(
    "--find", multiple=True, type=click.Choice(FINDS), help="Find this; else all, of a whole engine gas and torque."
)
@study_options
@answer_options
def size(joint: str, find: tuple[str, ...], options: Options, **where: Any) -> None:
    """Find the torque, gas pressure, thread, class or length that just meets every requirement."""
    path, _ = _read(joint)
    deliver_study(path, options, headjoint.size, joint, find, **where)


@app.command()
@click.argument("file")
@click.option("--against", metavar="FILE", help="Set the bead of this file beside it.")
@folder_option
@answer_options
def bead(file: str, against: str | None, options: Options) -> None:
    """Press the bead of a FILE flat: its line load, set, stiffness and life, and the gasket law that follows."""
    shipped = shipped_files("beads")
    path = named_file(file, shipped, "bead file")
    more = [] if against is None else [named_file(against, shipped, "bead file")]
    deliver(path, options, lambda told: headjoint.bead(path, against=against, stage=told.stage), more=more)


@app.command()
@click.argument("logs", nargs=-1, required=True)
@click.option(
    "--rig", required=True, metavar="RIG", help="Take this rig: file, joint file with [rig], or name of a shipped rig."
)
@click.option(
    "--against", multiple=True, metavar="LOG", help="Compare with this log of another treatment; may be repeated."
)
@click.option("--against-rig", metavar="RIG", help="Say which rig those logs are from, where it is another one.")
@answer_options
def rig(logs: tuple[str, ...], rig: str, against: tuple[str, ...], against_rig: str | None, options: Options) -> None:
    """Read rig LOGS (CSV): friction, stretch, yield, settling with intervals, and what they cannot tell."""
    rigs, own = shipped_files("rigs"), shipped_files("logs")
    beside = [named_file(against_rig, rigs, "rig file")] if against_rig else []
    deliver(
        named_file(rig, rigs, "rig file"),
        options,
        lambda told: headjoint.rig(logs, rig, against=against, against_rig=against_rig, stage=told.stage),
        more=[*beside, *(named_file(log, own, "rig log") for log in (*logs, *against))],
        name=Path(logs[0]).stem,
    )


if __name__ == "__main__":
    main()
