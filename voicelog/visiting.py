"""From a command's options to a running visit: which ear, which mouth, which journal."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from queue import Empty, Queue
from threading import Thread
from time import monotonic
from typing import TYPE_CHECKING, TextIO

import platformdirs
from rich.console import Console

from voicelog.counting import counted
from voicelog.errors import InputError
from voicelog.hearing.audio import Microphone, sound_pieces
from voicelog.hearing.ear import Ear, Hand, Pressed, ScriptedEar
from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.listening import TALK, OwnVoice, SoundEar, recorded
from voicelog.hearing.model_folder import Kind, open_folder, prepared, prepared_judge
from voicelog.hearing.recogniser import Recogniser, hear_all, held_to
from voicelog.hearing.word_graph import WordArc, WordGraph
from voicelog.keeping.record import Record
from voicelog.live import Watchers, served_page
from voicelog.model import Heard, Meaning, NotUnderstood
from voicelog.resources import data_folder
from voicelog.screen import Screen
from voicelog.session import Session, Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.known import known_prompts
from voicelog.talking.phrasing import Phrasing
from voicelog.talking.speaking import Speaking
from voicelog.talking.tones import Tone
from voicelog.talking.voice import Mouth, SilentMouth, open_mouth
from voicelog.visit import Visit, open_visit

if TYPE_CHECKING:
    from voicelog.learning.crew import CrewRecogniser
    from voicelog.learning.profiles import Profile

PAUSE_S = 0.8  # talk that fits no sentence ends when the sound pauses so long
LOOK_S = 0.2  # how often an answer by hand is looked for while nothing is typed


@dataclass(frozen=True)
class Options:
    """How to listen."""

    source: Path | None = None
    typed: bool = False
    policy: str = Policy.EVERY.value
    silent: bool = False
    voice: str = "natural"
    device: str = ""
    model: Path | None = None
    attention: str = ""  # a word that readings must begin with; empty for none
    page: bool = False  # a live page on this computer
    network: bool = False  # and on the local network, by key
    crew: tuple[str, ...] = ()  # names of learnt voices: the tester, the mate
    keep_sound: bool = True  # of what is heard, beside the words
    push_to_talk: bool = False  # hear only the utterance after each press of Enter, or of a pedal that acts as one


def listen(folder: Path, options: Options, console: Console) -> Record:
    """Run a visit to its end. Raises the errors of its rooms; what was kept stays kept."""
    visit = open_visit(folder, options.attention)
    hand: Hand[Pressed] = Hand()
    with ExitStack() as stack:
        watcher: Watcher = Screen(console)
        if options.page:
            page = stack.enter_context(served_page(visit.sheet, hand, options.network, console))
            watcher = Watchers(watcher, page)
        mouth = stack.enter_context(open_the_mouth(options, Phrasing(visit.grammar, visit.sheet)))
        if not options.typed:
            watch_keys(hand, mouth)
        ear = stack.enter_context(open_ear(visit, options, hand, mouth, partial(_remarked, watcher, mouth)))
        record = run(visit, ear, mouth, Policy(options.policy), watcher, options.keep_sound)
    if options.crew:
        from voicelog.lessons import after_visit

        after_visit(folder, options.crew, console)
    return record


def _remarked(watcher: Watcher, mouth: Mouth, remark: str) -> None:
    watcher.spoke(remark, Tone.ATTENTION)
    mouth.say(remark, Tone.ATTENTION)


def watch_keys(hand: "Hand[Pressed]", mouth: Mouth) -> None:
    """Enter, or a pedal that acts as one: ends a prompt in progress, otherwise opens the ear for push-to-talk."""

    def watch() -> None:
        for _ in sys.stdin:
            if mouth.busy:
                mouth.stop()
            else:
                hand.put(Pressed(TALK))

    if sys.stdin.isatty():
        Thread(target=watch, daemon=True, name="keys").start()


def run(visit: Visit, ear: Ear, mouth: Mouth, policy: Policy, watcher: Watcher, keep_sound: bool = True) -> Record:
    """Hear, answer and keep until the ear has no more or the visit is ended."""
    with visit.job.journal() as journal:
        session = Session(
            reader=visit.reader,
            desk=visit.desk(policy),
            ear=ear,
            mouth=mouth,
            journal=journal,
            clips=visit.job.clip_folder() if keep_sound else None,
            watcher=watcher,
            versions=visit.versions(),
        )
        return session.run()


@contextmanager
def open_ear(
    visit: Visit,
    options: Options,
    hand: "Hand[Pressed] | None" = None,
    mouth: Mouth | None = None,
    noticed: Callable[[str], None] = lambda remark: None,
) -> Iterator[Ear]:
    """Typed words, a recording, or the microphone. ``noticed``: told of a microphone unlike a learnt voice's."""
    if options.typed:
        began = monotonic()
        now_s = float if options.source else lambda: monotonic() - began
        yield ScriptedEar(_typed_lines(options.source), hand, now_s)
        return
    recogniser = open_crew(visit, options.crew, noticed) if options.crew else open_recogniser(visit, options.model)
    if options.source is not None:
        yield SoundEar(recogniser, recorded(options.source), hand)
        return
    own_voice = OwnVoice(lambda: mouth.busy_until, mouth.stop) if mouth else None
    with Microphone(options.device or None, waits=True) as microphone:
        yield SoundEar(recogniser, microphone, hand, own_voice, options.push_to_talk)


