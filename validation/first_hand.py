"""Checks whose source was not seen: how each could be, or be shown without it."""

from __future__ import annotations

from validation.check import Check

MEMORY = "from memory"
# words in the source of a check -> how somebody could verify it at first hand
HOW = {
    "ISO 898-1 table of stress areas, fine threads": "the standard; or ISO 724, whose d2 and d3 give it",
    "VDI 2230 table A1": "table A1 of VDI 2230 part 1:2015, columns of coarse threads",
    "example 8-3": "the book, example 8-3 of the ninth edition; its formula (8-26) is seen in sec. 8-8",
    "sec. 8-8": "the book, sec. 8-8, table of K over sizes for f = 0.15",
    "VDI 2230-1 endurance limit": "VDI 2230 part 1, step R9, rolled before heat treatment, and values printed by d",
    "example 8-2": "the book, example 8-2, fig. 8-17 (seen) and the page after it",
    "VDI 2230-1 table A8": "VDI 2230 part 1, table A8; the percentage is (alpha_A - 1)/(alpha_A + 1)",
    "example 4.11": "the book, example 4.11; the figure follows from E, A, alpha and lengths stated there",
    "Incropera table 5.1": "the book, table 5.1; zeta is the root of x tan x = Bi, C = 4 sin x/(2 x + sin 2x)",
    "spark ignition at full load": "measured cycle means in a handbook; the papers behind both laws",
    "Blake and Kurtz 1965": "the book, tables 8-13 and 8-14; the paper, Machine Design 37 (1965) 128",
    "EN 1992-1-1 eq. (3.30)": "the standard, clause 3.3.2 (7)",
    "ASTM E1049 fig. 6": "the standard, fig. 6; or count by hand along its nine reversals",
    "Clopper and Pearson": "Biometrika 26 (1934) 404; or the beta quantiles that the bounds are by definition",
    "Timoshenko & Goodier, art. 28": "put into the equation of equilibrium in r; p at r = a, 0 at r = b",
    "Timoshenko & Woinowsky-Krieger, art. 17": "the book, arts. 17 and 39; or integrate the plate's equation twice",
    "Haythornthwaite 1957": "the work of hinges written out: M_p times their rotations equals that of the load",
    "Gardiner 1957": "Trans. ASME 79 (1957) 1; or moment over depth, elastic and yielded part, taken off elastically",
    "Structural Impact": "the book, chapter 7; or the same work of hinges",
}


def from_memory(check: Check) -> bool:
    """Return whether a check's source, or part of it, was not seen."""
    return MEMORY in check.source


def how(check: Check) -> str:
    """Return how a check from memory could be verified, "" where nobody has said so."""
    return next((words for source, words in HOW.items() if source in check.source), "")
