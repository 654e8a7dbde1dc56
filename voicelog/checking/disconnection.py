"""How quickly a circuit has to disconnect on a fault to earth (Table 41.1 of the edition)."""

from decimal import Decimal

from voicelog.checking.edition import DisconnectionRow, Edition, Origin
from voicelog.checking.weighing import Unknown, plain
from voicelog.installation import Circuit, Supply


class Disconnection(Origin):
    """The greatest disconnection time of a circuit, in s, and which rule gives it."""

    time_s: Decimal
    sentence: str


def disconnection(circuit: Circuit, supply: Supply, edition: Edition) -> Disconnection | Unknown:
    """The time stated for the circuit, or by its system, voltage and kind."""
    if circuit.disconnection_s is not None:
        stated = f"{plain(circuit.disconnection_s)} s as stated on the job sheet"
        return Disconnection(time_s=circuit.disconnection_s, sentence=stated, mark="page", source="the job sheet")
    row = _row(supply, edition)
    if isinstance(row, Unknown):
        return row
    short, why = _is_short(circuit, edition)
    time_s = row.final_s if short else row.other_s
    return Disconnection(time_s=time_s, sentence=f"{plain(time_s)} s, {why}", mark=row.mark, source=row.source)


def system(supply: Supply) -> str:
    """ "TT", or "TN" for both kinds of TN supply."""
    return "TT" if supply.earthing == "TT" else "TN"


def _row(supply: Supply, edition: Edition) -> DisconnectionRow | Unknown:
    kind, voltage = system(supply), supply.nominal_voltage_V
    for row in edition.disconnection:
        if row.system == kind and row.over_V < voltage <= row.to_V:
            return row
    return Unknown(why=f"the edition has no disconnection time for {kind} at {plain(voltage)} V")


def _is_short(circuit: Circuit, edition: Edition) -> tuple[bool, str]:
    """Whether the short time of final circuits applies, and why. Not knowing means the short time."""
    if circuit.feeds:
        return False, "distribution circuit"
    if circuit.device is None:
        return True, "final circuit of unknown rating, so the shorter time"
    rating, to_sockets, to_fixed = circuit.device.rating_A, edition.final.sockets_to_A, edition.final.fixed_to_A
    if rating <= to_fixed:
        return True, f"final circuit up to {plain(to_fixed)} A"
    if rating > to_sockets or circuit.sockets is False:
        return False, f"final circuit over {plain(to_fixed if circuit.sockets is False else to_sockets)} A"
    known = "with socket-outlets" if circuit.sockets else "not known to be without socket-outlets"
    return True, f"final circuit up to {plain(to_sockets)} A {known}"
