"""Workers of a dask scheduler, on this machine or others: what they must have in common with the one that asks.

A worker reads the files that a joint names by itself, condenses by its own libraries and keeps that in its own cache.
So it must find the same files under the same paths, and have the same headjoint - the same code, for between releases
versions do not tell - and the same libraries; else answers would hang on which worker did what. Each worker says so
before the first evaluation and again with every chunk, for workers may join later.
"""

from __future__ import annotations

import dataclasses
import hashlib
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.elements.memory import Share, take_share
from headjoint.model.base.errors import InputError, JointError
from headjoint.model.base.named_files import ALLOWED
from headjoint.postproc.designs.outcome import Source

LIBRARIES = ("headjoint", "numpy", "scipy", "scikit-fem", "gmsh", "msgspec")  # what shapes and solves a joint
FOLDERS = ("model", "meshes", "cases", "postproc")
FIELD = "--workers-at"
SAME = "give every machine the same headjoint, libraries and files, the latter under the same paths"
START = "start one with `dask scheduler`, and workers with `dask worker ADDRESS --nthreads 1`"
LONGEST_WAIT = 10.0  # s for the first worker
PYTHON = "{}.{}".format(*sys.version_info)
Traits = dict[str, str]  # what must be the same, by what it is called


@cache
def _code() -> str:
    """Return a name for all of headjoint's own code and data."""
    digest = hashlib.blake2b(digest_size=16)
    for folder in FOLDERS:
        home = Path(import_module(f"headjoint.{folder}").__file__ or "").parent
        for path in sorted(home.rglob("*")):
            if path.suffix in (".py", ".toml"):
                digest.update(path.relative_to(home).as_posix().encode() + path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def traits(source: Source) -> Traits:
    """Return what this process would work with on a source."""
    found = {"Python": PYTHON}
    found |= {name: version(name) for name in LIBRARIES}
    found |= {"headjoint's own code": _code(), "sparse solver": solver_name()}
    here = dataclasses.replace(source)  # what one machine has looked up does not count on another
    try:
        found[f"what {source.file} says and names"] = here.identity
    except (JointError, OSError) as error:
        found[f"what {source.file} says and names"] = str(error)
    return found


def check_same(own: Mapping[str, str], other: Mapping[str, str], worker: str) -> None:
    """Raise InputError where a worker would work with anything else, naming what differs."""
    pairs = [(name, here, other.get(name, "none")) for name, here in own.items()]
    different = [f"{name}: {there} there, {here} here" for name, here, there in pairs if there != here]
    if different:
        raise InputError(f"the worker {worker} is not like this machine ({'; '.join(different)}); {SAME}", field=FIELD)


@contextmanager
def dask_client(address: str) -> Iterator[Any]:
    """Give a client of the scheduler at an address, whose workers have one thread and the same libraries.

    Raises InputError where there is no scheduler, no worker, or one that is not like this machine.
    """
    try:
        from distributed import Client
    except ImportError:
        words = 'needs dask.distributed: pip install "headjoint[cluster]"'
        raise InputError(words, field=FIELD, value=address) from None
    try:
        client = Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        words = f"no dask scheduler answers there ({type(error).__name__}); {START}"
        raise InputError(words, field=FIELD, value=address) from None
    try:
        _check_workers(client, address)
        yield client
    finally:
        client.close()


def _check_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=LONGEST_WAIT)
    except TimeoutError:
        raise InputError(f"the scheduler there has no workers; {START}", field=FIELD, value=address) from None
    many = [worker for worker, threads in client.nthreads().items() if threads != 1]
    if many:
        words = f"the worker {many[0]} works on several things in one process; give it --nthreads 1"
        raise InputError(words, field=FIELD, value=address)
    # asked of dask itself: a worker without headjoint could not run a function of it
    told = client.get_versions(packages=list(LIBRARIES))["workers"]
    own = {"Python": PYTHON} | {name: version(name) for name in LIBRARIES}
    for worker, one in told.items():
        packages = {name: str(one["packages"].get(name) or "none") for name in LIBRARIES}
        check_same(own, packages | {"Python": ".".join(one["host"]["python"].split(".")[:2])}, worker)


def check_all(client: Any, own: Traits, source: Source, allowed: str) -> None:
    """Raise InputError where a worker that is there already is not like this machine."""
    workers = list(client.nthreads())
    try:
        client.gather([client.submit(on_worker, own, source, allowed, workers=[one], pure=False) for one in workers])
    except (ImportError, AttributeError) as error:
        raise InputError(f"a worker there has another headjoint ({error}); {SAME}", field=FIELD) from None


def on_worker(own: Traits, source: Source, allowed: str) -> None:
    """Make sure that this process, a worker's, is like the one that asks, and keep it to its memory.

    allowed : folders of files that a source may name besides its own.
    """
    from distributed import get_worker

    os.environ[ALLOWED] = allowed
    worker = get_worker()
    check_same(own, _kept_traits(source, allowed), worker.address)
    limit = worker.memory_manager.memory_limit
    take_share(Share(float(limit), " for this worker", "start workers with more (--memory-limit)") if limit else None)


_TRAITS: dict[str, Traits] = {}


def _kept_traits(source: Source, allowed: str) -> Traits:
    """Return the traits, looked up once for every source: a run is one of a file as it was when the run began."""
    name = repr((source.content, source.file, source.folder, source.model, allowed))
    if name not in _TRAITS:
        _TRAITS.clear()
        _TRAITS[name] = traits(source)
    return _TRAITS[name]
