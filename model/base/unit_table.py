"""The units that files may use without a unit library: spellings, factors, and what a bare number may mean."""

from __future__ import annotations

import math

POUND_FORCE = 4.4482216152605  # N, exact by definition of the pound and standard gravity
INCH = 25.4  # mm, exact
PSI = POUND_FORCE / INCH**2  # MPa

# dimension -> (internal unit as written to users, pint spelling of it, {spelling: factor to internal})
DIMENSIONS: dict[str, tuple[str, str, dict[str, float]]] = {
    "length": (
        "mm",
        "mm",
        {
            "mm": 1.0,
            "cm": 10.0,
            "m": 1e3,
            "um": 1e-3,
            "µm": 1e-3,
            "in": INCH,
            "inch": INCH,
            "thou": INCH / 1e3,
        },
    ),
    "area": ("mm2", "mm**2", {"mm2": 1.0, "mm^2": 1.0, "cm2": 100.0, "in2": INCH**2, "in^2": INCH**2}),
    "force": (
        "N",
        "N",
        {"N": 1.0, "kN": 1e3, "MN": 1e6, "lbf": POUND_FORCE, "klbf": 1e3 * POUND_FORCE, "kip": 1e3 * POUND_FORCE},
    ),
    "torque": (
        "N.mm",
        "N*mm",
        {
            "N.mm": 1.0,
            "N.m": 1e3,
            "Nm": 1e3,
            "N*m": 1e3,
            "kN.m": 1e6,
            "kNm": 1e6,
            "lbf.ft": POUND_FORCE * INCH * 12.0,
            "ft.lbf": POUND_FORCE * INCH * 12.0,
            "lbf.in": POUND_FORCE * INCH,
        },
    ),
    "pressure": (
        "MPa",
        "MPa",
        {
            "MPa": 1.0,
            "GPa": 1e3,
            "kPa": 1e-3,
            "Pa": 1e-6,
            "bar": 0.1,
            "psi": PSI,
            "ksi": 1e3 * PSI,
            "N/mm2": 1.0,
        },
    ),
    "temperature": ("degC", "degC", {"degC": 1.0, "°C": 1.0}),
    "temperature difference": ("K", "delta_degC", {"K": 1.0, "degC": 1.0, "°C": 1.0, "degF": 1.0 / 1.8}),
    "expansion": (
        "1/K",
        "1/K",
        {"1/K": 1.0, "/K": 1.0, "1/degC": 1.0, "um/m/K": 1e-6, "1/degF": 1.8, "/degF": 1.8},
    ),
    "stiffness per area": (
        "MPa/mm",
        "MPa/mm",
        {"MPa/mm": 1.0, "GPa/mm": 1e3, "N/mm3": 1.0, "psi/in": PSI / INCH},
    ),
    "compliance": ("mm/N", "mm/N", {"mm/N": 1.0, "um/N": 1e-3, "um/kN": 1e-6, "mm/kN": 1e-3}),
    "force per length": ("N/mm", "N/mm", {"N/mm": 1.0, "kN/mm": 1e3, "kN/m": 1.0, "lbf/in": POUND_FORCE / INCH}),
    "time": ("s", "s", {"s": 1.0, "min": 60.0, "h": 3600.0, "day": 86400.0, "days": 86400.0, "d": 86400.0}),
    "angle": ("rad", "rad", {"rad": 1.0, "deg": math.pi / 180.0, "°": math.pi / 180.0}),
    "heat transfer coefficient": (
        "W/(m2 K)",
        "W/m**2/K",
        {"W/m2K": 1.0, "W/(m2 K)": 1.0, "W/m2/K": 1.0, "W/(m2.K)": 1.0, "kW/m2K": 1e3, "W/(m^2 K)": 1.0},
    ),
    "energy per amount": ("J/mol", "J/mol", {"J/mol": 1.0, "kJ/mol": 1e3}),
    "rotational speed": ("1/min", "rpm", {"1/min": 1.0, "rpm": 1.0, "rev/min": 1.0, "1/s": 60.0}),
    "thermal conductivity": (
        "W/(m K)",
        "W/m/K",
        {"W/mK": 1.0, "W/(m K)": 1.0, "W/m/K": 1.0, "W/(m.K)": 1.0},
    ),
}

# dimension -> how a user may write it, for messages
EXAMPLE = {
    "length": "'1.2 mm' or '0.047 in'",
    "area": "'2400 mm2' or '3.7 in2'",
    "force": "'65 kN' or '14600 lbf'",
    "torque": "'120 N.m' or '90 lbf.ft'",
    "pressure": "'110 GPa', '90 bar' or '1300 psi'",
    "temperature": "'118 degC' or '245 degF'",
    "temperature difference": "'15 K' or '27 degF'",
    "expansion": "'12e-6 1/K'",
    "stiffness per area": "'4000 MPa/mm'",
    "compliance": "'0.5 um/kN'",
    "force per length": "'120 N/mm'",
    "time": "'24 h' or '10 min'",
    "angle": "'90 deg'",
    "heat transfer coefficient": "'400 W/m2K'",
    "energy per amount": "'40 kJ/mol'",
    "rotational speed": "'6000 1/min' or '6000 rpm'",
    "thermal conductivity": "'0.03 W/mK'",
}

# dimensions of which a bare number other than 0 is refused, and the units that may have been meant
NEEDS_UNIT = {
    "force": ("N", "kN", "lbf"),
    "torque": ("N.m", "lbf.ft"),
    "compliance": ("um/kN", "mm/N"),
    "force per length": ("kN/mm", "lbf/in"),
    "time": ("s", "h"),
    "angle": ("deg", "rad"),
    "energy per amount": ("kJ/mol", "J/mol"),
}

# dimension -> {how people write it, small letters, a hyphen for whatever stands between words: as the table has it}
ALSO_WRITTEN = {
    "length": {"mil": "thou", "mils": "thou", "inches": "in", '"': "in"},
    "torque": {
        **dict.fromkeys(("ft-lb", "ft-lbs", "ft-lbf", "lb-ft", "lbs-ft", "lbf-ft"), "lbf.ft"),
        **dict.fromkeys(("in-lb", "in-lbs", "in-lbf", "lb-in", "lbs-in", "lbf-in"), "lbf.in"),
        "n-m": "N.m",
        "kn-m": "kN.m",
    },
    "pressure": {"psig": "psi", "psi": "psi", "barg": "bar"},
    "temperature": {"f": "degF", "deg-f": "degF", "degf": "degF", "c": "degC", "deg-c": "degC", "degc": "degC"},
    "temperature difference": {
        "k": "K",
        "f": "degF",
        "deg-f": "degF",
        "degf": "degF",
        "c": "degC",
        "deg-c": "degC",
        "degc": "degC",
    },  # fmt: skip
    "angle": {"degrees": "deg", "degree": "deg"},
}

# spellings in which a workshop that reckons in US units writes; those of SI are the others of the same dimensions
WORKSHOP_SPELLINGS = {
    "in", "inch", "thou", "in2", "in^2", "lbf", "klbf", "kip", "lbf.ft", "ft.lbf", "lbf.in", "psi", "ksi", "psi/in",
    "lbf/in", "degF", "°F", "1/degF", "/degF",
}  # fmt: skip
WORKSHOP_SPELLINGS |= {
    also for table in ALSO_WRITTEN.values() for also, as_known in table.items() if as_known in WORKSHOP_SPELLINGS
}
WORKSHOP_SPELLINGS |= {"F", "deg F"}
