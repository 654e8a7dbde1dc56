"""Ask before it is kept: a figure that cannot be, or that looks like a slip of the point or the unit.

Asking is cheap while the probes are still on; a wrong figure on a record is not. Nothing here refuses a
reading: the person with the probes answers.
"""

from collections.abc import Callable
from decimal import Decimal
from statistics import median

from voicelog.checking.changes import VOLATILE
from voicelog.checking.continuity import predicted_r1_r2
from voicelog.checking.fault import fault_current_A
from voicelog.checking.loop import origin_ohm
from voicelog.checking.previous import PreviousRecord
from voicelog.checking.record import Record, figure, latest_figure
from voicelog.checking.rings import Ends, ends_of, step2_ohm, step3_range_ohm
from voicelog.checking.slips import Slip, same_digits, slip_between
from voicelog.checking.units import convert
from voicelog.checking.weighing import Unknown, nearest, plain
from voicelog.installation import Sheet
from voicelog.model import Comparison, Noun, Number, Outcome, Place, Reading, Result, Verdict

LOOP_SLACK_OHM = Decimal("0.05")  # how far Zs may lie under Ze before it is asked about: parallel paths, accuracy
BETWEEN_LINES = Decimal("1.732")  # times the voltage of line to neutral
LIKE_NOMINAL = Decimal("0.1")  # of the nominal voltage: so near it a reading is of that pair (the upper tolerance)
FEWEST_NEIGHBOURS = 3
TENFOLD = 10
CONDUCTORS = ("r1_r2", "r2_cpc", "ring_r1", "ring_rn", "ring_r2", "ring_step2", "ring_step3", "ze", "zs")
WHOLE_FROM_OHM = 20  # below it instruments show conductors and loops with digits after the point (common practice)
MOST_DIGITS = 5  # of the displays of test instruments, usually four (common practice)
LEAKAGES = ("earth_leakage", "earth_leakage_dc")
_LEADS = "Were the leads apart?", "no conductor is without resistance"
_CLAMP = "Is the circuit on, and are the jaws closed?", "a clamp shows so little with digits after the point"
NOTHING = {  # the question about zero, which "yes" must keep, and why
    **{quantity: _LEADS for quantity in CONDUCTORS if quantity != "r2_cpc"},
    **dict.fromkeys(LEAKAGES, _CLAMP),
    "rcd_time": ("Did it trip in no time?", "nothing does"),
    "rcd_ramp": ("Did it trip at no current?", "nothing does"),
}
NEARLY_EVERYWHERE = ("water", "gas")  # parts that come into most buildings
SIMILAR_EVERYWHERE = ("zs", "r1_r2", "ring_r1", "ring_rn", "ring_r2", "voltage")  # alike within a board, up to tenfold


class Question(Noun):
    """What to ask by voice, why, and the value that was perhaps meant."""

    words: str  # to be said: "Zs 5.20? ..."
    why: str
    likely: Number | None = None  # in the unit of the reading; None when nothing suggests one


Check = Callable[[Reading, Sheet, PreviousRecord | None, Record], Question | None]


def implausible(reading: Reading, sheet: Sheet, previous: PreviousRecord | None, neighbours: Record) -> Question | None:
    """A question when a plain figure contradicts what is already known; None when it does not.

    ``neighbours`` are the readings that stand. Over range and words are not questioned, nor comparisons,
    but for a low resistance "above" some figure, an open circuit, and bonding that is "not fitted" (common practice).
    """
    if figure(reading, reading.unit) is None:
        return _open_circuit(reading) or _not_bonded(reading)
    found = (check(reading, sheet, previous, neighbours) for check in CHECKS)
    return next((question for question in found if question is not None), None)


def far_over(reading: Reading, verdict: Verdict) -> Question | None:
    """A question about ten times the limit or more: such a figure is misheard more often than found."""
    if verdict.outcome is not Outcome.FAIL or not verdict.limit:
        return None
    found = figure(reading, verdict.unit)
    if found is None or found < TENFOLD * verdict.limit:
        return None
    said = f"{plain(reading.value.figure)} {reading.unit}? That is over ten times the limit."
    return Question(words=said, why="far over its limit")


def _open_circuit(reading: Reading) -> Question | None:
    """Insulation is called "above" every day; a conductor or a loop is not."""
    value = reading.value
    if reading.quantity not in CONDUCTORS or not isinstance(value, Number) or value.comparison is not Comparison.ABOVE:
        return None
    said = f"Above {plain(value.figure)} {reading.unit}? That would be an open circuit."
    return Question(words=said, why="the resistance of a conductor or of a loop has an end")


def _not_bonded(reading: Reading) -> Question | None:
    """ "Not fitted" is kept as not applicable: right where no such pipe comes in, a fault where it is not bonded."""
    if not isinstance(reading.value, Result) or reading.value.word != "not_applicable":
        return None
    if reading.quantity != "bonding" or reading.conditions.get("part") not in NEARLY_EVERYWHERE:
        return None
    said = "Is there none here? One that is not bonded is an open circuit."
    return Question(words=said, why="what comes in and is not bonded is no matter of not applicable")


