"""What the study commands do: run, write, print."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headjoint.cases.command.cli_tools import check_json, delivered, read_stated
from headjoint.cases.command.output_paths import check_folder
from headjoint.cases.command.study_options import study_progress
from headjoint.postproc.designs.outcome import source_of
from headjoint.postproc.designs.run import Workers


@dataclass(frozen=True)
class _Kind:
    """How one kind of study is run, told and written: its module's functions.

    run : from where evaluations are kept, workers, and who is told of progress, to the study.
    """

    run: Callable[..., Any]
    document: Callable[[Any], dict[str, Any]]
    write: Callable[[Any, dict[str, Any], Path], list[Path]]
    show: Callable[[Any, list[Path]], None]


def sweep_job(joint: str, over: Sequence[str], **options: Any) -> None:
    """Sweep a joint over one or two quantities; options : those of `study_options`, here and below."""
    from headjoint.postproc.studies.sweep import run_sweep
    from headjoint.postproc.studies.sweep_report import print_sweep, sweep_document, write_sweep_files

    path, _ = read_stated(joint)
    kind = _Kind(lambda *rest: run_sweep(source_of(path), over, *rest), sweep_document, write_sweep_files, print_sweep)
    _study(kind, path, **options)


def compare_job(joints: Sequence[str], vary: Sequence[str], **options: Any) -> None:
    """Put joints, or variants of one, beside each other."""
    from headjoint.postproc.studies.compare import run_comparison
    from headjoint.postproc.studies.compare_report import comparison_document, print_comparison, write_comparison_files

    paths = [read_stated(joint)[0] for joint in joints]
    kind = _Kind(
        lambda *rest: run_comparison([source_of(path) for path in paths], vary, *rest),
        comparison_document,
        write_comparison_files,
        print_comparison,
    )
    _study(kind, paths[0] if len(paths) == 1 else Path("comparison"), **options)


def scatter_job(joint: str, samples: int | None, seed: int | None, **options: Any) -> None:
    """Sample a batch of joints."""
    from headjoint.postproc.studies.scatter import run_scatter
    from headjoint.postproc.studies.scatter_report import print_scatter, scatter_document, write_scatter_files

    path, _ = read_stated(joint)
    kind = _Kind(
        lambda *rest: run_scatter(source_of(path), samples, seed, *rest),
        scatter_document,
        write_scatter_files,
        print_scatter,
    )
    _study(kind, path, **options)


def size_job(joint: str, find: Sequence[str], **options: Any) -> None:
    """Answer inverse questions about a joint."""
    from headjoint.postproc.studies.size import run_size
    from headjoint.postproc.studies.size_report import print_sized, size_document, write_size_files

    path, _ = read_stated(joint)
    kind = _Kind(lambda *rest: run_size(source_of(path), find, *rest), size_document, write_size_files, print_sized)
    _study(kind, path, **options)


def _study(
    kind: _Kind, path: Path, *, output: Path | None, json_file: str | None, workers: int | None, workers_at: str
) -> None:
    """Run a study named after `path`, write its files and print it; with JSON to standard output nothing but that."""
    check_json(json_file)
    folder = check_folder(output or Path(f"headjoint-{path.stem}"))
    # JSON to a pipe writes nothing, unless a folder is named
    kept = None if json_file == "-" and output is None else folder
    with study_progress(folder) as (done, stage):
        study = kind.run(kept, Workers(workers, workers_at), done, stage)
        stage("pictures")
        document = kind.document(study)
        written = delivered(document, json_file, lambda: kind.write(study, document, folder), indent=None)
    if written is not None:
        kind.show(study, written)
