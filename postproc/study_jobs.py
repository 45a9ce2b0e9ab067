"""What the study commands do: run, write, print."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from headjoint.cases.cli_tools import check_json, read_stated, write_text
from headjoint.cases.output_paths import check_folder
from headjoint.cases.study_options import study_progress
from headjoint.postproc.study_evaluation import source_of
from headjoint.postproc.study_run import Workers


def sweep_job(
    joint: str, over: Sequence[str], output: Path | None, json_file: str | None, workers: int | None, workers_at: str
) -> None:
    """Sweep a joint over one or two quantities."""
    from headjoint.postproc.sweep import print_sweep, run_sweep, sweep_document, write_sweep_files

    path, _ = read_stated(joint)
    folder = _checked(output, path, json_file)
    kept = _kept(folder, output, json_file)
    with study_progress(folder) as (done, stage):
        sweep = run_sweep(source_of(path), over, kept, Workers(workers, workers_at), done, stage)
        stage("pictures")
        document = sweep_document(sweep)
        written = _written(document, json_file, lambda: write_sweep_files(sweep, document, folder))
    if written is not None:
        print_sweep(sweep, written)


def compare_job(
    joints: Sequence[str],
    vary: Sequence[str],
    output: Path | None,
    json_file: str | None,
    workers: int | None,
    workers_at: str,
) -> None:
    """Put joints, or variants of one, beside each other."""
    from headjoint.postproc.compare import (
        comparison_document,
        print_comparison,
        run_comparison,
        write_comparison_files,
    )

    paths = [read_stated(joint)[0] for joint in joints]
    folder = _checked(output, paths[0] if len(paths) == 1 else Path("comparison"), json_file)
    kept = _kept(folder, output, json_file)
    with study_progress(folder) as (done, stage):
        sources = [source_of(path) for path in paths]
        comparison = run_comparison(sources, vary, kept, Workers(workers, workers_at), done, stage)
        stage("pictures")
        document = comparison_document(comparison)
        written = _written(document, json_file, lambda: write_comparison_files(comparison, document, folder))
    if written is not None:
        print_comparison(comparison, written)


def scatter_job(
    joint: str,
    samples: int | None,
    seed: int | None,
    output: Path | None,
    json_file: str | None,
    workers: int | None,
    workers_at: str,
) -> None:
    """Sample a batch of joints."""
    from headjoint.postproc.scatter import print_scatter, run_scatter, scatter_document, write_scatter_files

    path, _ = read_stated(joint)
    folder = _checked(output, path, json_file)
    kept = _kept(folder, output, json_file)
    with study_progress(folder) as (done, stage):
        scatter = run_scatter(source_of(path), samples, seed, kept, Workers(workers, workers_at), done, stage)
        stage("pictures")
        document = scatter_document(scatter)
        written = _written(document, json_file, lambda: write_scatter_files(scatter, document, folder))
    if written is not None:
        print_scatter(scatter, written)


def size_job(
    joint: str, find: Sequence[str], output: Path | None, json_file: str | None, workers: int | None, workers_at: str
) -> None:
    """Answer inverse questions about a joint."""
    from headjoint.postproc.size import run_size
    from headjoint.postproc.size_report import print_sized, size_document, write_size_files

    path, _ = read_stated(joint)
    folder = _checked(output, path, json_file)
    kept = _kept(folder, output, json_file)
    with study_progress(folder) as (done, stage):
        sized = run_size(source_of(path), find, kept, Workers(workers, workers_at), done, stage)
        stage("pictures")
        document = size_document(sized)
        written = _written(document, json_file, lambda: write_size_files(sized, document, folder))
    if written is not None:
        print_sized(sized, written)


def _checked(output: Path | None, path: Path, json_file: str | None) -> Path:
    check_json(json_file)
    return check_folder(output or Path(f"headjoint-{path.stem}"))


def _kept(folder: Path, output: Path | None, json_file: str | None) -> Path | None:
    """Return where evaluations are kept: JSON to a pipe writes nothing, unless a folder is named."""
    return None if json_file == "-" and output is None else folder


def _written(document: dict[str, Any], json_file: str | None, write: Callable[[], list[Path]]) -> list[Path] | None:
    """Write the files and return them; with JSON to standard output nothing but that, and None."""
    if json_file == "-":
        print(json.dumps(document))
        return None
    written = write()
    if json_file is not None:
        write_text(Path(json_file), json.dumps(document))
    return written
