"""What is fed with odd input: each target draws something and says what must hold of whatever comes of it."""

import asyncio
import hashlib
import io
import random
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from hypothesis import strategies as st
from starlette.types import ASGIApp, Message

from voicelog.checking.editions import load_edition, shipped_editions
from voicelog.checking.previous import READINGS, parse_previous
from voicelog.errors import (
    EditionError,
    GrammarError,
    InputError,
    KeepingError,
    ModelError,
    PreviousRecordError,
    SheetError,
    SoundError,
)
from voicelog.hearing.audio import read_sound
from voicelog.hearing.filterbank import BINS, CONF
from voicelog.hearing.lexicon import read_pronunciations
from voicelog.hearing.network import AcousticModel, Affine, Layer, LogSoftmax, Node
from voicelog.hearing.nnet3 import read_model, write_model
from voicelog.hearing.phones import OUTPUTS
from voicelog.keeping.chain import Head, canonical, entry_of, forge
from voicelog.keeping.clips import ClipFolder
from voicelog.keeping.job import open_job
from voicelog.keeping.journal import Journal
from voicelog.keeping.pack import MANIFEST, pack, unpack
from voicelog.keeping.record import fold
from voicelog.keeping.sheet import SHEET, parse_sheet
from voicelog.learning.profiles import ABOUT, ACOUSTIC, FEATURES, WORDS, About, Profiles
from voicelog.meaning.grammar import Grammar
from voicelog.meaning.grammar_files import load_grammar
from voicelog.meaning.parsing import Reader
from voicelog.model import Draft, Entry, EntryKind, Number, Reading
from voicelog.proving.odd_input import Member, archive, edited_bytes, edited_lines, odd_members
from voicelog.proving.readings import round_of
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.resources import data_folder
from voicelog.showing.guard import KEY_HEADER, Guard, Key
from voicelog.showing.live_state import live_state
from voicelog.showing.live_view import LiveView
from voicelog.showing.review_desk import ReviewDesk
from voicelog.showing.review_view import ReviewView
from voicelog.showing.wording import load_wording
from voicelog.talking.conversation import Policy
from voicelog.visit import judging


@dataclass(frozen=True)
class Target:
    """``draws`` makes the strategy; ``holds`` raises for a case that breaks the rules, and takes or refuses others."""

    name: str
    draws: Callable[[], st.SearchStrategy]
    holds: Callable[[Any], None]


# ---------------------------------------------------------------- text files


GRAMMAR_FILES = ("fixed-wiring", "numbers", "units", "commands", "results", "places", "sequences")


@cache
def _data(name: str) -> str:
    folder, _, file = name.partition("/")
    return (data_folder(folder) / file).read_text(encoding="utf-8")


@cache
def _sheet():
    return parse_sheet(_data(f"audio_samples/demo/{SHEET}"))


@cache
def _grammar() -> Grammar:
    return load_grammar()


@cache
def _reader() -> Reader:
    return Reader(_grammar(), _sheet())


def _a_grammar() -> st.SearchStrategy:
    """A file of the grammar edited, and whether its network is built too (which takes its time)."""
    edited = st.sampled_from(GRAMMAR_FILES).flatmap(
        lambda name: st.tuples(st.just(name), edited_lines(_data(f"grammars/{name}.toml"), "=,"))
    )
    return st.tuples(edited, st.integers(0, 9).map(lambda chance: chance == 0))


def _grammar_holds(case: tuple[tuple[str, str], bool]) -> None:
    (name, text), with_network = case
    with tempfile.TemporaryDirectory() as place:
        for other in GRAMMAR_FILES:
            _written(Path(place) / f"{other}.toml", text if other == name else _data(f"grammars/{other}.toml"))
        try:
            grammar = load_grammar(folder=Path(place))
            if with_network:
                Reader(grammar, _sheet())
        except GrammarError as error:
            assert error.what


def _pronunciations_hold(text: str) -> None:
    with tempfile.TemporaryDirectory() as place:
        file = Path(place) / "pronunciations.toml"
        _written(file, text)
        try:
            found = read_pronunciations(file)
        except GrammarError:
            return
    assert all(ways and all(way for way in ways) for ways in found.values())


def _a_sheet() -> st.SearchStrategy:
    chance = st.integers(0, 9).map(lambda chance: chance == 0)
    return st.tuples(edited_lines(_data(f"audio_samples/demo/{SHEET}"), "=,"), chance)


def _sheet_holds(case: tuple[str, bool]) -> None:
    text, with_network = case
    try:
        sheet = parse_sheet(text)
        if with_network:
            Reader(_grammar(), sheet)
    except (SheetError, GrammarError) as error:
        assert error.what