def _against_nothing(
    reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record
) -> Question | None:
    """Whatever current flows through has some resistance; an instrument shows zero with its leads together.

    A wander lead, taken off the reading, does show zero close to the board; of a leakage a clamp shows digits after the
    point; nothing trips in no time, or at no current (all common practice).
    """
    nothing = NOTHING.get(reading.quantity)
    if nothing is None or reading.value.figure != 0 or (reading.quantity in LEAKAGES and not _is_whole(reading)):
        return None
    question, why = nothing
    return Question(words=f"Zero {reading.unit}? {question}", why=why)


def _against_display(
    reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record
) -> Question | None:
    """A few ohms without a point, or more digits than fit: not all was heard, or it was no call at all."""
    value, said = reading.value.figure, f"{plain(reading.value.figure)} {reading.unit}"
    few = reading.quantity in CONDUCTORS and reading.unit == "ohm" and 0 < value < WHOLE_FROM_OHM
    if few and _is_whole(reading):
        why = "an instrument shows so little with digits after the point"
        return Question(words=f"{said}, and nothing after the point?", why=why)
    if len(_significant(value)) > MOST_DIGITS:
        return Question(words=f"{said}? Are there so many digits?", why=f"instruments show {MOST_DIGITS} digits")
    return None


def _is_whole(reading: Reading) -> bool:
    """Called without a point: 5 is whole, 5.0 is not."""
    return reading.value.figure.as_tuple().exponent >= 0


def _significant(figure: Decimal) -> str:
    """The digits from the first that is not zero; of a whole number to the last that is not."""
    digits = "".join(map(str, figure.as_tuple().digits)).lstrip("0")
    return digits.rstrip("0") if figure.as_tuple().exponent >= 0 else digits


def _against_previous(
    reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record
) -> Question | None:
    then = previous.reading(reading.place, reading.quantity, reading.conditions) if previous else None
    expected = figure(then, reading.unit) if then else None
    if expected is None or (reading.quantity in VOLATILE and not same_digits(reading.value.figure, expected)):
        return None
    return _slip_question(reading, expected, "the last record has")


def _against_facts(reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record) -> Question | None:
    """A rating other than that of the last record is asked about, whatever the ratio."""
    columns = {"main_fuse": "main_fuse_A", "device_rating": "device_A", "points": "points", "rcd_rating": "rcd_mA"}
    then = previous.fact(reading.place, columns[reading.quantity]) if previous and reading.quantity in columns else ""
    if not then or Decimal(then) == reading.value.figure:
        return None
    said = f"{plain(reading.value.figure)}? The last record has {then}."
    return Question(words=said, why="differs from the last record")


def _against_cable(reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record) -> Question | None:
    circuit = sheet.circuit(reading.place)
    if reading.quantity != "r1_r2" or circuit is None or circuit.cable is None:
        return None
    expected = predicted_r1_r2(circuit.cable, ring=circuit.ring)
    return None if isinstance(expected, Unknown) else _slip_question(reading, expected, "cable and length give")


def _against_ring(reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record) -> Question | None:
    ends = ends_of(record, reading.place)
    expected = _ring_expectation(reading.quantity, ends) if isinstance(ends, Ends) else None
    return _slip_question(reading, expected, "the ends of the ring give") if expected is not None else None


def _ring_expectation(quantity: str, ends: Ends) -> Decimal | None:
    if quantity == "ring_step2":
        return step2_ohm(ends.r1, ends.rn)
    if quantity in ("ring_step3", "r1_r2") and ends.r2 is not None:
        return step3_range_ohm(ends.r1, ends.r2)[1]
    return {"ring_r1": ends.rn, "ring_rn": ends.r1}.get(quantity)


def _against_loop(reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record) -> Question | None:
    """Zs against Ze + (R1+R2) where both are known, and never under what is known before it."""
    if reading.quantity != "zs" or not reading.place.circuit:
        return None
    upstream = origin_ohm(sheet.board(reading.place.board), sheet, record)
    before = _known_before(reading.place, sheet, record)
    found = convert(reading.value.figure, reading.unit, "ohm")
    r1_r2 = latest_figure(record, "r1_r2", reading.place, "ohm")
    expected = upstream + r1_r2 if r1_r2 and not isinstance(upstream, Unknown) else None
    question = _slip_question(reading, expected, "Zs before the board and R1+R2 give") if expected else None
    least = before - LOOP_SLACK_OHM if before is not None else found
    if question is None and found < least and not _beside_parallel_paths(reading, found, least, record):
        said = f"{plain(found)} ohm? Before the board it is already {plain(before)} ohm."
        return Question(words=said, why="a circuit cannot have less than the supply, parallel paths apart")
    return question


