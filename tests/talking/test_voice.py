"""The mouth: what is said sounds at once, stops at once, and comes from this machine alone."""

import subprocess
import sys
import threading
import time

import numpy as np
import pytest
import soundfile

from voicelog.errors import DeviceError
from voicelog.talking.clauses import clauses
from voicelog.talking.espeak import EspeakVoice
from voicelog.talking.loudspeaker import RATE_HZ, PretendedCard, SoundCard, WavFile
from voicelog.talking.natural import NaturalVoice
from voicelog.talking.tones import Tone, tone_sound
from voicelog.talking.voice import Manner, SilentMouth, SpeakingMouth, TakeOver, open_mouth

DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
READINGS = [
    f"circuit {TEN} {digit}. zed s, zero point {digit} two ohms" for TEN in ("twenty", "thirty") for digit in DIGITS
]


@pytest.fixture(scope="module")
def natural():
    voice = NaturalVoice()
    voice.load()
    return voice


@pytest.fixture(scope="module", params=["natural", "espeak"])
def voice(request, natural):
    return natural if request.param == "natural" else EspeakVoice()


@pytest.fixture
def card():
    card = PretendedCard()
    yield card
    card.close()


class Hum:
    """A voice without a voice: a steady tone, a tenth of a second a word."""

    name = "hum"

    def __init__(self):
        self.rendered = []

    def load(self):
        pass

    def load_dictionary(self):
        pass

    def render(self, clause, speed=1.0):
        self.rendered.append(clause)
        count = round(len(clause.split()) * 0.1 * RATE_HZ / speed)
        return (0.2 * np.sin(np.arange(count) * 0.1)).astype(np.float32)


class Broken(Hum):
    def render(self, clause, speed=1.0):
        raise DeviceError("the natural voice failed: out of memory.")


# ------------------------------------------------------------ voices


