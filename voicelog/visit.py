"""Sets the table for one visit: the job, its grammar, its limits, its reader, and the desk they make."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from voicelog import __version__
from voicelog.checking.edition import Edition
from voicelog.checking.editions import load_edition, shipped_editions
from voicelog.checking.plausibility import far_over, implausible
from voicelog.checking.previous import PreviousRecord, read_previous
from voicelog.checking.record import Taken
from voicelog.checking.verdicts import judge
from voicelog.errors import EditionError, InputError
from voicelog.installation import Sheet
from voicelog.keeping.job import Job, open_job
from voicelog.keeping.record import Line, Record, fold
from voicelog.keeping.watches import Watched, seconds, watches
from voicelog.meaning.grammar import Grammar
from voicelog.meaning.grammar_files import load_grammar
from voicelog.meaning.parsing import Reader
from voicelog.meaning.utterances import Utterances
from voicelog.model import Reading, Verdict
from voicelog.talking.conversation import Desk, Doubt, Policy
from voicelog.talking.phrasing import Phrasing


@dataclass(frozen=True)
class Visit:
    """A job opened for work."""

    job: Job
    grammar: Grammar
    edition: Edition
    reader: Reader
    previous: PreviousRecord | None  # the last record, when the sheet names one

    @property
    def sheet(self) -> Sheet:
        return self.job.sheet

    def desk(self, policy: Policy) -> Desk:
        """What the dialogue may look at. The record is laid on it by the session."""
        return Desk(
            grammar=self.grammar,
            sheet=self.sheet,
            phrasing=Phrasing(self.grammar, self.sheet),
            record=fold(()),
            judge=judging(self.sheet, self.edition),
            doubt=doubting(self.sheet, self.previous, Phrasing(self.grammar, self.sheet)),
            policy=policy,
        )

    def versions(self) -> dict[str, str]:
        """What the readings were understood and judged by, for the journal."""
        return {
            "voicelog": __version__,
            "grammar": f"{self.grammar.kind} {self.grammar.version}",
            "edition": self.edition.label,
        }


def open_visit(folder: Path, attention: str = "") -> Visit:
    """Open a job for work. Raises KeepingError, SheetError, GrammarError, EditionError; InputError for a wrong word."""
    if attention and not attention.isalpha():
        raise InputError(f"{attention!r} is not one word of letters.", where="--attention", do="Give one word.")
    job = open_job(folder)
    grammar = load_grammar()
    if attention and attention in Utterances(grammar, job.sheet).network().followers(()):
        raise InputError(
            f"{attention!r} begins something that is called here.", where="--attention", do="Choose another word."
        )
    return Visit(job, grammar, edition_of(job), Reader(grammar, job.sheet, attention), previous_of(job))


def previous_of(job: Job) -> PreviousRecord | None:
    """The last record that the sheet names. Raises PreviousRecordError naming row and column."""
    return read_previous(job.folder / job.sheet.previous) if job.sheet.previous else None


def edition_of(job: Job) -> Edition:
    """The limit edition that the sheet names. Raises EditionError when it names none."""
    if not job.sheet.limits:
        known = ", ".join(sorted(shipped_editions()))
        raise EditionError(
            "the sheet names no limit edition.",
            where=str(job.folder / "job.toml"),
            do=f"Set limits to the edition in force for this installation: one of {known}, or a file of your own.",
        )
    return load_edition(job.sheet.limits, job.folder)


def standing(record: Record) -> tuple[Reading, ...]:
    """The readings that count, for the checks."""
    return tuple(line.reading for line in record.current)


def judging(sheet: Sheet, edition: Edition) -> Callable[[Reading, Record], Verdict]:
    """Limits applied to a reading in the light of those that stand."""

    def judged(reading: Reading, record: Record) -> Verdict:
        return judge(reading, sheet, edition, standing(record))

    return judged


def doubting(sheet: Sheet, previous: PreviousRecord | None, phrasing: Phrasing) -> Doubt:
    """Why a reading is hard to believe, in words to say; empty when nothing speaks against it."""

    def doubt(reading: Reading, verdict: Verdict, record: Record) -> str:
        question = implausible(reading, sheet, previous, standing(record)) or far_over(reading, verdict)
        return phrasing.remark(question.words) if question else ""

    return doubt


def taken(record: Record) -> tuple[Taken, ...]:
    """Every reading that was ever taken and stood, in order, with the entry that brought it: retests tell the story."""
    watch_of = {line.number: watched for watched in watches(record) for line in watched.lines}
    return tuple(_taken(line, watch_of.get(line.number)) for line in record.lines if line.stands)


def _taken(line: Line, watched: Watched | None) -> Taken:
    """A watched value has the time of its watch: by the sound, however fast that was heard."""
    taken = Taken(reading=line.reading, at=line.entry.at, reason=line.reason, entry=line.number)
    if watched is None:
        return taken
    first = watched.lines[0]
    after = timedelta(seconds=seconds(line) - seconds(first))
    return taken.model_copy(update={"at": first.entry.at + after, "watch": first.number})
