"""A whole sequence of tests on one RCD: what the results say together, and what to try next, in order.

The false failures named here are common practice of the trade unless a source stands beside them.
"""

from decimal import Decimal
from typing import Literal

from voicelog.checking.edition import Edition
from voicelog.checking.rcd import smooth_dc_mA
from voicelog.checking.weighing import Unknown, Weighed, plain, trimmed, worst
from voicelog.installation import Rcd
from voicelog.model import Noun, Number, Outcome, Reading, Result, Verdict

LOADS_OFF = "Switch off or unplug everything behind it, prove what is off, and repeat the same test"
AT_SOCKET = "Repeat at a socket on one of its circuits: a device that fails at the board may trip there"
TYPE_MARK = "Read type, rating and the mark S off the device and compare them with the sheet"
DC_OFF = "Disconnect sources of smooth d.c. (vehicle charging, inverters, drives) and repeat"
BUTTON = "Press the test button: a mechanism that has stood still can need it; the first result stays on record"
REPLACE = "If it still fails with the loads off, treat the device as faulty"
NO_BUTTON = "Have the device replaced: its users cannot try it any more"
ORDER = (TYPE_MARK, LOADS_OFF, DC_OFF, AT_SOCKET, BUTTON, REPLACE, NO_BUTTON)  # cheapest and safest first


class Trial(Noun):
    """One result of the sequence and its verdict."""

    reading: Reading
    verdict: Verdict

    @property
    def multiple(self) -> str:
        """ "0.5", "1", "5", "ramp" or "button"."""
        names = {"rcd_ramp": "ramp", "test_button": "button"}
        return names.get(self.reading.quantity, self.reading.conditions.get("multiple", ""))

    @property
    def failed(self) -> bool:
        return self.verdict.outcome is Outcome.FAIL

    @property
    def failed_early(self) -> bool:
        """It tripped where it must not yet: at half the current, below the ramp's window, before its delay was over."""
        value, limit = self.reading.value, self.verdict.limit
        below = isinstance(value, Number) and limit is not None and value.figure < limit
        return self.failed and isinstance(value, Number) and (self.multiple == "0.5" or below)

    @property
    def held(self) -> bool:
        """It did not trip."""
        return isinstance(self.reading.value, Result) and self.reading.value.word == "no_trip"


class Assessment(Noun):
    """What a sequence says."""

    outcome: Outcome  # the worst of its verdicts, as found: a suspected false failure stays a failure
    suspected: Literal["", "false failure", "faulty device"]
    findings: tuple[str, ...]
    next_steps: tuple[str, ...]  # in the order to try them


def assess(
    tests: tuple[Trial, ...],
    rcd: Rcd,
    edition: Edition,
    standing_mA: Decimal | None = None,
    dc_mA: Decimal | None = None,
) -> Assessment:
    """All tests of one RCD together, with the standing a.c. leakage and smooth d.c. behind it where known."""
    found = (
        _standing_leakage(tests, rcd, edition, standing_mA),
        _delay_mixed_up(tests, rcd, edition),
        _blinded(tests, rcd, edition, dc_mA),
        _elsewhere(tests),
        _halves(tests),
        _button_only(tests),
    )
    reasons = [reason for reason in found if reason]
    outcome = worst([Weighed(outcome=test.verdict.outcome) for test in tests]).outcome
    failed = outcome is Outcome.FAIL
    steps = {step for _, taken in reasons for step in taken} if failed else set()
    return Assessment(
        outcome=outcome,
        suspected=_suspected(steps) if failed else "",
        findings=tuple(said for said, _ in reasons),
        next_steps=_ordered(steps, tests),
    )


def _suspected(steps: set[str]) -> Literal["false failure", "faulty device"]:
    return "false failure" if steps & {LOADS_OFF, TYPE_MARK, DC_OFF, AT_SOCKET} else "faulty device"


def seen_mA(test_mA: Decimal, *leakages_mA: Decimal) -> Decimal:
    """What the RCD sees: test current and standing leakages, arithmetic sum.

    >>> seen_mA(Decimal(15), Decimal("4.2"), Decimal("3.1"))
    Decimal('22.3')
    """
    return sum(leakages_mA, test_mA)


Reason = tuple[str, tuple[str, ...]]  # what is said, and the steps it leads to


