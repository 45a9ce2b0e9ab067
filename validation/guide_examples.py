"""The fenced examples on the pages of the guide, and the whole files that those in TOML stand for."""

from __future__ import annotations

import re
from dataclasses import dataclass

FENCE = re.compile(
    r"(?:<!-- (?P<mark>slow|not run): [^>]*-->\n)?```(?P<kind>\w*) ?(?P<about>[^\n]*)\n(?P<text>.*?)^```$",
    re.DOTALL | re.MULTILINE,
)


@dataclass(frozen=True)
class Example:
    """A fenced block. kind : console, toml, csv, text (of what was said), python, sh. about : what else the fence says.

    mark : "slow", "not run" or nothing, as the comment before it says; text has that of the console before it.
    """

    kind: str
    about: str
    text: str
    mark: str


def examples(text: str) -> list[Example]:
    found: list[Example] = []
    for one in FENCE.finditer(text):
        mark = found[-1].mark if one["kind"] == "text" else one["mark"] or ""
        found.append(Example(one["kind"], one["about"], one["text"], mark))
    return found


def laid_over(starter: str, fragment: str) -> str:
    """A starter file with a fragment in it: its keys first, and its tables in place of those of the same name."""
    keys, *tables = re.split(r"^(?=\[)", fragment, flags=re.MULTILINE)
    stated = {table.split("]")[0] for table in tables}
    kept = [one for one in re.split(r"^(?=\[)", starter, flags=re.MULTILINE) if one.split("]")[0] not in stated]
    return "\n".join([keys, *kept, *tables])
