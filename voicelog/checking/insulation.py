"""Insulation resistance: by test voltage, in parallel, before and after something was unplugged. Mohm, V, mA."""

from collections.abc import Iterable
from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.edition import Edition, Insulation
from voicelog.checking.weighing import Limit, Unknown, nearest, plain
from voicelog.model import Comparison, Noun, Number, Outcome, Verdict

QUANTITIES = ("ir_ll", "ir_le", "ir_ne", "ir_lne")
USUAL_ACCURACY = Decimal("0.30")  # operating uncertainty allowed by BS EN 61557-2 (from memory)


def judge_insulation(case: Case) -> Verdict:
    """Insulation resistance against the least value for its test voltage; below 2 Mohm it is marginal."""
    row = insulation_row(case.reading.conditions, case.edition)
    if isinstance(row, Unknown):
        return case.unknown(row)
    limit = Limit(
        sentence=f"At least {plain(row.at_least_Mohm)} Mohm at {plain(row.test_voltage_V)} V d.c.",
        source=row.origin,
        unit="Mohm",
        at_least=row.at_least_Mohm,
        watch_below=row.watch_Mohm,
        watch_says="it passes, and a latent fault is possible: test the parts separately",
    )
    verdict = case.against(limit)
    caution = _vulnerable(case) if verdict.outcome is Outcome.FAIL else ""
    said = sentences(verdict.sentence, _current_through(case, verdict))
    return verdict.model_copy(update={"sentence": said, "caution": caution})


def insulation_row(conditions: dict[str, str], edition: Edition) -> Insulation | Unknown:
    """The row for a test voltage. A low-voltage circuit tested at 250 V still has to give the full value."""
    voltage = Decimal(conditions.get("test_voltage_V", "500"))
    reduced = edition.insulation_reduced
    if voltage == reduced.test_voltage_V:
        return reduced
    rows = [row for row in edition.insulation if row.test_voltage_V == voltage]
    return rows[0] if rows else Unknown(why=f"the edition has no insulation limit at {plain(voltage)} V")


def _current_through(case: Case, verdict: Verdict) -> str:
    found, voltage = case.figure("Mohm"), case.sheet.supply.nominal_voltage_V
    if verdict.outcome is not Outcome.FAIL or not found:
        return ""
    return f"At {plain(voltage)} V it lets {plain(nearest(resistive_mA(found, voltage), 1))} mA flow"


def _vulnerable(case: Case) -> str:
    circuit = case.circuit
    if circuit is None or not (circuit.vulnerable or circuit.items):
        return "An insulation test can damage electronics: know what is connected before testing again."
    names = ", ".join((*circuit.vulnerable, *circuit.items))
    return f"Before testing again, disconnect what the test can damage or what can hold the reading down: {names}."


def resistive_mA(resistance_Mohm: Decimal, voltage_V: Decimal) -> Decimal:
    """The current that a resistance above nothing lets flow: 0.037 Mohm at 230 V lets 6.2 mA."""
    return voltage_V / (resistance_Mohm * 1000)


# ---------------------------------------------------------------- in parallel


def in_parallel(resistances_Mohm: Iterable[Decimal]) -> Decimal:
    """1/Rt = sum of 1/Ri: what circuits give when tested together; a dead short among them leaves nothing."""
    parts = tuple(resistances_Mohm)
    return 1 / sum(1 / part for part in parts) if all(parts) else Decimal(0)


def without(together_Mohm: Decimal, part_Mohm: Decimal) -> Decimal | Unknown:
    """What is left when a part with a known resistance is taken off a parallel reading."""
    if part_Mohm <= together_Mohm:
        return Unknown(why="the part alone explains the whole reading")
    return together_Mohm * part_Mohm / (part_Mohm - together_Mohm)


class Item(Noun):
    """What an unplugged item itself must have measured, in Mohm, and between which bounds."""

    least_Mohm: Decimal
    likely_Mohm: Decimal
    most_Mohm: Decimal | None  # None: the readings cannot tell it from a sound item
    sentence: str


def unplugged_item(before: Number, after: Number, accuracy: Decimal = USUAL_ACCURACY) -> Item | Unknown:
    """An item from the readings (Mohm) before and after it was unplugged: 1/Ri = 1/before - 1/after.

    ``after`` may be "> x": the item then lies between ``before`` and what x gives. The bounds let each
    reading be off by ``accuracy`` (a part of the reading) in the direction that matters.
    """
    if before.comparison is not Comparison.EQUAL or after.comparison is Comparison.BELOW:
        return Unknown(why="the reading before must be a plain figure, and the one after plain or 'greater than'")
    low, high = before.figure / (1 + accuracy), before.figure / (1 - accuracy)
    no_bound = after.comparison is Comparison.ABOVE  # then all of the reading before may be the item's
    likely = before.figure if no_bound else without(before.figure, after.figure)
    if isinstance(likely, Unknown):
        return Unknown(why="the reading did not rise when the item was unplugged: look elsewhere")
    least = low if no_bound else without(low, after.figure / (1 - accuracy))
    upper = without(high, after.figure / (1 + accuracy))
    most = None if isinstance(upper, Unknown) else upper
    return Item(least_Mohm=least, likely_Mohm=likely, most_Mohm=most, sentence=_item_sentence(least, likely, most))


def _item_sentence(least: Decimal, likely: Decimal, most: Decimal | None) -> str:
    if not likely:
        return "The item itself was a dead short, as far as the reading shows"
    upper = f"{short(most)} Mohm" if most is not None else "no bound that these readings can give"
    return f"The item itself was about {short(likely)} Mohm (between {short(least)} Mohm and {upper})"


def short(figure: Decimal) -> str:
    """A computed figure to three significant digits, without an exponent."""
    digits = Decimal(1).scaleb(figure.adjusted() - 2)
    return plain(figure.quantize(digits) if figure.adjusted() <= 1 else figure.quantize(Decimal(1)))
