"""A long day: hours of sound through the real recogniser, dialogue, limits, journal and clips, as fast as they go.

    voicelog bench endurance --hours 8

The sound comes a block of fifteen minutes at a time: both recorded visits, talk and noise, noise alone, and at the end
a minute of talk that is new in every block. All but the new minute is the same sound, so that the last block must
give the utterances of the first: every call, which is an utterance that an entry came from. Talk that fits no sentence
has countless near readings, and which of them is nearest can turn on where a piece of sound begins; where it is heard
in other words than the first time it is counted apart. The clock is that of the sound: an entry is dated by the sound
that had been heard when it was written, and its clip is looked for in that sound, sample by sample.
"""

import os
import random
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from difflib import SequenceMatcher
from pathlib import Path

import numpy as np
from pydantic import computed_field

from voicelog.hearing.audio import PIECE, Piece, Recent, read_sound
from voicelog.hearing.ear import Lost, Pressed, Quiet
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.listening import SoundEar
from voicelog.hearing.recogniser import Recogniser
from voicelog.keeping.clips import ClipFolder, read_clip
from voicelog.keeping.storage import Progress, quiet
from voicelog.keeping.verify import verify_job
from voicelog.model import Entry, EntryKind, Heard, Noun
from voicelog.proving.din import Talkers, minute, noise_alone, recordings
from voicelog.proving.talk import sentence
from voicelog.resources import data_folder
from voicelog.session import Session, Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import Visit, open_visit
from voicelog.visiting import open_recogniser

BLOCK_S = 900  # 15,000 pieces
FRESH_S = 60  # of which the last minute is new each time
TALK_MINUTES = 2  # of talk and noise that are the same in every block
REST = 2 * RATE_HZ  # samples of an empty room behind each part
HUSH = 8.0  # root mean square of the room where nothing else is, -72 dBFS
MORNING = datetime(2026, 3, 2, 8, tzinfo=UTC)
END = ("end", "of", "visit")  # said in the recordings, and not taken at its word here
NEARLY_S = 0.065  # utterances end with a piece of sound of 60 ms; times are told to a hundredth
MOVED_S = 0.5  # the same utterance at another time in its block is another utterance


class Hour(Noun):
    """What stood at the end of an hour of sound (the last row may be a part of one)."""

    hours: float
    resident_MB: float
    utterances: int  # of this hour
    entries: int  # of this hour
    missed: int  # calls of the first block that a block of this hour did not give
    otherwise: int  # other utterances of the first block that came in other words or not at all
    added: int  # and utterances that the first did not give
    drift_ms: float  # the most that a clip moved against its entry's time, or an utterance in its block
    seconds: float  # that the hour took


class Endurance(Noun):
    """``voicelog bench endurance``."""

    hours: float
    start_MB: float  # resident, recogniser loaded, before the first sound
    rows: tuple[Hour, ...]
    utterances_a_block: tuple[int, ...]  # in the sound that every block shares
    entries: int
    clips: int
    clips_astray: int  # that are not, sample for sample, the sound heard before their entry
    verified: bool  # ``voicelog verify`` finds the job whole
    speed: float  # seconds for a second of sound

    @computed_field
    @property
    def missed(self) -> int:
        return sum(row.missed for row in self.rows)

    @computed_field
    @property
    def drift_ms(self) -> float:
        return max(row.drift_ms for row in self.rows)

    @computed_field
    @property
    def growth_MB_an_hour(self) -> float | None:
        """From the end of the first hour to the end; None for less than two."""
        first, last = self.rows[0], self.rows[-1]
        hours = last.hours - first.hours
        return round((last.resident_MB - first.resident_MB) / hours, 2) if hours > 0 else None

    @computed_field
    @property
    def passed(self) -> bool:
        """No call missed, no clip astray, nothing further off than a piece of sound, the job whole."""
        return not self.missed and not self.clips_astray and self.drift_ms < NEARLY_S * 1e3 and self.verified