def _a_previous_record() -> st.SearchStrategy:
    columns = ["board", "number", "name", *sorted(READINGS)]
    rows = [",".join(columns)]
    for circuit in ("1", "2", "5L1"):
        rows.append(",".join(["DB1", circuit, "sockets", *("0.52" for _ in READINGS)]))
    return edited_lines("\n".join(rows), ",")


def _previous_holds(text: str) -> None:
    try:
        found = parse_previous(text, "previous.csv")
    except PreviousRecordError as error:
        assert error.where
        return
    known = {quantity for quantity, _, _ in READINGS.values()}
    assert all(reading.quantity in known for row in found.rows for reading in row.readings)


@cache
def _called() -> tuple[Reading, ...]:
    return round_of(_sheet(), random.Random(1))


def _an_edition() -> st.SearchStrategy:
    path = sorted(shipped_editions().values())[0]
    return edited_lines(path.read_text(encoding="utf-8"), "=,")


def _edition_holds(text: str) -> None:
    with tempfile.TemporaryDirectory() as place:
        _written(Path(place) / "own.toml", text)
        try:
            edition = load_edition("own.toml", Path(place))
        except EditionError as error:
            assert error.where
            return
    judge = judging(_sheet(), edition)
    assert all(judge(reading, fold(())).sentence for reading in _called())


