"""What the readings say together: sections of statements, each with where its figures come from."""

import re
from collections.abc import Sequence

from voicelog.checking.cautions import AID, INSULATION, ISOLATE, SKILLED, ZE
from voicelog.checking.edition import Edition
from voicelog.checking.explaining.again import again_section
from voicelog.checking.explaining.findings import Findings, Section, Statement
from voicelog.checking.explaining.history import previous_section, trend_section
from voicelog.checking.explaining.insulation import insulation_section, mostly_to_blame, unplugged_pairs
from voicelog.checking.explaining.leakage import blames, found_already, leakage_section
from voicelog.checking.explaining.loops import loop_section
from voicelog.checking.explaining.observations import observation_section
from voicelog.checking.explaining.rcds import rcd_section, sequences
from voicelog.checking.explaining.rings import ring_section
from voicelog.checking.insulation import QUANTITIES
from voicelog.checking.previous import PreviousRecord
from voicelog.checking.record import Taken
from voicelog.counting import counted
from voicelog.errors import SheetError
from voicelog.installation import Sheet
from voicelog.model import EVERYTHING, Noun, Outcome, Place

SECTIONS = (
    leakage_section,
    insulation_section,
    rcd_section,
    loop_section,
    ring_section,
    again_section,
    trend_section,
    previous_section,
    observation_section,
)
LIVE = ("zs", "ze", "pfc", "rcd_time", "rcd_ramp", "voltage", "earth_leakage")
ENTRY = re.compile(r", entry (\d+)$")
ADVICE = {
    "insulation fault": "{where}: isolate, then unplug items one by one and test insulation again after each",
    "one culprit": "{where}: unplug or switch off what {who} feeds, one thing at a time, and read the leakage again",
    "the sum of many": "{where}: work out a split over more RCDs (voicelog plan)",
    "something not measured": "{where}: measure the circuits that have no leakage reading yet",
    "not leakage": "{where}: test the RCD with its loads off, and look for a neutral touching earth",
}


class Diagnosis(Noun):
    """The whole: sections in reading order, with the cautions that belong to them."""

    job: str
    edition: str
    standing: str  # of the edition, as far as is known
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]


def explain(sheet: Sheet, readings: Sequence[Taken], previous: PreviousRecord | None, edition: Edition) -> Diagnosis:
    """A diagnosis of all readings that stand, retests included, in the order they were taken."""
    lacking = {place for place in {taken.reading.place for taken in readings} if not _is_on(sheet, place)}
    here, elsewhere = (tuple(t for t in readings if (t.reading.place in lacking) is lost) for lost in (False, True))
    findings = Findings(sheet, here, previous, edition)
    sections = [section(findings) for section in SECTIONS]
    whole = (_measured(findings), _elsewhere(elsewhere), *sections, _next(findings))
    return Diagnosis(
        job=sheet.job.reference,
        edition=edition.label,
        standing=edition.standing,
        sections=tuple(section for section in whole if section.statements),
        cautions=_cautions(findings),
    )


def _measured(findings: Findings) -> Section:
    counts = {outcome: 0 for outcome in Outcome}
    for _, verdict in findings.verdicts:
        counts[verdict.outcome] += 1
    passed, close, failed, unknown = (
        counts[o] for o in (Outcome.PASS, Outcome.MARGINAL, Outcome.FAIL, Outcome.NO_LIMIT)
    )
    text = (
        f"{counted(sum(counts.values()), 'reading counts', 'readings count')} "
        f"({counted(len(findings.taken), 'was', 'were')} taken): {passed} within limits, "
        f"{close} marginal, {failed} outside, {unknown} without a limit. Each is judged here beside all the others; "
        "when it was called, only those before it were known."
    )
    return Section(title="What was measured", statements=(Statement(text=text),))


def _is_on(sheet: Sheet, place: Place) -> bool:
    """Whether the sheet still has the place of a reading: it can be edited after the visit."""
    try:
        sheet.rcd(place)
    except SheetError:
        return False
    return True


