"""What the command line says of itself, and the libraries that it lists."""

from __future__ import annotations

HELP = """The bolted joint that holds a cylinder head to its block: clamp, gasket pressure, separation, stress.

JOINT is an engine file (bores and studs, solved in three dimensions) or a joint file (one fastener: a rig, a specimen),
both TOML, or the name of a shipped one.
"""
EPILOG = (
    "Exit codes: 0 done; 1 not every requirement is judged and met (only with --strict); 2 unusable input; 3 no "
    "trustworthy solution; 130 interrupted. A design aid, not a substitute for the makers' instructions and a "
    "qualified engineer."
)
LIBRARIES = (
    "joints",
    "cells",
    "rigs",
    "logs",
    "beads",
    "materials",
    "threads",
    "classes",
    "gaskets",
    "laws",
    "tightening",
)