def _written(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8", "surrogatepass"))


# ---------------------------------------------------------------- words


BEYOND = ("banana", "nine", "", "é", "zed's", "<unk>", "[noise]", "x" * 60, "0", "\x00", "point")


def _a_talk() -> st.SearchStrategy:
    """Utterances: sentences of the grammar, whole, mixed or with words of anywhere, and words at random."""
    words = st.sampled_from(sorted(_reader().network.words))
    sentences = st.integers(0, 2**32).map(lambda seed: _reader().network.sample(random.Random(seed)))
    mixed = st.tuples(sentences, words | st.sampled_from(BEYOND), st.floats(0, 1)).map(_put_in)
    utterance = sentences | mixed | st.lists(words | st.sampled_from(BEYOND), max_size=12).map(tuple)
    return st.tuples(st.sampled_from(list(Policy)), st.lists(utterance | st.just(("...",)), min_size=1, max_size=8))


def _put_in(case: tuple[tuple[str, ...], str, float]) -> tuple[str, ...]:
    sentence, word, where = case
    at = round(where * len(sentence))
    return (*sentence[:at], word, *sentence[at + (where > 0.5) :])


@cache
def _stage() -> Stage:
    return Stage(_grammar(), _sheet())


def _talk_holds(case: tuple[Policy, list[tuple[str, ...]]]) -> None:
    policy, utterances = case
    visit = Rehearsal(_stage(), policy)
    for words in utterances:
        if words == ("...",):
            visit.wait(9.0)
        else:
            visit.say(words)
        assert all(_in_the_grammar(line.reading) for line in visit.desk.record.lines)


def _in_the_grammar(reading: Reading) -> bool:
    """A quantity of the grammar with a unit of its own, no greater than can be meant, at a place on the sheet."""
    quantity, sheet = _grammar().quantities[reading.quantity], _sheet()
    board = sheet.board(reading.place.board)
    known = {circuit.number for circuit in board.circuits} | {""}, {rcd.reference for rcd in board.rcds} | {""}
    at_home = reading.place.circuit in known[0] and reading.place.rcd in known[1]
    if not isinstance(reading.value, Number):
        return at_home
    factor = _grammar().units[reading.unit].factor if reading.unit else 1
    usual = _grammar().units[quantity.units[0]].factor if quantity.units and quantity.units[0] else 1
    fits = reading.value.figure * factor <= quantity.greatest * usual
    return at_home and reading.unit in quantity.units and fits


# ---------------------------------------------------------------- sound, and networks


@cache
def _sound(suffix: str) -> bytes:
    data = io.BytesIO()
    tone = (9000 * np.sin(np.arange(1600) / 5)).astype(np.int16)
    soundfile.write(data, tone, 16_000, format=suffix.upper())
    return data.getvalue()


def _a_recording() -> st.SearchStrategy:
    return st.sampled_from(("wav", "flac", "ogg")).flatmap(
        lambda suffix: st.tuples(st.just(suffix), edited_bytes(_sound(suffix), 120) | edited_bytes(_sound(suffix)))
    )


def _sound_holds(case: tuple[str, bytes]) -> None:
    suffix, data = case
    with tempfile.TemporaryDirectory() as place:
        file = Path(place) / f"said.{suffix}"
        file.write_bytes(data)
        try:
            samples = read_sound(file)
        except SoundError as error:
            assert error.what
            return
    assert samples.dtype == np.int16 and samples.ndim == 1 and len(samples)


@cache
def _small_model() -> bytes:
    """A network of the right form and next to no size."""
    affine = Affine(np.zeros((OUTPUTS, BINS), np.float32), np.zeros(OUTPUTS, np.float32))
    layers = (Layer("bands", Node("input"), affine), Layer("out", Node("bands"), LogSoftmax(OUTPUTS)))
    with tempfile.TemporaryDirectory() as place:
        write_model(AcousticModel(layers, Node("out")), Path(place) / "final.mdl")
        return (Path(place) / "final.mdl").read_bytes()


def _model_holds(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "final.mdl").write_bytes(data)
        try:
            read_model(Path(place) / "final.mdl")
        except ModelError as error:
            assert error.what


# ---------------------------------------------------------------- archives


@cache
def good_pack() -> dict[str, bytes]:
    """The files of a small job, by name."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "job"
        folder.mkdir()
        (folder / SHEET).write_text(_data(f"audio_samples/demo/{SHEET}"), encoding="utf-8")
        clip = ClipFolder(folder).keep(np.arange(400, dtype=np.int16), 16_000, NOON)
        with Journal.open(folder) as journal:
            journal.append(Draft(kind=EntryKind.NOTED, clip=clip.name, clip_sha256=clip.sha256))
        return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@cache
def _packed() -> bytes:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "job"
        for name, data in good_pack().items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(data)
        pack(folder, Path(place) / "packed")
        return (Path(place) / "packed").read_bytes()


def _a_pack() -> st.SearchStrategy:
    """A pack damaged byte by byte, or made of odd files whose manifest vouches for them."""
    good = {name: data for name, data in good_pack().items() if not name.startswith("journal.lock")}
    return edited_bytes(_packed()) | odd_members(good).map(vouched_for)


def vouched_for(members: list[Member]) -> bytes:
    """A pack of them whose manifest knows each."""
    files = {one.name: {"size": len(one.data), "sha256": hashlib.sha256(one.data).hexdigest()} for one in members}
    manifest = {"format": "voicelog pack 1", "head": "0" * 64, "entries": 1, "files": files}
    return archive([Member(MANIFEST, canonical(manifest).encode()), *members])


def _pack_holds(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as place:
        (file := Path(place) / "packed").write_bytes(data)
        to = Path(place) / "inner" / "job"
        try:
            unpack(file, to)
            open_job(to)
        except (KeepingError, SheetError) as error:
            assert error.what
        _nothing_outside(Path(place), {file, to.parent}, to)


def _nothing_outside(place: Path, allowed: set[Path], inside: Path) -> None:
    for path in place.rglob("*"):
        assert path in allowed or path == inside or inside in path.parents, path
        assert not path.is_symlink() and path.stat().st_size < 8 << 20, path


def _a_voice() -> st.SearchStrategy:
    about = About(
        name="ann",
        learnt_at=NOON,
        source="phrases",
        kind="scales and shifts",
        blend=0.5,
        **dict.fromkeys(("speech_s", "loss_before", "loss_after", "wrong_before", "wrong_after"), 1.0),
        phrases=3,
        general="0" * 64,
    )
    good = {
        ABOUT: about.model_dump_json(indent=1).encode(),
        ACOUSTIC: _small_model(),
        FEATURES: CONF.encode(),
        WORDS: b'"zed" = "Z EH D"\n',
    }
    texts = edited_lines(good[ABOUT].decode(), ":").map(lambda text: {**good, ABOUT: text.encode()})
    words = edited_lines(good[WORDS].decode(), "=").map(lambda text: {**good, WORDS: text.encode()})
    spoilt = (texts | words).map(lambda files: archive([Member(name, data) for name, data in files.items()]))
    return spoilt | odd_members(good).map(archive)


def _voice_holds(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as place:
        (file := Path(place) / "voice.zip").write_bytes(data)
        root = Path(place) / "voices"
        profiles = Profiles(root)
        try:
            kept = profiles.import_(file)
        except InputError as error:
            assert error.what
        else:
            assert kept.model and kept.own_words is not None and profiles.names() == (kept.name,)
        _nothing_outside(Path(place), {file, root}, root)


# ---------------------------------------------------------------- pages


NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOST = "127.0.0.1:8000"
KEY = Key()
PATHS = (
    "/",
    "/events",
    "/answer",
    "/rows",
    "/sound/2",
    "/outline/2",
    "/change",
    "/words",
    "/sign-off",
    "/openapi.json",
)
BODIES = (
    b'{"answer": "affirm", "line": 2}',
    b'{"line": 2, "value": "0.6", "unit": "ohm", "reason": "heard wrong"}',
    b'{"line": 2, "words": "nought point six", "reason": "heard wrong"}',
    b'{"place": "DB1/1", "reason": "x"}',
)


@dataclass(frozen=True)
class Asked:
    """One request, as raw as a server gets it."""

    page: str
    method: str
    path: str
    query: bytes
    headers: tuple[tuple[bytes, bytes], ...]
    body: bytes


def _a_request() -> st.SearchStrategy:
    text = st.text(max_size=12).map(lambda text: text.encode("utf-8", "surrogatepass"))
    key = st.sampled_from((KEY.secret.encode(), KEY.secret.encode(), b"", b"wrong", b"\xff"))
    host = st.sampled_from((HOST.encode(), HOST.encode(), b"evil.example", b"", b"\xff:x"))
    more = st.lists(
        st.tuples(st.sampled_from((b"origin", b"content-type", b"range", b"last-event-id", b"content-length")), text),
        max_size=2,
    )
    numbers = st.integers(-3, 10**30).map(lambda number: f"/sound/{number}")
    return st.builds(
        lambda page, method, path, query, key, host, more, body: Asked(
            page, method, path, query, ((KEY_HEADER.encode(), key), (b"host", host), *more), body
        ),
        st.sampled_from(("live", "review")),
        st.sampled_from(("GET", "POST", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "PATCH", "X")),
        st.sampled_from(PATHS) | numbers | st.text(max_size=20).map(lambda text: f"/{text}"),
        text | st.sampled_from((b"after=1", b"after=x-9", b"key=\xff", b"mono=1&after=")),
        key,
        host,
        more,
        st.sampled_from(BODIES).flatmap(edited_bytes) | st.sampled_from(BODIES) | st.binary(max_size=20),
    )


@cache
def _story() -> tuple[Entry, ...]:
    entries: list[Entry] = []
    for reading in _called()[:4]:
        for draft in (
            Draft(kind=EntryKind.CALLED, place=reading.place, reading=reading, words=("zed", "s")),
            Draft(kind=EntryKind.AFFIRMED, refers=len(entries) + 1),
        ):
            _append(entries, draft)
    return tuple(entries)


def _append(entries: list[Entry], draft: Draft) -> Entry:
    last = Head(entries[-1].number, entries[-1].digest) if entries else Head()
    entries.append(entry_of(forge(draft, last, NOON + timedelta(seconds=len(entries)))))
    return entries[-1]


def _app(page: str) -> Guard:
    if page == "live":
        view = LiveView("HALL-7", lambda tap: None)
        view.publish(live_state(_sheet(), fold(_story()[:7]), load_wording()))
        return Guard(view.app, KEY, lambda: frozenset([HOST]))
    entries = list(_story())
    desk = ReviewDesk(_sheet(), entries, lambda draft: _append(entries, draft), "the reviewer")
    return Guard(ReviewView(desk, None).app, KEY, lambda: frozenset([HOST]))


def _request_holds(asked: Asked) -> None:
    status, headers = asyncio.run(asyncio.wait_for(_answered(_app(asked.page), asked), 60))
    assert status < 500, status
    assert b"content-security-policy" in headers
    right = dict(asked.headers[:2])
    if right[KEY_HEADER.encode()] != KEY.secret.encode() or right[b"host"] != HOST.encode():
        assert status in (403, 413) or status == 400, status


async def _answered(app: ASGIApp, asked: Asked) -> tuple[int, dict[bytes, bytes]]:
    """One request to an application, without a server; whoever asked hangs up at once."""
    waiting = [{"type": "http.request", "body": asked.body, "more_body": False}, {"type": "http.disconnect"}]
    sent: list[Message] = []

    async def receive() -> Message:
        return waiting.pop(0) if len(waiting) > 1 else waiting[0]

    async def send(message: Message) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0", "spec_version": "2.3"},
        "http_version": "1.1",
        "method": asked.method,
        "scheme": "http",
        "path": asked.path,
        "raw_path": asked.path.encode("utf-8", "surrogatepass"),
        "query_string": asked.query,
        "root_path": "",
        "headers": list(asked.headers),
        "client": ("127.0.0.1", 40000),
        "server": ("127.0.0.1", 8000),
    }
    await app(scope, receive, send)
    start = next(message for message in sent if message["type"] == "http.response.start")
    return start["status"], dict(start["headers"])


TARGETS = (
    Target("grammar files", _a_grammar, _grammar_holds),
    Target(
        "pronunciations",
        lambda: edited_lines("\n".join(_data("grammars/pronunciations.toml").splitlines()[:60])),
        _pronunciations_hold,
    ),
    Target("job sheets", _a_sheet, _sheet_holds),
    Target("previous records", _a_previous_record, _previous_holds),
    Target("limit editions", _an_edition, _edition_holds),
    Target("spoken words", _a_talk, _talk_holds),
    Target("recordings", _a_recording, _sound_holds),
    Target("acoustic models", lambda: edited_bytes(_small_model(), 4000), _model_holds),
    Target("packed jobs", _a_pack, _pack_holds),
    Target("voices", _a_voice, _voice_holds),
    Target("web endpoints", _a_request, _request_holds),
)