def _ordered(steps: set[str], tests: tuple[Trial, ...]) -> tuple[str, ...]:
    """The steps that the failures ask for; a button that was pressed already is not to be pressed once more.

    A socket and the button help a device that will not trip, not one that trips too early.
    """
    measured = [test for test in tests if test.failed and test.multiple != "button"]
    always = {LOADS_OFF, REPLACE} if measured else set()
    unwilling = {AT_SOCKET, BUTTON} if any(not test.failed_early for test in measured) else set()
    pressed = {BUTTON} if _named(tests, "button") else set()
    return tuple(step for step in ORDER if step in steps | always | unwilling - pressed)


def _named(tests: tuple[Trial, ...], *multiples: str) -> tuple[Trial, ...]:
    return tuple(test for test in tests if test.multiple in multiples)


def _standing_leakage(tests: tuple[Trial, ...], rcd: Rcd, edition: Edition, standing: Decimal | None) -> Reason | None:
    """A trip at half current or low on the ramp, where the standing leakage fills the gap."""
    tripped = [t for t in _named(tests, "0.5", "ramp") if t.failed and isinstance(t.reading.value, Number)]
    if not tripped:
        return None
    if standing is None:
        return "It trips early, and the standing leakage behind it was not measured", (LOADS_OFF,)
    rated = rcd.rated_residual_current_mA
    half = tripped[0].multiple == "0.5"
    test_mA = rated / 2 if half else tripped[0].reading.value.figure
    seen, floor = seen_mA(test_mA, standing), rated * edition.leakage.trip_floor
    if seen <= floor:
        return f"It trips at {trimmed(seen)} mA, standing leakage included: earlier than it may", (LOADS_OFF,)
    return (
        f"With {trimmed(standing)} mA of standing leakage on top of {trimmed(test_mA)} mA of test current it saw up to "
        f"{trimmed(seen)} mA, where it may trip: perhaps a false failure"
    ), (LOADS_OFF,)


def _delay_mixed_up(tests: tuple[Trial, ...], rcd: Rcd, edition: Edition) -> Reason | None:
    """A time that fits the other kind, general or delayed."""
    times = [t.reading.value.figure for t in _named(tests, "1") if isinstance(t.reading.value, Number) and t.failed]
    other = next((row for row in edition.rcd.time if row.multiple == "1" and row.delayed is not rcd.delayed), None)
    fits = other and any((other.at_least_ms or 0) <= time <= other.at_most_ms for time in times)
    if not fits:
        return None
    kinds = ("general", "delayed (S)")
    told, found = kinds[rcd.delayed], kinds[not rcd.delayed]
    return f"The time fits a {found} device, and the sheet says {told}", (TYPE_MARK,)


def _blinded(tests: tuple[Trial, ...], rcd: Rcd, edition: Edition, dc_mA: Decimal | None) -> Reason | None:
    if dc_mA is None or not any(test.held and test.failed for test in tests):
        return None
    bears = smooth_dc_mA(rcd, edition)
    if isinstance(bears, Unknown):
        return bears.why, (TYPE_MARK,)
    if dc_mA <= bears:
        return None
    said = f"{trimmed(dc_mA)} mA of smooth d.c. is more than type {rcd.type} bears ({trimmed(bears)} mA)"
    return f"{said}: it may be blinded", (DC_OFF,)


def _elsewhere(tests: tuple[Trial, ...]) -> Reason | None:
    """Fails at one place and passes at another on the same device."""
    ones = _named(tests, "1", "5")
    failed = {test.reading.place.key for test in ones if test.failed}
    passed = {test.reading.place.key for test in ones if not test.failed} - failed
    if not failed or not passed:
        return None
    return f"It failed at {', '.join(sorted(failed))} and tripped in time at {', '.join(sorted(passed))}", (AT_SOCKET,)


def _halves(tests: tuple[Trial, ...]) -> Reason | None:
    """Both half-cycles taken: the higher counts."""
    by_half = {
        test.reading.conditions.get("half_cycle", "0"): test.reading.value.figure
        for test in _named(tests, "1")
        if isinstance(test.reading.value, Number)
    }
    if len(by_half) < 2:
        return None
    return f"Both half-cycles were taken: {plain(max(by_half.values()))} ms, the higher, goes on the record", ()


def _button_only(tests: tuple[Trial, ...]) -> Reason | None:
    """The button and the measured test disagree, one way or the other."""
    button, timed = _named(tests, "button"), _named(tests, "1")
    if not button or not timed:
        return None
    if button[-1].failed and not timed[-1].failed:
        return "It trips when measured and not by its button: the button's circuit is faulty", (NO_BUTTON,)
    if timed[-1].failed and not button[-1].failed:
        return "It trips by its button and not when measured: suspect the test connection before the device", (
            AT_SOCKET,
        )
    return None
