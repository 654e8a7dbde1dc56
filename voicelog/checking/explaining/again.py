"""What failed and then passed with nothing noted in between: the last reading counts, the first is told."""

from collections.abc import Iterator
from itertools import pairwise

from voicelog.checking.changes import shown
from voicelog.checking.explaining.findings import Findings, Section, Statement, chains
from voicelog.checking.naming import sign
from voicelog.checking.record import Taken
from voicelog.checking.verdicts import judge
from voicelog.model import Outcome, Reading

STICKS = " A mechanism that was slow or stuck once can be so again: think of replacing it."


def again_section(findings: Findings) -> Section:
    """Each fail that a retest turned into a pass without a reason."""
    return Section(title="Failed, then passed", statements=tuple(_unexplained(findings)))


def _unexplained(findings: Findings) -> Iterator[Statement]:
    for chain in chains(findings).values():
        last = chain[-1]
        if len(chain) < 2 or _fails(last, findings) or last.watch is not None:
            continue
        failed = [one for one in chain[:-1] if _fails(one, findings)]
        if failed and not any(after.explained != before.explained for before, after in pairwise(chain)):
            yield _statement(failed, last)


def _fails(taken: Taken, findings: Findings) -> bool:
    return judge(taken.reading, findings.sheet, findings.edition, findings.record).outcome is Outcome.FAIL


def _statement(failed: list[Taken], last: Taken) -> Statement:
    before = ", ".join(_value(one.reading) for one in failed)
    quantity, where = last.reading.quantity, f"{last.reading.place.key} {sign(last.reading.quantity)}"
    text = f"{where}: {before}, then {_value(last.reading)}; nothing that is noted between them explains it."
    sticks = STICKS if quantity in ("rcd_time", "rcd_ramp", "test_button") else ""
    return Statement(text=text + sticks, origins=tuple(one.origin for one in (*failed, last)))


def _value(reading: Reading) -> str:
    return f"{shown(reading.value)} {reading.unit}".strip()