def _elsewhere(readings: Sequence[Taken]) -> Section:
    """What cannot be reasoned about; the schedule shows it all the same."""
    lost: dict[str, tuple[str, ...]] = {}
    for taken in readings:
        key = taken.reading.place.key
        lost[key] = (*lost.get(key, ()), taken.origin)
    said = (Statement(text=f"{key}: not on the job sheet, so not judged here.", origins=o) for key, o in lost.items())
    return Section(title="Places that the job sheet lacks", statements=tuple(said))


def _next(findings: Findings) -> Section:
    """What to try next: the cheapest and safest first, each once."""
    steps: dict[str, tuple[str, ...]] = {}
    for board, rcd, found, origins in sequences(findings):
        steps.update({f"{board.reference} {rcd.reference}: {step}": origins for step in found.next_steps})
    for board, rcd, found in blames(findings):
        advice = ADVICE.get(found.kind) if _worth_saying(found.kind, findings) else None
        if advice and not (found.kind == "insulation fault" and found_already(findings, board, rcd)):
            where = f"{board.reference} {rcd.reference}"
            steps[advice.format(where=where, who=" and ".join(found.circuits))] = ()
    steps.update(_before_connecting_again(findings))
    return Section(
        title="What to try next, in this order",
        statements=tuple(Statement(text=f"{step}.", origins=origins) for step, origins in steps.items()),
    )


def _before_connecting_again(findings: Findings) -> dict[str, tuple[str, ...]]:
    """What to do with each item without which the readings were much better, and those readings."""
    steps: dict[str, tuple[str, ...]] = {}
    for item, before, after in unplugged_pairs(findings):
        if mostly_to_blame(before.reading, after.reading):
            step = f"{item}: have it examined before it is connected again"
            if item == EVERYTHING:
                step = f"{after.reading.place.key}: plug in one thing at a time, with a reading after each"
            steps[step] = (*steps.get(step, ()), before.origin, after.origin)
    return steps


def _worth_saying(kind: str, findings: Findings) -> bool:
    """An RCD whose leakage is in order needs no advice, unless the job is to find a fault."""
    return kind != "not leakage" or findings.sheet.job.kind == "fault finding"


def _cautions(findings: Findings) -> tuple[str, ...]:
    quantities = {taken.reading.quantity for taken in findings.taken}
    chosen = (
        (AID, True),
        (ISOLATE, True),
        (INSULATION, bool(quantities & set(QUANTITIES))),
        (SKILLED, bool(quantities & set(LIVE))),
        (ZE, "ze" in quantities),
    )
    return tuple(caution for caution, wanted in chosen if wanted)


def as_text(diagnosis: Diagnosis) -> str:
    """The diagnosis as plain text, origins in square brackets."""
    lines = [f"Job {diagnosis.job}", f"Limits: {diagnosis.edition} ({diagnosis.standing})", ""]
    for section in diagnosis.sections:
        lines += [section.title, *(f"  - {_with_origins(statement)}" for statement in section.statements), ""]
    return "\n".join([*lines, "Cautions", *(f"  ! {caution}" for caution in diagnosis.cautions), ""])


def _with_origins(statement: Statement) -> str:
    entries = sorted({int(n) for origin in statement.origins for n in ENTRY.findall(origin)})
    others = [origin for origin in statement.origins if not ENTRY.search(origin)]
    parts = ([f"entr{'y' if len(entries) == 1 else 'ies'} {runs(entries)}"] if entries else []) + others
    return f"{statement.text} [{'; '.join(parts)}]" if parts else statement.text


def runs(numbers: Sequence[int]) -> str:
    """Ascending numbers with their runs drawn together.

    >>> runs([1, 2, 3, 7, 9, 10])
    '1-3, 7, 9-10'
    """
    edges = [i for i, n in enumerate(numbers) if i == 0 or n != numbers[i - 1] + 1]
    spans = zip(edges, [*edges[1:], len(numbers)], strict=True)
    return ", ".join(f"{numbers[a]}-{numbers[b - 1]}" if b - a > 1 else str(numbers[a]) for a, b in spans)
