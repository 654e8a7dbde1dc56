"""START HERE for checking. One reading in, one verdict out: an aid, never the last word."""

from collections.abc import Callable

from voicelog.checking.case import Case
from voicelog.checking.cautions import caution_for
from voicelog.checking.continuity import judge_bonding, judge_r1_r2, judge_r2
from voicelog.checking.edition import Edition
from voicelog.checking.facts import judge_fact
from voicelog.checking.fault import judge_fault_current
from voicelog.checking.insulation import judge_insulation
from voicelog.checking.leakage import judge_leakage
from voicelog.checking.loop import judge_electrode, judge_ze, judge_zs
from voicelog.checking.rcd import judge_dc, judge_ramp, judge_time
from voicelog.checking.record import Readings, Record
from voicelog.checking.rings import judge_ring_end, judge_step2, judge_step3
from voicelog.checking.supply import judge_rotation, judge_voltage
from voicelog.checking.weighing import Unknown
from voicelog.installation import Sheet
from voicelog.model import Choice, Number, OpenCircuit, Outcome, Reading, Result, Verdict

FIGURES: dict[str, Callable[[Case], Verdict]] = {  # quantities that are weighed as figures
    "earth_leakage": judge_leakage,
    "earth_leakage_dc": judge_dc,
    "r1_r2": judge_r1_r2,
    "r2_cpc": judge_r2,
    "ring_r1": judge_ring_end,
    "ring_rn": judge_ring_end,
    "ring_r2": judge_ring_end,
    "ring_step2": judge_step2,
    "ring_step3": judge_step3,
    "ir_ll": judge_insulation,
    "ir_le": judge_insulation,
    "ir_ne": judge_insulation,
    "ir_lne": judge_insulation,
    "ze": judge_ze,
    "zs": judge_zs,
    "pfc": judge_fault_current,
    "rcd_time": judge_time,
    "rcd_ramp": judge_ramp,
    "voltage": judge_voltage,
    "bonding": judge_bonding,
    "electrode": judge_electrode,
    "points": judge_fact,
    "main_fuse": judge_fact,
    "device_rating": judge_fact,
    "rcd_rating": judge_fact,
}
OWN_WORDS = {  # words that a quantity's own rule judges
    "rcd_time": ("no_trip",),
    "rcd_ramp": ("no_trip",),
    "r2_cpc": ("no_earth", "fail"),
    "bonding": ("no_earth", "fail"),
}
CHOICES = ("device_type", "rcd_type", "earthing", "supply")
OUTCOMES = {"pass": Outcome.PASS, "fail": Outcome.FAIL, "no_trip": Outcome.FAIL, "no_earth": Outcome.FAIL}
WORDS = {"pass": "pass", "fail": "fail", "no_trip": "it did not trip", "no_earth": "no earth"}
NOT_DONE = {
    "not_applicable": "Not applicable here, as called",
    "limitation": "Not done because of a limitation: say which, and with whom it was agreed",
}


def judge(reading: Reading, sheet: Sheet, edition: Edition, record: Record = ()) -> Verdict:
    """What the limits say of a reading. ``record`` holds the readings that already stand.

    InputError when the unit does not fit the quantity, SheetError when the place is not on the sheet.
    """
    verdict = _judged(Case(reading, sheet, edition, record if isinstance(record, Readings) else Readings(record)))
    caution = verdict.caution or caution_for(reading.quantity, verdict.outcome)
    return verdict.model_copy(update={"caution": caution})


def _judged(case: Case) -> Verdict:
    quantity, value = case.reading.quantity, case.reading.value
    if isinstance(value, Result) and value.word in NOT_DONE:
        return case.plainly(Outcome.NO_LIMIT, NOT_DONE[value.word])
    if isinstance(value, Choice):
        return _judge_choice(case, value.word)
    if isinstance(value, OpenCircuit) and quantity not in FIGURES:
        return case.unknown(Unknown(why=f"open circuit says nothing of {quantity}"))
    if quantity in FIGURES and (not isinstance(value, Result) or value.word in OWN_WORDS.get(quantity, ())):
        return FIGURES[quantity](case)
    return _judge_word(case, value) if isinstance(value, Result) else case.unknown(_unlimited(case))


def _judge_choice(case: Case, word: str) -> Verdict:
    if case.reading.quantity == "phase_rotation":
        return judge_rotation(case, word)
    return judge_fact(case) if case.reading.quantity in CHOICES else case.unknown(_unlimited(case))


def _judge_word(case: Case, value: Result) -> Verdict:
    """A word is the judgement of whoever tested; beside a quantity with figures, "pass" leaves them out."""
    if value.word == "pass" and case.reading.quantity in FIGURES:
        return case.unknown(Unknown(why="the word pass was called without a figure to weigh"))
    return case.plainly(OUTCOMES[value.word], f"Called as: {WORDS[value.word]}", "the person who tested")


def _unlimited(case: Case) -> Unknown:
    figure = "figure" if isinstance(case.reading.value, Number) else "value"
    return Unknown(why=f"no limit is known for this {figure} of {case.reading.quantity or 'an unnamed quantity'}")