def open_recogniser(visit: Visit, model: Path | None = None) -> Recogniser:
    """The recogniser, holding the job's own grammar.

    Raises ModelError for a folder that cannot be used, or when a stock model lacks words of the job.
    """
    folder = open_folder(model) if model else open_folder()
    if folder.kind is Kind.STOCK:
        return Recogniser(held_to(folder, _phrases(visit)), pause_s=PAUSE_S)
    return Recogniser(prepared(folder, word_graph(visit)), judge=prepared_judge(folder), pause_s=PAUSE_S)


def open_crew(
    visit: Visit, names: tuple[str, ...], noticed: Callable[[str], None] = lambda remark: None
) -> "CrewRecogniser":
    """The general network beside those of the people named. Raises InputError for a voice that was never learnt."""
    from voicelog.learning.crew import CrewRecogniser, Member  # costs a quarter of a second, and few visits need it
    from voicelog.learning.profiles import Profiles

    profiles = [Profiles().profile(name) for name in dict.fromkeys(names)]
    members = tuple(Member(profile, _as_learnt(visit, profile)) for profile in profiles)
    return CrewRecogniser(open_recogniser(visit), members, noticed)


def _as_learnt(visit: Visit, profile: "Profile") -> Recogniser:
    """One person's network and pronunciations over the job's own grammar."""
    lexicon = bundled_lexicon().with_own(profile.own_words)
    folder = open_folder(profile.folder)
    return Recogniser(prepared(folder, word_graph(visit), lexicon=lexicon), pause_s=PAUSE_S)


def word_graph(visit: Visit) -> WordGraph:
    """The network of the job's grammar as the ear compiles it."""
    network = visit.reader.network
    arcs = tuple(WordArc(arc.source, arc.target, arc.word, arc.cost) for arc in network.arcs)
    return WordGraph(arcs, network.final, network.states)


def _phrases(visit: Visit) -> tuple[str, ...]:
    """Every word of the job alone: a stock model strings them together as it likes, and the reader refuses."""
    return tuple(sorted(visit.reader.network.words))


def open_visit_or_demo(job: Path | None) -> Visit:
    """The job named, or else the sheet of the demonstration."""
    return open_visit(job or data_folder("audio_samples") / "demo")


# ---------------------------------------------------------------- hearing without a dialogue


@dataclass(frozen=True)
class Line:
    """One utterance of a recording and its meaning."""

    file: str
    heard: Heard
    meaning: Meaning

    def json(self) -> str:
        """One JSON line: start, end, words, meaning, score, seconds spent."""
        best, *others = self.heard.hypotheses
        return json.dumps(
            {
                "file": self.file,
                "start": round(self.heard.start_s, 2),
                "end": round(self.heard.end_s, 2),
                "words": " ".join(self.heard.texts),
                "meaning": self.meaning.model_dump(mode="json", exclude_defaults=True) | {"kind": self.meaning.kind},
                "score": round(others[0].cost - best.cost, 2) if others else None,
                "seconds_spent": round(self.heard.decode_s, 3),
            }
        )

    def text(self) -> str:
        why = f"  ({self.meaning.why})" if isinstance(self.meaning, NotUnderstood) else ""
        return f"{self.heard.start_s:7.2f} {self.heard.end_s:7.2f}  {' '.join(self.heard.texts)}{why}"


def hear(files: Iterable[Path], job: Path | None, model: Path | None = None) -> Iterator[Line]:
    """Every utterance of the recordings, with its meaning on that job."""
    visit = open_visit_or_demo(job)
    context = visit.reader.at_first
    for file in files:
        for heard in hear_file(file, visit, model):
            yield Line(str(file), heard, visit.reader.understand(heard, context).meaning)


def hear_file(file: Path, visit: Visit, model: Path | None = None) -> Iterator[Heard]:
    """The utterances of one recording."""
    pieces = sound_pieces(file)
    return hear_all(open_recogniser(visit, model), pieces)


def _typed_lines(source: Path | None) -> Iterable[str]:
    if source is None:
        return _lines_as_they_come(sys.stdin)
    try:
        return source.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise InputError(f"the typed words cannot be read: {error.strerror}.", where=str(source)) from error
    except UnicodeDecodeError:
        raise InputError("the typed words are not UTF-8 text.", where=str(source), do="Save it as UTF-8.") from None


def _lines_as_they_come(stream: TextIO) -> Iterator[str]:
    """Lines of a terminal or a pipe; an empty one now and then, so that an answer by hand need not wait for typing."""
    lines: Queue[str | None] = Queue()

    def read() -> None:
        with suppress(OSError):  # the terminal is gone: no more lines, as at its end
            for line in stream:
                lines.put(line)
        lines.put(None)

    Thread(target=read, daemon=True).start()
    while True:
        try:
            line = lines.get(timeout=LOOK_S)
        except Empty:
            yield ""
            continue
        if line is None:
            return
        yield line


@contextmanager
def open_the_mouth(options: Options, phrasing: Phrasing | None = None) -> Iterator[Mouth]:
    """The voice asked for; the screen shows what is said in any case. What waits to be said is said before the end.

    ``phrasing``: of the job, whose usual prompts are then ready before they are needed.
    """
    if options.silent or options.typed:
        yield SilentMouth()
        return
    mouth = Speaking(open_mouth(options.voice, folder=platformdirs.user_cache_path("voicelog") / "voice"))
    mouth.prepare(known_prompts(phrasing) if phrasing else ())
    try:
        yield mouth
    finally:
        mouth.close()


def closing_words(record: Record) -> str:
    unconfirmed = len(record.unconfirmed)
    ask = f"; {unconfirmed} unconfirmed, to be settled before anyone signs" if unconfirmed else ""
    return f"{counted(len(record.current), 'reading', 'readings')} on the record{ask}."