@dataclass(frozen=True)
class Sound:
    """An endless day, block by block."""

    shared: np.ndarray  # int16, the same in every block
    fresh: Callable[[int], np.ndarray]  # what block 0, 1, 2 ... ends in

    def block(self, number: int) -> np.ndarray:
        """Whole pieces of sound."""
        samples = np.concatenate([self.shared, self.fresh(number)])
        return samples[: len(samples) // PIECE * PIECE]


@dataclass
class Block:
    """What one block gave."""

    heard: list[tuple[float, str]] = field(default_factory=list)  # seconds into the block, words; of the shared sound
    calls: set[int] = field(default_factory=set)  # those of them that an entry came from
    ages: list[tuple[int, float]] = field(default_factory=list)  # which utterance, and how old its clip was when kept
    utterances: int = 0
    entries: int = 0
    resident_mb: float = 0.0
    ended: float = 0.0  # time.monotonic()


def bench_endurance(
    hours: float = 8.0,
    seed: int = 1,
    noise: Path | None = None,
    told: Callable[[Hour], None] = lambda row: None,
    progress: Progress = quiet,
) -> Endurance:
    """``told`` hears of every hour as it ends; ``progress`` counts blocks. ``noise`` is a folder of recordings."""
    with tempfile.TemporaryDirectory() as place:
        shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", place)
        visit = open_visit(Path(place))
        sound = day_of_work(visit, seed, noise)
        return endure(visit, open_recogniser(visit), sound, max(1, round(hours * 3600 / BLOCK_S)), told, progress)


def endure(
    visit: Visit,
    recogniser: Recogniser,
    sound: Sound,
    blocks: int,
    told: Callable[[Hour], None] = lambda row: None,
    progress: Progress = quiet,
) -> Endurance:
    """So many blocks through one session on the job of ``visit``."""
    day = _Day(sound, blocks, visit.job.folder, told, progress)
    with visit.job.journal(now=day.now) as journal:
        Session(
            reader=visit.reader,
            desk=visit.desk(Policy.EVERY),
            ear=_TirelessEar(recogniser, day.pieces()),
            mouth=SilentMouth(),
            journal=journal,
            clips=ClipFolder(visit.job.folder),
            watcher=day,
            now=day.now,
        ).run()
    return day.summed(verify_job(visit.job.folder).exit_code == 0)


class _TirelessEar(SoundEar):
    """Hears "end of visit" as everything else, and does not pass it on."""

    def events(self) -> Iterator[Heard | Quiet | Lost | Pressed]:
        for event in super().events():
            if isinstance(event, Heard) and event.texts == END:
                continue
            yield event


class _Day(Watcher):
    """Feeds the sound, tells the time by it, and looks at everything that comes of it."""

    def __init__(
        self, sound: Sound, blocks: int, folder: Path, told: Callable[[Hour], None], progress: Progress
    ) -> None:
        self._sound, self._count, self._folder = sound, blocks, folder
        self._told, self._progress = told, progress
        self._block_s, self._shared_s = len(sound.block(0)) / RATE_HZ, len(sound.shared) / RATE_HZ
        self._an_hour = max(1, round(3600 / self._block_s))
        self._fed, self._recent = 0, Recent()
        self._blocks = [Block() for _ in range(blocks)]
        self._began, self._start_mb = time.monotonic(), resident_mb()
        self._clips = self._astray = 0
        self._last: Heard | None = None
        self._rows: list[Hour] = []

    def now(self) -> datetime:
        return MORNING + timedelta(seconds=self._fed / RATE_HZ)

    def pieces(self) -> Iterator[Piece]:
        for number, block in enumerate(self._blocks):
            samples = self._sound.block(number)
            for first in range(0, len(samples), PIECE):
                piece = samples[first : first + PIECE]
                self._fed += len(piece)
                self._recent.add(piece)
                yield Piece(piece, at=float("inf"))
            block.resident_mb, block.ended = resident_mb(), time.monotonic()
            self._progress(number + 1, self._count)
            if (number + 1) % self._an_hour == 0 or number + 1 == self._count:
                self._rows.append(self._row(number + 1))
                self._told(self._rows[-1])

    # ------------------------------------------------------------ what comes of it

    def heard(self, heard: Heard) -> None:
        self._last = heard
        block, into_s = self._at(heard.start_s)
        block.utterances += 1
        if into_s < self._shared_s:
            block.heard.append((into_s, " ".join(heard.texts)))

    def kept(self, entry: Entry, record: object, talk: object) -> None:
        if entry.kind in (EntryKind.STARTED, EntryKind.STOPPED) or not self._last:
            return
        block, into_s = self._at(self._last.start_s)
        block.entries += 1
        shared = into_s < self._shared_s
        if shared:
            block.calls.add(len(block.heard) - 1)
        age_s = self._age(entry) if entry.clip else None
        if shared and age_s is not None:
            block.ages.append((len(block.heard) - 1, age_s))

    def _at(self, at_s: float) -> tuple[Block, float]:
        number = min(int(at_s // self._block_s), self._count - 1)
        return self._blocks[number], at_s - number * self._block_s

    def _age(self, entry: Entry) -> float | None:
        """Seconds from the end of the clip on the disk to the time of its entry; None for a clip that was not heard."""
        samples, _ = read_clip(self._folder, entry.clip)
        heard_s = (entry.at - MORNING).total_seconds()
        lately = self._recent.between(heard_s - 60, heard_s)
        at = lately.tobytes().rfind(samples.tobytes())
        self._clips += 1
        if at < 0 or at % 2:
            self._astray += 1
            return None
        return (len(lately) - at // 2 - len(samples)) / RATE_HZ

    # ------------------------------------------------------------ figures

    def _row(self, done: int) -> Hour:
        ours = self._blocks[(done - 1) // self._an_hour * self._an_hour : done]
        compared = [compare(self._blocks[0], block) for block in ours]
        return Hour(
            hours=round(done * self._block_s / 3600, 3),
            resident_MB=round(ours[-1].resident_mb, 1),
            utterances=sum(block.utterances for block in ours),
            entries=sum(block.entries for block in ours),
            missed=sum(one.missed for one in compared),
            otherwise=sum(one.otherwise for one in compared),
            added=sum(one.added for one in compared),
            drift_ms=round(1e3 * max(one.drift_s for one in compared), 2),
            seconds=round(ours[-1].ended - self._began - sum(row.seconds for row in self._rows), 1),
        )

    def summed(self, verified: bool) -> Endurance:
        heard_s = self._fed / RATE_HZ
        return Endurance(
            hours=round(heard_s / 3600, 3),
            start_MB=round(self._start_mb, 1),
            rows=tuple(self._rows),
            utterances_a_block=tuple(len(block.heard) for block in self._blocks),
            entries=sum(block.entries for block in self._blocks),
            clips=self._clips,
            clips_astray=self._astray,
            verified=verified,
            speed=round(sum(row.seconds for row in self._rows) / heard_s, 4),
        )


@dataclass(frozen=True)
class Compared:
    """A block against the first."""

    missed: int
    otherwise: int
    added: int
    drift_s: float


def compare(first: Block, block: Block) -> Compared:
    """The same utterances at the same times of the block, their clips as old when they were kept."""
    pairs = list(_pairs(first.heard, block.heard))
    moved = [abs(block.heard[b][0] - first.heard[a][0]) for a, b in pairs]
    same = [(a, b) for (a, b), by_s in zip(pairs, moved, strict=True) if by_s <= MOVED_S]
    ages, ours = dict(first.ages), dict(block.ages)
    aged = [abs(ours[b] - ages[a]) for a, b in same if a in ages and b in ours]
    drift_s = max([by_s for by_s in moved if by_s <= MOVED_S] + aged, default=0.0)
    lacking = set(range(len(first.heard))) - {a for a, _ in same}
    return Compared(
        missed=len(lacking & first.calls),
        otherwise=len(lacking - first.calls),
        added=len(block.heard) - len(same),
        drift_s=drift_s,
    )


def _pairs(first: list[tuple[float, str]], other: list[tuple[float, str]]) -> Iterator[tuple[int, int]]:
    matcher = SequenceMatcher(None, [text for _, text in first], [text for _, text in other], autojunk=False)
    for match in matcher.get_matching_blocks():
        yield from ((match.a + n, match.b + n) for n in range(match.size))


def resident_mb() -> float:
    """Resident memory of this process; where the system does not tell, the most it ever had."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    except OSError:
        import resource  # absent on Windows

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6  # bytes where /proc is absent: macOS


# ---------------------------------------------------------------- the sound


def day_of_work(visit: Visit, seed: int = 1, noise: Path | None = None) -> Sound:
    """Both recorded visits, talk and noise, noise alone; and new talk at the end of each block."""
    talkers, noises = Talkers(), recordings(noise) if noise else ()

    def talk(of: str) -> np.ndarray:
        draw = random.Random(f"endurance {seed} {of}")
        return minute(draw, talkers, lambda: sentence(draw, visit.reader), noises).samples

    samples = data_folder("audio_samples")
    parts = [_rested(read_sound(samples / name)) for name in ("visit/visit.ogg", "demo/visit.flac")]
    parts += [_rested(talk(f"shared {number}")) for number in range(TALK_MINUTES)]
    parts.append(noise_alone(random.Random(f"endurance {seed}"), noises))
    shared = np.resize(np.concatenate(parts), (BLOCK_S - FRESH_S) * RATE_HZ)
    return Sound(_at_rest(shared), lambda number: _at_rest(talk(f"fresh {number}")))


def _at_rest(sound: np.ndarray) -> np.ndarray:
    """As long as it is, its end an empty room."""
    return _rested(sound[:-REST])


def _rested(sound: np.ndarray) -> np.ndarray:
    """With two seconds of an empty room after it."""
    hush = np.random.default_rng(len(sound)).normal(0, HUSH, REST)
    return np.concatenate([sound, np.rint(hush).astype(np.int16)])
