"""Fields with names along their axes and units in their attributes, and solids to turn, for notebooks."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from headjoint.model.base.errors import InputError

if TYPE_CHECKING:
    from pyvista import DataSet
    from xarray import Dataset

# name -> (axes, values, unit); no unit for names of things
Labelled = Mapping[str, tuple[tuple[str, ...], Any, str]]


def dataset(title: str, places: Labelled, fields: Labelled) -> Dataset:
    """Return fields over named axes as xarray has them, `attrs["units"]` on each.

    Raises InputError where xarray is not installed.
    """
    try:
        from xarray import Dataset
    except ImportError:
        raise InputError("needs xarray: pip install 'headjoint[notebook]'", field="dataset") from None

    def with_units(named: Labelled) -> dict[str, tuple[tuple[str, ...], Any, dict[str, str]]]:
        return {name: (axes, values, {"units": unit} if unit else {}) for name, (axes, values, unit) in named.items()}

    return Dataset(with_units(fields), with_units(places), {"title": title})


def grids(write: Callable[[Path], object]) -> dict[str, DataSet]:
    """Return what `write` writes as VTU files into a folder, by the files' names, as pyvista has it."""
    import pyvista

    with tempfile.TemporaryDirectory() as folder:
        write(Path(folder))
        return {path.stem: pyvista.read(path) for path in sorted(Path(folder).glob("*.vtu"))}
