"""The command line. Heavy libraries are imported only by the commands that use them."""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path
from typing import Any

import click

from headjoint.cases.command.cli_tools import (
    check_json,
    delivered,
    laws_named,
    one_thread,
    progress,
    read_one_joint,
    read_stated,
    shipped_cells,
    shipped_files,
    threads_for,
    write_text,
)
from headjoint.cases.command.output_paths import check_file, check_folder
from headjoint.cases.command.study_options import study_options
from headjoint.model.base.errors import InputError, JointError
from headjoint.model.joint import Joint

STARTER_CELL = "boosted-four-cell"
STARTER_RIG = "hollow-ram-m11-stud"
EXIT_REQUIREMENT_FAILS = 1
EXIT_BAD_INPUT = 2
EXIT_NO_SOLUTION = 3
EXIT_INTERRUPTED = 130

HELP = """The bolted joint that holds a cylinder head to its block: clamp, gasket pressure, separation, stress.

JOINT is a joint file (one fastener) or a cell file (bore and studs in three dimensions), both TOML, or the name of a
shipped one.
"""
EPILOG = (
    "Exit codes: 0 done; 1 a requirement is not met (only with --strict); 2 unusable input; 3 no trustworthy "
    "solution; 130 interrupted. A design aid, not a substitute for the makers' instructions and a qualified engineer."
)
LIBRARIES = ("joints", "cells", "rigs", "logs", "materials", "threads", "classes", "laws", "tightening")

_joint = click.argument("joint")
_json = click.option(
    "--json", "json_file", metavar="FILE", help="Write the result as JSON; '-' writes only JSON, to standard output."
)
_units = click.option(
    "--units",
    type=click.Choice(["si", "workshop"]),
    default="si",
    show_default=True,
    help="Units of the printed tables.",
)
_folder = click.option(
    "--output", "-o", type=click.Path(path_type=Path), help="Folder for the files; default headjoint-NAME here."
)
_pictures = click.option("--pictures/--no-pictures", default=True, help="Draw the PNG pictures and the page, or not.")
_strict = click.option("--strict", is_flag=True, help="Exit with 1 when a requirement is not met.")


@click.group(
    help=HELP, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110}
)
@click.version_option(package_name="headjoint", message="headjoint %(version)s")
def app() -> None:
    """Gather the commands."""


def main() -> None:
    """Run the command line; turns every error made on purpose into one line and an exit code."""
    # being told to end, by whatever means, cleans up like Ctrl-C
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        # outside standalone mode an exit comes back as its code
        code = app(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.Abort:
        _stop("interrupted", EXIT_INTERRUPTED)
    except InputError as error:
        _stop(str(error), EXIT_BAD_INPUT)
    except JointError as error:
        _stop(str(error), EXIT_NO_SOLUTION)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        _stop("interrupted", EXIT_INTERRUPTED)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        _stop(f"{place}{error.strerror or error}", EXIT_BAD_INPUT)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)


def _stop(message: str, code: int) -> None:
    print(f"headjoint: {message}", file=sys.stderr)
    sys.exit(code)


@app.command()
@_joint
@_folder
@_pictures
@_json
@_units
@_strict
def solve(joint: str, output: Path | None, pictures: bool, json_file: str | None, units: str, strict: bool) -> None:
    """Run the joint by finite elements through all its load cases, beside the closed-form estimate."""
    path, stated = read_stated(joint)
    check_json(json_file)
    folder = check_folder(output or Path(f"headjoint-{path.stem}"))
    if not isinstance(stated, Joint):
        from headjoint.postproc.cell.report import cell_job

        holds = cell_job(stated, folder, json_file, units, pictures=pictures)
        if strict and not holds:
            sys.exit(EXIT_REQUIREMENT_FAILS)
        return
    from headjoint.cases.load_cases.one_fastener import solve_joint

    with progress() as stage, one_thread():
        solved = solve_joint(stated, stage)
        stage("findings")
        from headjoint.postproc.joint.assessment import assess
        from headjoint.postproc.joint.document import result_document

        findings = assess(solved)
        document = result_document(findings)
        from headjoint.postproc.joint.files import write_files

        written = delivered(
            document,
            json_file,
            lambda: write_files(solved, findings, document, folder, pictures=pictures, stage=stage),
        )
    if written is not None:
        from headjoint.postproc.joint.printing import print_findings

        print_findings(findings, units, written)
    if strict and not findings.holds:
        sys.exit(EXIT_REQUIREMENT_FAILS)


