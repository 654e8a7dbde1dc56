"""Earth leakage of appliances by kind, mA (``shared/appliances.toml``): to weigh a sum, never to judge a reading."""

import tomllib
from decimal import Decimal
from functools import cache

from voicelog.checking.edition import Origin, Positive
from voicelog.model import Noun
from voicelog.resources import data_folder


class Appliance(Origin):
    """What one kind of appliance may leak, or was found to leak."""

    kind: str
    at_most_mA: Positive
    typical_mA: Positive | None = None
    per_kW_mA: Positive | None = None  # for each kW, when that is more
    ceiling_mA: Positive | None = None  # the most that per_kW_mA can lead to

    def leakage_mA(self, power_kW: Decimal = Decimal(0)) -> Decimal:
        """The most it may leak at a power: 0.75 mA or 0.75 mA per kW, whichever is larger, up to 5 mA."""
        by_power = (self.per_kW_mA or Decimal(0)) * power_kW
        most = max(self.at_most_mA, by_power)
        return min(most, self.ceiling_mA) if self.ceiling_mA else most


class Appliances(Noun):
    """What ``shared/appliances.toml`` holds."""

    appliance: tuple[Appliance, ...]


@cache
def appliances() -> dict[str, Appliance]:
    """Every kind by name (read once; it never changes while the program runs)."""
    text = data_folder("shared").joinpath("appliances.toml").read_text(encoding="utf-8")
    return {row.kind: row for row in Appliances.model_validate(tomllib.loads(text)).appliance}
