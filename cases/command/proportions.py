"""Typical proportions of an engine, each with its reason: what `headjoint new` takes where a builder says nothing.

All are common practice, no source: middles of what engines with bores of 65 to 140 mm have. The guide's page
`new-engine` lists them; a test holds that list against this one.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Proportion:
    """A share of the bore or of the stud's thread diameter, and why it is about that."""

    share: float
    of: str
    why: str

    @property
    def words(self) -> str:
        """What is taken, in words."""
        return f"{self.share:g} x {self.of}"


PROPORTIONS: dict[str, Proportion] = {
    "pitch": Proportion(1.14, "bore", "a bridge of a seventh of the bore has room for two sealing lines"),
    "stud": Proportion(0.128, "bore", "four studs a bore; of six, each is thinner so that all together pull alike"),
    "fire deck, aluminium": Proportion(0.16, "bore", "a plate over the bore under gas; a thick one runs hot"),
    "fire deck, iron": Proportion(0.12, "bore", "iron is half as stiff again as aluminium and bears more heat"),
    "upper deck, aluminium": Proportion(0.13, "bore", "carries the nuts between the columns"),
    "upper deck, iron": Proportion(0.10, "bore", "the same in iron"),
    "head height": Proportion(1.02, "bore", "ports and valve gear stand over a bore as high as wide"),
    "side wall, aluminium": Proportion(0.11, "bore", "cast wall that the decks hang on"),
    "side wall, iron": Proportion(0.08, "bore", "iron is cast thinner"),
    "centre column": Proportion(0.51, "bore", "plug well or injector and valve guides over the middle of the bore"),
    "bridge web": Proportion(0.16, "bore", "port walls between two bores"),
    "web between studs": Proportion(0.09, "bore", "round a single bore, half-way between its studs"),
    "column": Proportion(2.18, "stud", "the washer's size, so that the head's column is pressed all over"),
    "nut": Proportion(1.55, "stud", "bearing diameter of a twelve-point nut, as high as the stud is thick"),
    "washer thickness": Proportion(0.36, "stud", "hardened; thick enough that nearly all of it bears"),
    "shank": Proportion(0.93, "stud", "rolled thread: a shank of about the pitch diameter"),
    "free thread at the nut": Proportion(1.1, "stud", "thread left under the nut"),
    "free thread at the block": Proportion(0.55, "stud", "run-out over the block's first thread"),
    "engagement, iron": Proportion(2.0, "stud", "the stud is to break before the thread in iron strips"),
    "engagement, aluminium": Proportion(2.5, "stud", "aluminium shears at less"),
    "counterbore": Proportion(0.9, "stud", "keeps the pull of the first threads off the deck's face"),
    "block height": Proportion(1.4, "bore", "what of the block takes part; below it is too far away to matter"),
    "bore wall": Proportion(0.093, "bore", "bore to water, liner in it"),
    "water jacket": Proportion(0.052, "bore", "width of the core"),
    "jacket depth": Proportion(0.81, "bore", "water as deep as the rings run"),
    "block deck": Proportion(0.116, "bore", "closed deck over the water"),
    "sealing band": Proportion(0.058, "bore", "from the bore's edge to the end of the gasket's rings, one side"),
    "gas on the wall": Proportion(0.14, "bore", "how far down the piston has gone at peak pressure"),
}
NARROWEST_COLUMN = 1.9  # x stud: where studs stand close, columns are this wide at least
NARROWEST_BORE_WALL = 0.072  # x bore
NARROWEST_JACKET = 2.5  # mm: a thinner core breaks; left out then
NARROWEST_BAND = 2.2  # mm for all rings on one side of the bore
TORQUE_STRESS = 0.7  # of yield while the wrench turns: below the 0.9 of VDI 2230-1 table A1, to have some in hand
STUDS = ("M8", "M9", "M10x1.25", "M11x1.25", "M12x1.5", "M14x1.5", "M16x1.5", "M18x1.5", "M20x1.5")
INCH_STUDS = ("5/16-24 UNF", "3/8-24 UNF", "7/16-20 UNF", "1/2-20 UNF", "9/16-18 UNF", "5/8-18 UNF")
NO_SOURCE = "common practice, no source"


def of_bore(name: str, bore: float) -> float:
    """Return a proportion of the bore, mm."""
    return _share(name, "bore") * bore


def of_stud(name: str, diameter: float) -> float:
    """Return a proportion of the stud's thread diameter, mm."""
    return _share(name, "stud") * diameter


def _share(name: str, of: str) -> float:
    one = PROPORTIONS[name]
    assert one.of == of
    return one.share