@app.command()
@_joint
@_folder
@_pictures
@click.option("--resume", is_flag=True, help="Go on where an interrupted run of the same service stands.")
@_json
@_units
@_strict
def history(
    joint: str, output: Path | None, pictures: bool, resume: bool, json_file: str | None, units: str, strict: bool
) -> None:
    """Run the joint's service, step by step: tighten, wait, heat, run, cool, retorque, reuse - what clamp is kept."""
    path, stated = read_stated(joint)
    check_json(json_file)
    folder = check_folder(output or Path(f"headjoint-{path.stem}"))
    from headjoint.cases.service.jobs import run_history

    # JSON to a pipe writes nothing, unless a folder is named
    kept = folder / "steps" if json_file != "-" or output is not None else None
    with progress() as stage, threads_for(stated):
        service, chain, seconds = run_history(stated, kept, resume=resume, stage=stage)
        stage("findings")
        from headjoint.postproc.service.findings import assess_service
        from headjoint.postproc.service.report import print_service, service_document, write_service_files

        single = isinstance(stated, Joint)
        findings = assess_service(service, chain, single=single, seconds=seconds, stage=stage)
        document = service_document(findings)
        written = delivered(
            document,
            json_file,
            lambda: write_service_files(findings, document, folder, units, pictures=pictures, stage=stage),
        )
    if written is not None:
        print_service(findings, units, written)
    if strict and not findings.holds:
        sys.exit(EXIT_REQUIREMENT_FAILS)


@app.command()
@_joint
@_folder
@_pictures
@click.option("--series/--no-series", default=True, help="Write instants as VTU files for animation, or not.")
@_json
@_units
@_strict
def warmup(
    joint: str, output: Path | None, pictures: bool, series: bool, json_file: str | None, units: str, strict: bool
) -> None:
    """Warm the joint up and cool it down by heat conduction: which part is hot when, and what clamp that makes."""
    path, stated = read_stated(joint)
    check_json(json_file)
    folder = check_folder(output or Path(f"headjoint-{path.stem}"))
    from headjoint.postproc.warm_up.report import warm_up_job

    holds = warm_up_job(stated, folder, json_file, units, pictures=pictures, series=series)
    if strict and not holds:
        sys.exit(EXIT_REQUIREMENT_FAILS)


@app.command()
@_joint
@_json
@_units
@_strict
def estimate(joint: str, json_file: str | None, units: str, strict: bool) -> None:
    """Answer by closed formulas alone, in the style of VDI 2230: no mesh, in a blink."""
    _, stated = read_one_joint(joint)
    check_json(json_file)
    from headjoint.postproc.joint.estimate_report import assess_estimate, estimate_document, print_estimate

    result = assess_estimate(stated)
    if delivered(estimate_document(result), json_file, list) is not None:
        print_estimate(result, units)
    if strict and not result.holds:
        sys.exit(EXIT_REQUIREMENT_FAILS)


@app.command()
@click.argument("file", type=click.Path(path_type=Path), default=Path("joint.toml"))
@click.option(
    "--cell", "kind", flag_value="cell", help="A bore cell in three dimensions instead of one fastener's joint."
)
@click.option("--rig", "kind", flag_value="rig", help="A test rig, for `headjoint rig`.")
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def new(file: Path, kind: str | None, force: bool) -> None:
    """Write a commented starter file to fill in."""
    from headjoint.cases.command.starter import STARTER

    check_file(file, "FILE")
    if file.exists() and not force:
        raise InputError("exists already; choose another name or give --force", file=str(file))
    shipped = {"cell": lambda: shipped_cells()[STARTER_CELL], "rig": lambda: shipped_files("rigs")[STARTER_RIG]}
    write_text(file, shipped[kind]().read_text("utf-8") if kind else STARTER)
    command = "rig LOG --rig" if kind == "rig" else "solve"
    print(f"wrote {file}; run it with: headjoint {command} {file}")


@app.command()
@click.option("--cell", "kind", flag_value="cell", help="Of cell files instead of joint files.")
@click.option("--rig", "kind", flag_value="rig", help="Of rig files instead of joint files.")
def schema(kind: str | None) -> None:
    """Print the JSON schema of joint files, for editors that check and complete them."""
    from headjoint.model.files.cell_file import CellFile
    from headjoint.model.files.joint_file import JointFile, json_schema
    from headjoint.model.rig.reading import RigFile

    print(json.dumps(json_schema({"cell": CellFile, "rig": RigFile}.get(kind or "", JointFile)), indent=2))


@app.command(name="list")
@click.argument("library", type=click.Choice(LIBRARIES))
def list_library(library: str) -> None:
    """List the shipped joints, or what a joint file may name."""
    from headjoint.postproc.joint.listings import print_listing

    print_listing(library, shipped_files(library))


@app.command()
@click.argument("name")
@click.option("--law", "wanted", metavar="LAW", help="Only this one of a file's laws.")
@click.option(
    "--output", "-o", type=click.Path(path_type=Path), help="Picture to write: .png; default law-NAME.png here."
)
@_units
def law(name: str, wanted: str | None, output: Path | None, units: str) -> None:
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
    draw_laws(laws, paths)
    print_laws(laws, units, paths)


