"""One way through a command: check where results go, work, write, show, exit code. And the options of all commands."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Protocol, TypeVar

import click

from headjoint.cases.command.folder_lock import only_run_in
from headjoint.cases.command.made import Made, made_from
from headjoint.cases.command.output_paths import check_folder, check_json
from headjoint.cases.command.progress import Telling, progress, study_progress
from headjoint.model.base.whole_files import remove_unfinished, write_whole

EXIT_REQUIREMENT_FAILS = 1
KEPT = ("evaluations.jsonl",)  # finished work, good for whatever run asks for the same
MOST_NAMED = 6
F = TypeVar("F", bound=Callable[..., Any])


class Told(Protocol):
    """What a command found, as `headjoint.postproc.present.answer` has it."""

    judges: ClassVar[bool]

    @property
    def holds(self) -> bool | None: ...  # noqa: D102
    def json(self, indent: int | None = 1) -> str: ...  # noqa: D102
    def write_files(  # noqa: D102
        self,
        folder: Path,
        *,
        units: str,
        pictures: bool,
        series: bool,
        moving: bool,
        paper: str | None,
        made: Made,
        stage: Callable[[str], None],
    ) -> list[Path]: ...
    def show(self, units: str = "si", written: Sequence[Path] = ()) -> None: ...  # noqa: D102


@dataclass(frozen=True)
class Options:
    """What every command that answers may be told.

    json_file : "-" prints JSON alone and writes nothing, unless a folder is named. units : None for those of the file.
    strict : exit with 1 where not every requirement is judged and met.
    """

    output: Path | None = None
    json_file: str | None = None
    units: str | None = None
    strict: bool = False
    pictures: bool = True
    paper: str | None = None
    series: bool = True
    moving: bool = False

    def folder(self, name: str) -> Path:
        """Return where the files go; InputError where they cannot."""
        return check_folder(self.output or Path(f"headjoint-{name}"))

    def kept_in(self, name: str) -> Path | None:
        """Return where finished work is kept, None where nothing is to be written."""
        return None if self.json_file == "-" and self.output is None else self.folder(name)


units_option = click.option(
    "--units",
    type=click.Choice(["si", "workshop"]),
    help="Write words, tables and pictures in these units; without it in those of the file.",
)


def told_units(asked: str | None, source: Path | None) -> str:
    """Return the units asked for, else those in which the file `source` is written, "si" without one."""
    from headjoint.model.files.stated_units import units_of_file
    from headjoint.model.reading.reading import read_text

    return asked or ("si" if source is None else units_of_file(read_text(source)))


def answer_options(command: F) -> F:
    """Add the options of every command that answers; they come as one `options`."""

    def gathered(*words: Any, **stated: Any) -> None:
        own = {name: stated.pop(name) for name in list(stated) if name in Options.__dataclass_fields__}
        command(*words, options=Options(**own), **stated)

    gathered.__name__, gathered.__doc__ = command.__name__, command.__doc__
    gathered.__click_params__ = list(getattr(command, "__click_params__", []))  # type: ignore[attr-defined]
    options = (
        click.option(
            "--output",
            "-o",
            type=click.Path(path_type=Path),
            help="Write the files into this folder; without it into headjoint-NAME here.",
        ),
        click.option(
            "--pictures/--no-pictures",
            default=True,
            help="Write pictures, page, PDF and an engine's .vtu files, or none of them.",
        ),
        click.option(
            "--paper",
            type=click.Choice(["a4", "letter"]),
            help="Make the PDF for this paper; without it the units decide.",
        ),
        click.option(
            "--json",
            "json_file",
            metavar="FILE",
            help="Write the answer as JSON, too; '-' prints it and writes no files.",
        ),
        units_option,
        click.option("--strict", is_flag=True, help="Exit with 1 unless every requirement is judged and met."),
    )
    for option in reversed(options):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]


model_option = click.option(
    "--model",
    type=click.Choice(["whole", "stud"]),
    default="whole",
    show_default=True,
    help="Solve an engine in three dimensions, or one stud of it, quickly. One stud does not see between the studs; "
    "only `solve` looks there, on a coarse mesh.",
)


moving_option = click.option(
    "--moving",
    is_flag=True,
    help="Draw a picture that moves, too (GIF): the warm-up, or the tightening of an engine.",
)


def study_options(command: F) -> F:
    """Add what studies may be told besides: of which model, and where they run."""
    workers = click.option(
        "--workers", type=click.IntRange(1, 999), help="Work in so many processes; without it in one for every core."
    )
    where = click.option(
        "--workers-at",
        default="",
        metavar="ADDRESS",
        help="Run on the dask scheduler at this address, such as tcp://host:8786.",
    )
    return model_option(workers(where(command)))


def deliver(
    source: Path,
    options: Options,
    work: Callable[[Telling], Told],
    *,
    more: Sequence[Path] = (),
    name: str | None = None,
    study: bool = False,
    files: bool = True,
) -> None:
    """Do a command's work and deliver what it found.

    source : the file that was read; in its units the answer is told unless others are asked for. work : is told whom
    to tell of progress. more : other files that were read. name : of the default folder, that of the file unless given.
    study : whether evaluations are counted. files : whether files are written where no folder is named. Exits with 1
    where the options are strict and not every requirement is judged and met.

    Raises what the work raises, and InputError before any work where results cannot be written.
    """
    check_json(options.json_file)
    folder, units = options.folder(name or source.stem), told_units(options.units, source)
    made = made_from((source, *more), f"headjoint {shlex.join(sys.argv[1:])}")
    telling: AbstractContextManager[Telling] = study_progress(folder) if study else progress()
    written: list[Path] = []
    writes = options.output is not None or (files and options.json_file != "-")
    with only_run_in(folder) if writes else nullcontext(), telling as told:
        if writes:
            remove_unfinished(folder)
        answer = work(told)
        if options.json_file != "-" and (files or options.output is not None):
            told.stage("files")
            written = answer.write_files(
                folder,
                units=units,
                pictures=options.pictures,
                series=options.series,
                moving=options.moving,
                paper=options.paper,
                made=made,
                stage=told.stage,
            )
    if options.json_file == "-":
        print(answer.json())
    else:
        if options.json_file is not None:
            write_whole(Path(options.json_file), answer.json().encode())
        answer.show(units, written)
        if any(path.suffix == ".html" for path in written) and not any(path.suffix == ".pdf" for path in written):
            print("headjoint: no PDF: its library has no build for this machine; print the page", file=sys.stderr)
        _say_others(folder, written)
    if options.strict and answer.judges and not answer.holds:
        sys.exit(EXIT_REQUIREMENT_FAILS)


def deliver_study(
    path: Path,
    options: Options,
    run: Callable[..., Told],
    *asked: Any,
    name: str | None = None,
    more: Sequence[Path] = (),
    **where: Any,
) -> None:
    """Run one of the studies and deliver it; finished evaluations are kept in its folder, called `name` or the file's.

    more : other files that were read. Raises as `deliver` does.
    """
    kept = options.kept_in(name or path.stem)

    def work(told: Telling) -> Told:
        return run(*asked, folder=kept, done=told.done, stage=told.stage, **where)

    deliver(path, options, work, name=name, more=more, study=True)


def _say_others(folder: Path, written: Sequence[Path]) -> None:
    """Say which files beside those just written are of an earlier run: nobody shall take them for this answer."""
    if not written:
        return
    others = sorted(path.name for path in folder.iterdir() if path.is_file() and path not in written)
    others = [name for name in others if name not in KEPT]
    if others:
        named = ", ".join(others[:MOST_NAMED]) + (f" and {len(others) - MOST_NAMED} more" * (len(others) > MOST_NAMED))
        print(f"headjoint: {folder} also holds files that this run did not write: {named}", file=sys.stderr)
