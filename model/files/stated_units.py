"""In whose units a file is written: those in which its answer should be told, too."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from typing import Any

from headjoint.model.base.figure import Units
from headjoint.model.base.unit_table import DIMENSIONS, WORKSHOP_SPELLINGS

# dimensions that workshops in the US reckon in units of their own; hours and degrees of turn are everybody's
TOLD_APART = ("length", "area", "force", "torque", "pressure", "temperature", "force per length")
SI_SPELLINGS = {unit for name in TOLD_APART for unit in DIMENSIONS[name][2]} - WORKSHOP_SPELLINGS
QUANTITY = re.compile(r"^\s*[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?\s*(\S.*?)\s*$")


def units_of_file(text: str) -> Units:
    """Return "workshop" where most quantities of a file's TOML text are in US workshop units, else "si".

    Text that is no TOML has no quantities: whoever reads it says what is wrong.
    """
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return "si"
    return units_of_quantities(_texts(content))


def units_of_quantities(texts: Iterable[str]) -> Units:
    """Return the units in which most of the quantities among `texts` are written, "si" where as many are."""
    units = [found[1] for text in texts if (found := QUANTITY.match(text))]
    workshop = sum(unit in WORKSHOP_SPELLINGS for unit in units)
    return "workshop" if workshop > sum(unit in SI_SPELLINGS for unit in units) else "si"


def _texts(value: Any) -> Iterator[str]:
    """Yield every text of a parsed file."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, (dict, list)):
        for entry in value.values() if isinstance(value, dict) else value:
            yield from _texts(entry)