@app.command()
@_joint
@click.option(
    "--output",
    "-o",
    type=click.Path(path_type=Path),
    default=Path("mesh.vtu"),
    show_default=True,
    help="File to write: .vtu or .msh.",
)
def mesh(joint: str, output: Path) -> None:
    """Write the mesh with its parts and loaded faces, and stop: look before you solve."""
    _, stated = read_stated(joint)
    check_file(output, endings=(".vtu", ".msh"))
    from headjoint.postproc.joint.mesh_file import write_cell_mesh, write_mesh

    print(write_mesh(stated, output) if isinstance(stated, Joint) else write_cell_mesh(stated, output))


@app.command()
@_joint
@click.option("--state", default=None, help="Load case to show; default the last one with gas, else the last.")
@click.option(
    "--output",
    "-o",
    type=click.Path(path_type=Path),
    default=Path("cutaway.png"),
    show_default=True,
    help="File to write: .png.",
)
def cutaway(joint: str, state: str | None, output: Path) -> None:
    """Render the joint in the round with a quarter cut away, coloured by stress."""
    from headjoint.model.base.errors import unknown_name

    _, stated = read_stated(joint)
    if not isinstance(stated, Joint):
        raise InputError("is a cell file; `headjoint solve` draws its views", file=joint)
    names = [case.name for case in stated.load_cases]
    if state is not None and state not in names:
        raise unknown_name("load case", state, names, field="--state")
    check_file(output, endings=(".png",))
    fired = [case.name for case in stated.load_cases if case.gas_force > 0.0]
    from headjoint.cases.load_cases.one_fastener import solve_joint

    with progress() as stage, one_thread():
        solved = solve_joint(stated, stage)
        stage("picture")
        from headjoint.postproc.joint.cutaway import cutaway as render

        draft = output.with_name(f".{output.name}.part.png")
        try:
            render(solved, state or (fired or names)[-1], draft)
            draft.replace(output)
        finally:
            draft.unlink(missing_ok=True)
    print(f"wrote {output}")


@app.command()
@_joint
@click.option("--over", multiple=True, required=True, metavar="QUANTITY", help="PATH=LOW..HIGH UNIT [in N], or a list.")
@study_options
def sweep(joint: str, over: tuple[str, ...], **options: Any) -> None:
    """Sweep one or two quantities: --over "torque=60..110 N.m" --over "boost=0..2 bar"."""
    from headjoint.postproc.studies.jobs import sweep_job

    sweep_job(joint, over, **options)


@app.command()
@click.argument("joints", nargs=-1, required=True)
@click.option("--vary", multiple=True, metavar="QUANTITY", help="PATH=a, b, c: every combination is one design.")
@study_options
def compare(joints: tuple[str, ...], vary: tuple[str, ...], **options: Any) -> None:
    """Put joints, or the variants of one, beside each other: --vary "size=M10x1.25, M11x1.25, M12x1.25"."""
    from headjoint.postproc.studies.jobs import compare_job

    compare_job(joints, vary, **options)


@app.command()
@_joint
@click.option(
    "--samples", type=click.IntRange(16, 1_000_000), help="Joints of the batch; default as in the file, 1000."
)
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Of the samples; default as in the file, 7.")
@study_options
def scatter(joint: str, samples: int | None, seed: int | None, **options: Any) -> None:
    """Say how likely the joint is to fail with the scatter of friction, tightening, gasket, temperature and gas."""
    from headjoint.postproc.studies.jobs import scatter_job

    scatter_job(joint, samples, seed, **options)


@app.command()
@_joint
@click.option("--find", multiple=True, type=click.Choice(["torque", "gas", "thread", "class", "length"]))
@study_options
def size(joint: str, find: tuple[str, ...], **options: Any) -> None:
    """Find the torque, gas pressure, thread, class or length that just meets every requirement; default all."""
    from headjoint.postproc.studies.jobs import size_job

    size_job(joint, find, **options)


@app.command()
@click.argument("logs", nargs=-1, required=True)
@click.option("--rig", required=True, help="Rig file, joint file with a [rig] table, or name of a shipped rig.")
@click.option(
    "--against", multiple=True, metavar="LOG", help="Log of another treatment to compare with; may be repeated."
)
@click.option("--against-rig", metavar="RIG", help="Rig of those, where it is another.")
@_folder
@_pictures
@_json
@_units
def rig(logs: tuple[str, ...], pictures: bool, units: str, json_file: str | None, **stated: object) -> None:
    """Read rig LOGS (CSV): friction, stretch, yield, settling with intervals, and what they cannot tell."""
    check_json(json_file)
    from headjoint.postproc.rig.job import rig_job

    rig_job(logs, pictures=pictures, units=units, json_file=json_file, **stated)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