def test_a_clause_is_trimmed_and_levelled(voice):
    sound = voice.render("zero point five two ohms.")
    assert sound.dtype == np.float32 and 0.8 < len(sound) / RATE_HZ < 3.5
    assert np.abs(sound).max() <= 0.97
    assert np.abs(sound[: RATE_HZ // 30]).max() > 0.01  # it starts within 33 ms


def test_the_natural_voice_says_the_same_clause_the_same_way(natural):
    assert np.array_equal(natural.render("zero point five two ohms."), natural.render("zero point five two ohms."))


def test_both_voices_are_about_as_loud(natural):
    levels = [np.sqrt((v.render("insulation line to earth,") ** 2).mean()) for v in (natural, EspeakVoice())]
    assert abs(20 * np.log10(levels[0] / levels[1])) < 4


def test_faster_is_shorter(voice):
    usual, quick = (len(voice.render("earth leakage, two point five milliamps.", speed)) for speed in (1.0, 1.4))
    assert quick < 0.85 * usual


OFFLINE = """
import sys
def refuse(event, details):
    if event.startswith("socket."):
        raise SystemExit(f"the network was touched: {event} {details}")
sys.addaudithook(refuse)
from voicelog.talking.natural import NaturalVoice
from voicelog.talking.clauses import clauses
from voicelog.talking.espeak import EspeakVoice
for voice in (NaturalVoice(), EspeakVoice()):
    assert len(voice.render("circuit nine, cloakroom splodge heater.")) > 20000
print("spoken")
"""


def test_no_voice_opens_the_network(tmp_path):
    # A fresh process, an empty home, and a hook that no library can get round: any socket at all ends it.
    environment = {"HOME": str(tmp_path), "HIBARI_HOME": str(tmp_path), "PYTHONPATH": ":".join(sys.path)}
    done = subprocess.run([sys.executable, "-c", OFFLINE], capture_output=True, text=True, env=environment)
    assert done.stdout.strip() == "spoken", done.stderr
    assert not list(tmp_path.rglob("*.onnx"))


def test_the_second_voice_takes_over_for_good_and_says_why():
    first, second = Broken(), Hum()
    both = TakeOver(first, second)
    assert len(both.render("pass.")) and both.name == "hum"
    assert "out of memory" in both.trouble
    both.render("fail.")
    assert second.rendered == ["pass.", "fail."]


def test_a_missing_wheel_is_a_device_error(monkeypatch):
    monkeypatch.setitem(sys.modules, "hibari", None)
    with pytest.raises(DeviceError, match="natural voice is not here"):
        NaturalVoice().render("pass.")
    assert len(TakeOver(NaturalVoice(), EspeakVoice()).render("pass.")) > 2000


def test_an_accent_that_espeak_lacks_is_a_device_error():
    with pytest.raises(DeviceError, match="no such voice"):
        EspeakVoice("martian").render("pass.")


# ------------------------------------------------------------ first sound and stopping


def test_first_sound_within_50_ms_for_19_of_20_readings_at_known_places(voice, card):
    # "voicelog bench prompt" measures places never said before, which takes a quiet machine to mean anything.
    mouth = SpeakingMouth(voice, card)
    for reading in READINGS:
        mouth._repertoire.sound(clauses(reading)[0].text)
    assert sorted(_first_sound_ms(mouth, card, reading) for reading in READINGS)[18] < 50


def _first_sound_ms(mouth, card, text):
    called = time.perf_counter()
    _cut_short(mouth, text)
    return 1000 * (card.first_sound_after(called) - called)


def _cut_short(mouth, text, after_s=0.06):
    threading.Timer(after_s, mouth.stop).start()
    return mouth.say(text)


def test_a_tone_sounds_first_and_without_waiting_for_the_voice(card):
    class Slow(Hum):
        def render(self, clause, speed=1.0):
            time.sleep(0.5)
            return super().render(clause, speed)

    called = time.perf_counter()
    spoken = SpeakingMouth(Slow(), card).say("pass", Tone.PASS)
    assert card.first_sound_after(called) - called < 0.3
    assert spoken.wait_s < 0.3 and spoken.tone is Tone.PASS


def test_stop_ends_a_prompt_within_50_ms_and_the_next_one_is_whole(card):
    mouth = SpeakingMouth(Hum(), card)
    stopped = []
    threading.Timer(0.2, lambda: (stopped.append(time.perf_counter()), mouth.stop())).start()
    spoken = mouth.say("one two three four five six seven eight nine ten")
    assert spoken.interrupted and 0.15 < spoken.duration_s < 0.3
    assert card.last_sound() - stopped[0] < 0.05
    again = mouth.say("one two")
    assert not again.interrupted and again.duration_s == pytest.approx(0.2, abs=0.01)


def test_stop_while_a_clause_is_being_made_lets_nothing_more_out(card):
    class Slow(Hum):
        def render(self, clause, speed=1.0):
            time.sleep(0.1)
            return super().render(clause, speed)

    mouth = SpeakingMouth(Slow(), card)
    threading.Timer(0.05, mouth.stop).start()
    spoken = mouth.say("never heard. nor this")
    assert spoken.interrupted
    assert np.abs(card.sound()).sum() < 0.2 * RATE_HZ * 0.01  # at most the few milliseconds that fade out


def test_the_ear_is_closed_while_it_speaks_and_a_little_after(card):
    mouth = SpeakingMouth(Hum(), card)
    seen = []
    threading.Timer(0.1, lambda: seen.append((mouth.busy, mouth.busy_until > time.monotonic()))).start()
    mouth.say("one two three")
    assert seen == [(True, True)]
    assert not mouth.busy and 0 < mouth.busy_until - time.monotonic() < 0.3


def test_clauses_follow_each_other_with_their_rests(card):
    mouth = SpeakingMouth(Hum(), card)
    spoken = mouth.say("one, two. three")
    assert spoken.duration_s == pytest.approx(0.1 + 0.07 + 0.1 + 0.14 + 0.1, abs=0.01)
    sounding = np.abs(card.sound()) > 1e-3
    assert np.flatnonzero(np.diff(np.flatnonzero(sounding)) > 1000).size == 2


def test_nothing_to_say_is_no_sound(card):
    spoken = SpeakingMouth(Hum(), card).say("")
    assert spoken.duration_s == 0 and not spoken.interrupted
    assert not np.abs(card.sound()).any()


# ------------------------------------------------------------ manner


def test_manner_moves_in_steps_and_stays_in_range():
    assert Manner().louder() == Manner(3, 1.0)
    assert Manner().quieter().faster() == Manner(-3, 1.1)
    loud = soft = Manner()
    for _ in range(20):
        loud, soft = loud.louder().faster(), soft.quieter().slower()
    assert (loud, soft) == (Manner(12, 1.6), Manner(-18, 0.7))


def test_manner_changes_what_is_heard(card):
    mouth = SpeakingMouth(Hum(), card)
    mouth.say("one")
    usual = np.abs(card.sound()).max()
    mouth.manner, before = Manner(-6, 0.8), len(card.handed)
    spoken = mouth.say("two")
    after = np.concatenate([block for _, block in card.handed[before:]])
    assert np.abs(after).max() == pytest.approx(usual / 2, rel=0.02)
    assert spoken.duration_s == pytest.approx(0.125, abs=0.01)


def test_the_loudest_manner_stays_within_full_scale(voice, card):
    mouth = SpeakingMouth(voice, card)
    mouth.manner = Manner(12)
    mouth.say("pass")
    assert np.abs(card.sound()).max() <= 0.97


# ------------------------------------------------------------ where it goes


def test_a_wav_holds_the_tone_and_the_words(tmp_path):
    mouth = SpeakingMouth(Hum(), WavFile(tmp_path / "said.wav"))
    mouth.say("one two", Tone.FAIL)
    mouth.close()
    sound, rate_Hz = soundfile.read(tmp_path / "said.wav")
    tone = tone_sound(Tone.FAIL, RATE_HZ)
    assert rate_Hz == RATE_HZ
    assert np.allclose(sound[: len(tone)], tone, atol=0.002)
    assert len(sound) == len(tone) + round(0.05 * RATE_HZ) + round(0.2 * RATE_HZ)


def test_a_wav_that_cannot_be_written_is_a_device_error(tmp_path):
    with pytest.raises(DeviceError, match="no sound written"):
        WavFile(tmp_path / "missing" / "said.wav")


CARDS = {
    "raise OSError('PortAudio library not found')": "PortAudio is not on this machine",
    "class PortAudioError(Exception): pass\n"
    "def OutputStream(**_): raise PortAudioError('Error querying device -1')": "no loudspeaker: Error querying",
}


def test_a_loudspeaker_unplugged_in_a_prompt_is_told_and_does_not_hold_up_the_next():
    class Unplugged(PretendedCard):
        def drain(self):
            raise DeviceError("the loudspeaker has gone.")

    gone = Unplugged()
    mouth = SpeakingMouth(Hum(), gone)
    for _ in range(2):
        with pytest.raises(DeviceError, match="gone"):
            mouth.say("one")
    assert not mouth.busy
    gone.close()


@pytest.mark.parametrize("library", CARDS)
def test_no_sound_card_is_a_device_error(library, tmp_path, monkeypatch):
    (tmp_path / "sounddevice.py").write_text(library)
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    try:
        with pytest.raises(DeviceError, match=CARDS[library]):
            SoundCard()
    finally:
        sys.modules.pop("sounddevice", None)


def test_the_card_is_fed_what_was_said(tmp_path, monkeypatch):
    (tmp_path / "sounddevice.py").write_text(
        "class PortAudioError(Exception): pass\n"
        "class OutputStream:\n"
        "    latency, active = 0.0, True\n"
        "    plugged_in = True\n"
        "    def __init__(self, callback, samplerate, **_):\n"
        "        self.callback, self.rate = callback, samplerate\n"
        "        if not self.plugged_in: raise PortAudioError('gone')\n"
        "    def start(self): pass\n"
        "    def close(self): self.active = False\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    try:
        card = SoundCard()
        card.play(np.full(300, 0.25, np.float32))
        block = np.ones((480, 1), np.float32)
        card._stream.callback(block, 480, None, None)
        assert (block[:300, 0] == 0.25).all() and (block[300:, 0] == 0).all()
        card.play(np.full(300, 0.25, np.float32))
        with pytest.raises(DeviceError, match="gone"):  # nothing takes what was given: unplugged
            card.drain()
        stalled, type(card._stream).plugged_in = card._stream, False
        with pytest.raises(DeviceError, match="gone"):
            card.play(np.zeros(10, np.float32))
        type(card._stream).plugged_in = True
        card.play(np.full(300, 0.25, np.float32))
        assert card._stream is not stalled  # it came back, and plays
        card._stream.callback(block, 480, None, None)
        assert (block[120:420, 0] == 0.25).all()  # behind what faded out
    finally:
        sys.modules.pop("sounddevice", None)


def test_a_silent_mouth_keeps_and_shows_what_it_was_given():
    shown = []
    mouth = SilentMouth(shown.append)
    mouth.say("zed s, zero point five two ohms", Tone.PASS)
    mouth.say("kept")
    assert [spoken.text for spoken in mouth.said] == ["zed s, zero point five two ohms", "kept"]
    assert shown == ["[pass] zed s, zero point five two ohms", "kept"]


def test_a_mouth_is_opened_by_name(tmp_path):
    assert isinstance(open_mouth("silent"), SilentMouth)
    mouth = open_mouth("espeak", wav=tmp_path / "said.wav")
    assert mouth.say("pass").duration_s > 0.2
    mouth.close()
    with pytest.raises(DeviceError, match="there is no voice 'loud'"):
        open_mouth("loud")
