"""Studies on several machines: workers in folders and environments of their own, and what they must have in common."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import pytest
from conftest import shipped_text

import headjoint
from headjoint.model.base.errors import InputError
from headjoint.postproc.designs.machines import LIBRARIES, _check_workers, check_same, traits
from headjoint.postproc.designs.outcome import Task, source_of
from headjoint.postproc.designs.run import Workers, run_study

PACKAGE = Path(headjoint.__file__).parent
LAW = "closure [mm], pressure [MPa]\n0, 0\n0.1, 60\n"


@pytest.fixture
def engine(tmp_path) -> Path:
    """A joint whose law stands in a table beside it."""
    text = shipped_text("boosted-four-steel").replace('law = "multi-layer steel bead"', 'law = "mine"', 1)
    law = '\n[gasket.laws.mine]\nfile = "bead.csv"\nunloading_stiffness = "2000 MPa/mm"\n'
    (tmp_path / "engine").mkdir()
    (tmp_path / "engine" / "bead.csv").write_text(LAW)
    path = tmp_path / "engine" / "joint.toml"
    path.write_text(text + law + '\n[mesh]\nelement_size = "3 mm"\n')
    return path


def test_what_differs_is_named_with_both_sides_and_the_worker():
    own = {"Python": "3.11", "numpy": "2.1.0", "headjoint": "0.1.0"}
    check_same(own, own | {"more": "of no matter"}, "tcp://one")
    with pytest.raises(InputError) as refused:
        check_same(own, {"Python": "3.12", "headjoint": "0.1.0"}, "tcp://one")
    assert "tcp://one is not like this machine (Python: 3.12 there, 3.11 here; numpy: none there, 2.1.0 here)" in str(
        refused.value
    )
    assert "the same paths" in str(refused.value)


def test_files_that_a_joint_names_are_part_of_what_must_be_the_same(engine):
    source = source_of(engine)
    before = traits(source)
    assert before == traits(source_of(engine))
    (engine.parent / "bead.csv").write_text(LAW.replace("60", "61"))
    after = traits(source_of(engine))
    assert {name for name, words in before.items() if after[name] != words} == {"what joint.toml says and names"}
    (engine.parent / "bead.csv").unlink()
    assert "no such file" in traits(source)["what joint.toml says and names"]


def test_a_source_is_found_from_any_folder(engine, monkeypatch):
    monkeypatch.chdir(engine.parent)
    source = source_of(Path("joint.toml"))
    monkeypatch.chdir("/")
    source.design({"torque": "60 N.m"})


def client(**changed) -> SimpleNamespace:
    """What dask tells of one worker that is like this machine but for what is changed."""
    packages = {name: version(name) for name in LIBRARIES} | changed.get("packages", {})
    python = changed.get("python", "{}.{}.{}.final.0".format(*sys.version_info))
    told = {"workers": {"tcp://one": {"host": {"python": python}, "packages": packages}}}
    return SimpleNamespace(
        wait_for_workers=changed.get("wait", lambda count, timeout: None),
        nthreads=lambda: {"tcp://one": changed.get("threads", 1)},
        get_versions=lambda packages: told,
    )


def none_comes(count: int, timeout: float) -> None:
    raise TimeoutError


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"wait": none_comes}, "has no workers; start one with"),
        ({"threads": 4}, "tcp://one works on several things in one process; give it --nthreads 1"),
        ({"packages": {"headjoint": None}}, "headjoint: none there, "),
        ({"packages": {"headjoint": "0.0.9"}}, "headjoint: 0.0.9 there, "),
        ({"packages": {"gmsh": "4.0.1"}}, "gmsh: 4.0.1 there, "),
        ({"python": "3.10.2.final.0"}, "Python: 3.10 there, "),
    ],
)
def test_workers_that_cannot_give_the_same_answers_are_refused_before_anything_is_sent(changed, words):
    _check_workers(client(), "tcp://scheduler")
    with pytest.raises(InputError, match="--workers-at") as refused:
        _check_workers(client(**changed), "tcp://scheduler")
    assert words in str(refused.value)


@contextmanager
def running(folder: Path, *command: str, package: Path = PACKAGE.parent):
    """A dask process in a folder, with cache, home and temporary files of its own."""
    for name in ("cache", "home", "tmp", "here"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    own = {"XDG_CACHE_HOME": "cache", "HOME": "home", "TMPDIR": "tmp"}
    surroundings = os.environ | {name: str(folder / place) for name, place in own.items()}
    surroundings["PYTHONPATH"] = str(package)
    with (folder / "said").open("wb") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli." + command[0], *command[1:]],
            cwd=folder / "here",
            env=surroundings,
            stdout=said,
            stderr=said,
        )
        try:
            yield
        finally:
            process.terminate()
            process.wait()


@pytest.mark.long
@pytest.mark.slow
def test_workers_in_folders_and_environments_of_their_own_give_the_same_and_another_code_is_refused(
    engine, tmp_path, monkeypatch
):
    distributed = pytest.importorskip("distributed")
    at = tmp_path / "scheduler.json"
    worker = ("dask_worker", "--scheduler-file", str(at), "--nthreads", "1", "--no-dashboard")
    monkeypatch.chdir(engine.parent)
    source = source_of(Path("joint.toml"))
    tasks = [Task({"torque": f"{torque} N.m"}) for torque in range(60, 90)]
    tasks += [Task({"mesh.element_size": "3.2 mm"})]
    alone = run_study(source, tasks, None, Workers(1)).outcomes
    with running(
        tmp_path / "scheduler", "dask_scheduler", "--scheduler-file", str(at), "--no-dashboard", "--port", "0"
    ):
        until = time.monotonic() + 60.0
        while not at.exists() and time.monotonic() < until:
            time.sleep(0.2)
        address = json.loads(at.read_text())["address"]

        def wait_for(workers: int) -> None:
            with distributed.Client(address, set_as_default=False) as counts:
                counts.wait_for_workers(workers, timeout=120.0)

        with pytest.raises(InputError, match="has no workers"):
            run_study(source, tasks, None, Workers(address=address))
        with running(tmp_path / "one", *worker), running(tmp_path / "two", *worker):
            wait_for(2)
            assert run_study(source, tasks, None, Workers(address=address)).outcomes == alone
        other = tmp_path / "other"
        shutil.copytree(PACKAGE, other / "headjoint", symlinks=False)
        with (other / "headjoint" / "model" / "joint.py").open("a") as code:
            code.write("# another\n")
        refused = pytest.raises(InputError, match="headjoint's own code: ")
        with running(tmp_path / "three", *worker, package=other):
            wait_for(1)
            with refused:
                run_study(source, tasks, None, Workers(address=address))
