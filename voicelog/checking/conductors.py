"""Copper conductors: resistance from size and length, cold and at operating temperature.

Resistances are ohm, lengths m, areas mm2, temperatures degC. The data lie in ``shared/conductors.toml``.
"""

import tomllib
from decimal import Decimal
from functools import cache

from voicelog.checking.edition import Origin, Positive
from voicelog.checking.weighing import Unknown, plain
from voicelog.installation import Cable
from voicelog.model import Noun
from voicelog.resources import data_folder


class Resistance(Origin):
    """milliohm per metre at 20 degC by cross-section in mm2."""

    mohm_per_m: dict[Positive, Positive]


class Factors(Origin):
    """Multipliers by temperature in degC."""

    factors: dict[Positive, Positive]


class Conductors(Noun):
    """What ``shared/conductors.toml`` holds."""

    resistance: Resistance
    operating: Factors


@cache
def copper() -> Conductors:
    """The table of plain copper conductors (read once; it never changes while the program runs)."""
    text = data_folder("shared").joinpath("conductors.toml").read_text(encoding="utf-8")
    return Conductors.model_validate(tomllib.loads(text))


def ohm_per_m(area_mm2: Decimal) -> Decimal | Unknown:
    """Resistance of one conductor at 20 degC, ohm per metre."""
    table = copper().resistance.mohm_per_m
    if area_mm2 not in table:
        return Unknown(why=f"the conductor table has no {plain(area_mm2)} mm2")
    return table[area_mm2] / 1000


def pair_ohm_per_m(cable: Cable) -> Decimal | Unknown:
    """R1+R2 of a cable at 20 degC, ohm per metre."""
    line, cpc = ohm_per_m(cable.line_mm2), ohm_per_m(cable.cpc_mm2)
    return next((part for part in (line, cpc) if isinstance(part, Unknown)), None) or line + cpc


def operating_factor(limit_C: Decimal) -> Decimal | Unknown:
    """From 20 degC to operating temperature."""
    factors = copper().operating.factors
    return factors.get(limit_C) or Unknown(why=f"no operating factor is tabulated for {plain(limit_C)} degC")


def r2_to_r1(cable: Cable) -> Decimal | Unknown:
    """r2/r1 by tabulated resistance (1.63 for 2.5/1.5, where the areas alone give 1.67)."""
    line, cpc = ohm_per_m(cable.line_mm2), ohm_per_m(cable.cpc_mm2)
    return next((part for part in (line, cpc) if isinstance(part, Unknown)), None) or cpc / line


def length_m(ohm: Decimal, area_mm2: Decimal) -> Decimal | Unknown:
    """The length of one conductor at 20 degC that has a resistance."""
    per_m = ohm_per_m(area_mm2)
    return per_m if isinstance(per_m, Unknown) else ohm / per_m
