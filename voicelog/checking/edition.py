"""The nouns of a limit edition: what ``shared/editions/*.toml`` may hold, table by table.

Everything is ``Decimal``, with the unit in the name. Each row is an ``Origin``: it carries where
its figures come from and whether they were seen on a page, computed, or recalled.
"""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field

from voicelog.installation import Earthing, Load, RcdType
from voicelog.model import Noun

Positive = Annotated[Decimal, Field(gt=0)]
Part = Annotated[Decimal, Field(gt=0, le=1)]
Mark = Literal["page", "computed", "memory"]
MARKS: dict[str, str] = {"page": "seen on a page", "computed": "computed", "memory": "from memory, not confirmed"}


class Origin(Noun):
    """Where the figures of a row come from."""

    mark: Mark
    source: str = Field(min_length=1)

    @property
    def origin(self) -> str:
        """Source and mark in one line, as a verdict shows it."""
        return f"{self.source} [{MARKS[self.mark]}]"


class BreakerRow(Origin):
    """Zs of circuit-breakers: Uo x Cmin / (multiple x In)."""

    standards: tuple[str, ...]
    type: str
    multiple: Positive
    from_s: Positive  # for required disconnection times from this one up


class FuseRow(Origin):
    """Zs of fuses, tabulated in ohm by rated current in A."""

    standards: tuple[str, ...]
    from_s: Positive
    limits_ohm: dict[Positive, Positive]
    memory_only: tuple[Positive, ...] = ()  # ratings that no page confirmed


class RcdLoop(Origin):
    """Zs or RA of circuits whose fault protection is an RCD, in ohm by rated residual current in mA."""

    limits_ohm: dict[Positive, Positive]
    touch_voltage_V: Positive
    stable_ohm: Positive


class Loop(Origin):
    """Earth fault loop impedance."""

    nominal_voltage_V: Positive
    cmin: Part
    measured_factor: Part
    decimals: Annotated[int, Field(ge=0, le=4)]
    breaker: tuple[BreakerRow, ...]
    fuse: tuple[FuseRow, ...]
    rcd: RcdLoop


class DisconnectionRow(Origin):
    """Greatest disconnection times of a system at a line-to-earth voltage over one value, up to another."""

    system: Literal["TN", "TT"]
    over_V: Positive
    to_V: Positive
    final_s: Positive
    other_s: Positive


class Final(Origin):
    """The final circuits that the short times are for."""

    sockets_to_A: Positive
    fixed_to_A: Positive


class BreakTime(Origin):
    """RCD break time at a multiple of the rated residual current."""

    multiple: Literal["0.5", "1", "2", "5"]
    delayed: bool
    at_least_ms: Positive | None = None
    at_most_ms: Positive
    to_mA: Positive | None = None  # only for devices rated so or less
    required: bool = True  # False: pointed out, never a failure by itself


class Hold(Origin):
    """The multiple at which an RCD must hold, and for how long."""

    multiple: Literal["0.5"]
    hold_ms: Positive


class Window(Origin):
    """Operating current on a ramp, in multiples of the rated residual current."""

    waveform: str
    types: tuple[RcdType, ...]
    low: Positive
    high: Positive
    to_mA: Positive | None = None  # only for devices rated so or less; first match counts


class TypeRow(Origin):
    """What a type of RCD bears: smooth d.c., and the loads it is chosen for."""

    type: RcdType
    smooth_dc_mA: Positive
    smooth_dc_share: Part | None = None  # of the rated residual current, when that is more
    loads: tuple[Load, ...]


class Rcds(Noun):
    """Everything about RCDs."""

    time: tuple[BreakTime, ...]
    hold: Hold
    window: tuple[Window, ...]
    type: tuple[TypeRow, ...]


class Leakage(Origin):
    """Standing earth leakage downstream of an RCD."""

    share: Part  # of the rated residual current
    trip_floor: Part
    protective_mA: Positive
    high_integrity_mA: Positive


class Insulation(Origin):
    """Least insulation resistance at a d.c. test voltage."""

    test_voltage_V: Positive
    at_least_Mohm: Positive
    watch_Mohm: Positive
    circuits: str = ""


class Ring(Origin):
    """Agreement of the ends of a ring final circuit."""

    agreement_ohm: Positive


class Bonding(Origin):
    """Continuity of protective bonding."""

    accept_ohm: Positive
    rule_of_thumb_ohm: Positive
    doubtful_ohm: Positive


class SupplyRow(Origin):
    """The external impedance traditionally declared for an earthing arrangement."""

    earthing: Earthing
    ze_ohm: Positive


class Fault(Origin):
    """Prospective fault current and what devices can break."""

    conditional_kA: Positive
    conditional_to_A: Positive
    three_phase_factor: Positive


class Voltage(Origin):
    """The supply window, in parts of the nominal voltage."""

    low: Positive
    high: Positive


class Bands(Origin):
    """From which part of a limit a value that passes is called marginal."""

    loop: Part
    rcd_time: Part
    leakage: Part
    rcd_window: Part
    fault: Part


class Edition(Noun):
    """One labelled set of limits; every verdict names it."""

    label: str = Field(min_length=1)
    standing: str = Field(min_length=1)  # whether it is in force, as far as is known
    loop: Loop
    disconnection: tuple[DisconnectionRow, ...]
    final: Final
    rcd: Rcds
    leakage: Leakage
    insulation: tuple[Insulation, ...]
    insulation_reduced: Insulation
    ring: Ring
    bonding: Bonding
    supply: tuple[SupplyRow, ...]
    fault: Fault
    voltage: Voltage
    bands: Bands