def _beside_parallel_paths(reading: Reading, found: Decimal, least: Decimal, record: Record) -> bool:
    """Whether it is like another that was found as low at this board: bonded to pipes, say, which Ze is taken without.

    On TT nearly every circuit is so (common practice): it is asked about once, and again where it is less than half.
    """
    board = reading.place.board
    there = [r for r in record if r.quantity == "zs" and r.place.board == board and r.place != reading.place]
    known = [figure(other, "ohm") for other in there]
    return any(2 * found >= other for other in known if other and other < least)


def _known_before(place: Place, sheet: Sheet, record: Record) -> Decimal | None:
    """Ze or Zdb of its board, else of the nearest known one that it is supplied through."""
    found = (origin_ohm(sheet.board(there.board), sheet, record) for there in sheet.supply_path(place))
    return next((ohm for ohm in found if not isinstance(ohm, Unknown)), None)


def _against_fault_current(
    reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record
) -> Question | None:
    """Ipf against U / Ze at the origin, and Ze against U / Ipf."""
    board, voltage = Place(board=reading.place.board), sheet.supply.nominal_voltage_V
    if reading.place.circuit or reading.quantity not in ("pfc", "ze"):
        return None
    other = latest_figure(record, "ze", board, "ohm") if reading.quantity == "pfc" else None
    other_kA = latest_figure(record, "pfc", board, "kA") if reading.quantity == "ze" else None
    if other:
        return _slip_question(reading, convert(fault_current_A(other, voltage), "A", reading.unit), "Ze gives")
    return _slip_question(reading, voltage / (other_kA * 1000), "the fault current gives") if other_kA else None


def _against_nominal(
    reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record
) -> Question | None:
    if reading.quantity != "voltage":
        return None
    nominal, pair = convert(sheet.supply.nominal_voltage_V, "V", reading.unit), reading.conditions.get("between", "L-N")
    lines = nearest(nominal * BETWEEN_LINES, 0)
    expected, other, what = {
        **dict.fromkeys(("L-N", "L-E"), (nominal, lines, "between lines")),
        "L-L": (lines, nominal, "between line and neutral"),
    }.get(pair, (None, None, ""))
    if expected is None:
        return None
    slip = _slip_question(reading, expected, "nominal is")
    return slip or (_of_another_pair(reading, other, what) if sheet.supply.phases == 3 else None)


def _of_another_pair(reading: Reading, nominal: Decimal, what: str) -> Question | None:
    """On three phases 400 V called without "line to line", or 230 V with it."""
    if abs(reading.value.figure - nominal) > LIKE_NOMINAL * nominal:
        return None
    said = f"{plain(reading.value.figure)} {reading.unit}? That is usual {what}."
    return Question(words=said, why=f"the voltage {what}")


def _against_neighbours(
    reading: Reading, sheet: Sheet, previous: PreviousRecord | None, record: Record
) -> Question | None:
    """Ten times more or less than every other circuit of the board."""
    if reading.quantity not in SIMILAR_EVERYWHERE or not reading.place.circuit:
        return None
    others = [figure(r, reading.unit) for r in record if _is_neighbour(r, reading)]
    known = [other for other in others if other]
    if len(known) < FEWEST_NEIGHBOURS:
        return None
    found = reading.value.figure
    if min(known) / TENFOLD < found < max(known) * TENFOLD:
        return None
    middle = median(known)
    return _slip_question(reading, middle, "the other circuits have about") or _outlier(reading, middle)


def _is_neighbour(other: Reading, reading: Reading) -> bool:
    same = other.quantity == reading.quantity and other.place.board == reading.place.board
    return same and bool(other.place.circuit) and other.place != reading.place


def _outlier(reading: Reading, middle: Decimal) -> Question:
    said = f"{plain(reading.value.figure)} {reading.unit}? The other circuits have about {plain(nearest(middle))}."
    return Question(words=said, why="ten times away from every other circuit of the board")


def _slip_question(reading: Reading, expected: Decimal, says: str) -> Question | None:
    """A question when the figure is nearly 10, 100, 1000 ... times the expected one."""
    slip = slip_between(reading.value.figure, expected)
    if slip is None:
        return None
    said = f"{plain(reading.value.figure)} {reading.unit}? {says[0].upper()}{says[1:]} {plain(_rounded(expected))}."
    return Question(words=said, why=slip.sentence, likely=_moved(reading.value.figure, slip))


def _moved(called: Decimal, slip: Slip) -> Number:
    """The called digits with the point moved back: 5.20 and ten times too much make 0.520."""
    return Number(figure=called.scaleb(-slip.power))


def _rounded(expected: Decimal) -> Decimal:
    return expected if expected.as_tuple().exponent >= -3 else nearest(expected, 3)


CHECKS: tuple[Check, ...] = (
    _against_nothing,
    _against_facts,
    _against_previous,
    _against_cable,
    _against_ring,
    _against_loop,
    _against_fault_current,
    _against_nominal,
    _against_neighbours,
    _against_display,
)
