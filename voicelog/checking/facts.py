"""What was found against what the job sheet states: ratings, types, number of points."""

from decimal import Decimal

from voicelog.checking.case import Case
from voicelog.checking.rcd import judge_type
from voicelog.checking.weighing import Unknown, plain
from voicelog.model import Choice, Comparison, Number, Outcome, Verdict

NAMES = {
    "points": "number of points",
    "main_fuse": "rating of the main fuse",
    "device_rating": "rating of the protective device",
    "device_type": "type of the protective device",
    "rcd_rating": "rated residual current of the RCD",
    "rcd_type": "type of the RCD",
    "earthing": "earthing arrangement",
    "supply": "supply",
}


def stated(case: Case) -> Decimal | str | None:
    """What the sheet states for the reading's quantity at its place; None when it is silent."""
    circuit, rcd, supply = case.circuit, case.rcd, case.sheet.supply
    device = circuit.device if circuit else None
    points = circuit.points if circuit else None
    return {
        "points": Decimal(points) if points is not None else None,
        "main_fuse": supply.main_fuse_A,
        "device_rating": device.rating_A if device else None,
        "device_type": (device.type or None) if device else None,
        "rcd_rating": rcd.rated_residual_current_mA if rcd else None,
        "rcd_type": rcd.type if rcd else None,
        "earthing": supply.earthing,
        "supply": f"{supply.phases}-phase",
    }[case.reading.quantity]


def judge_fact(case: Case) -> Verdict:
    """The same as the sheet passes; a difference is marginal: one of the two is wrong, and a person finds which."""
    said, value = stated(case), case.reading.value
    name = NAMES[case.reading.quantity]
    found = _found(case)
    if said is None or found is None:
        missing = "was not given as a plain value" if said is not None else "is not on the job sheet to compare with"
        return case.unknown(Unknown(why=f"the {name} {missing}"))
    if found != said:
        sentence = f"The job sheet states {_text(said)} as the {name}, {_text(found)} was called"
        return case.plainly(Outcome.MARGINAL, sentence, "the job sheet")
    if case.reading.quantity == "rcd_type" and isinstance(value, Choice):
        by_load = judge_type(case, value.word)
        if by_load.outcome is not Outcome.NO_LIMIT:
            return by_load
    return case.plainly(Outcome.PASS, f"The {name} is as on the job sheet: {_text(said)}", "the job sheet")


def _found(case: Case) -> Decimal | str | None:
    value = case.reading.value
    if isinstance(value, Choice):
        return value.word
    plainly = isinstance(value, Number) and value.comparison is Comparison.EQUAL
    units = {"points": "", "rcd_rating": "mA"}
    return case.figure(units.get(case.reading.quantity, "A")) if plainly else None


def _text(value: Decimal | str) -> str:
    return value if isinstance(value, str) else plain(value)
