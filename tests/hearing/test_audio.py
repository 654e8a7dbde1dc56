"""Recordings of every shape, microphones present, absent and vanishing, and loudness in words."""

import time
from itertools import islice
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from voicelog.errors import DeviceError, SoundError
from voicelog.hearing import audio

SECOND = 16_000


def tone(seconds: float, rate_Hz: int = SECOND, level: float = 0.3) -> np.ndarray:
    return level * np.sin(2 * np.pi * 440 * np.arange(round(seconds * rate_Hz)) / rate_Hz)


@pytest.mark.parametrize("rate_Hz", [8_000, 16_000, 22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize(
    ("suffix", "channels"), [("wav", 1), ("wav", 2), ("wav", 6), ("flac", 2), ("ogg", 1), ("ogg", 2)]
)
def test_any_rate_and_channels_become_16_kHz_mono(tmp_path, rate_Hz, channels, suffix):
    file = tmp_path / f"said.{suffix}"
    soundfile.write(file, np.stack([tone(1.5, rate_Hz)] * channels, axis=1), rate_Hz)
    sound = audio.read_sound(file)
    assert sound.dtype == np.int16
    assert len(sound) == pytest.approx(1.5 * SECOND, abs=2)
    loudest_Hz = np.abs(np.fft.rfft(sound[:SECOND])).argmax()
    assert loudest_Hz == pytest.approx(440, abs=1)
    assert np.abs(sound[2000:-2000]).max() == pytest.approx(0.3 * 32768, rel=0.05)


def test_pieces_are_small_and_whole(tmp_path):
    file = tmp_path / "said.wav"
    soundfile.write(file, tone(2.2), SECOND)
    pieces = list(audio.sound_pieces(file))
    assert max(map(len, pieces)) <= audio.PIECE
    assert np.array_equal(np.concatenate(pieces), audio.read_sound(file))


def test_samples_that_are_no_number_are_silence(tmp_path):
    file = tmp_path / "said.wav"
    soundfile.write(file, np.array([0.1, np.nan, np.inf, -np.inf] * 4000, np.float32), SECOND, subtype="FLOAT")
    assert len(audio.read_sound(file)) == 16_000


class TestRefusedRecordings:
    def test_missing(self, tmp_path):
        with pytest.raises(SoundError, match="no such recording"):
            audio.read_sound(tmp_path / "none.wav")

    def test_folder(self, tmp_path):
        with pytest.raises(SoundError, match="a folder, not a recording"):
            audio.read_sound(tmp_path)

    def test_without_a_byte(self, tmp_path):
        (tmp_path / "said.wav").touch()
        with pytest.raises(SoundError, match="cannot be read"):
            audio.read_sound(tmp_path / "said.wav")

    @pytest.mark.parametrize("rate_Hz", [1, 3_999, 2_000_000])
    def test_at_a_rate_that_no_recording_has(self, tmp_path, rate_Hz):
        soundfile.write(tmp_path / "said.wav", np.zeros(100), rate_Hz)
        with pytest.raises(SoundError, match=f"it claims {rate_Hz} samples"):
            audio.read_sound(tmp_path / "said.wav")

    def test_without_a_sample(self, tmp_path):
        soundfile.write(tmp_path / "said.wav", np.zeros(0), SECOND)
        with pytest.raises(SoundError, match="is empty"):
            audio.read_sound(tmp_path / "said.wav")

    def test_not_sound(self, tmp_path):
        (tmp_path / "said.wav").write_text("earth leakage nought point three")
        with pytest.raises(SoundError, match=r"said\.wav.*cannot be read"):
            audio.read_sound(tmp_path / "said.wav")

    def test_cut_short(self, tmp_path):
        file = tmp_path / "said.flac"
        soundfile.write(file, np.random.default_rng(0).normal(0, 0.1, 3 * SECOND), SECOND)
        file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
        with pytest.raises(SoundError, match="cannot be read|cut short"):
            audio.read_sound(file)


class PortAudio:
    """Stands in for the sound system: one 44.1 kHz microphone that gives what it is told."""

    class PortAudioError(Exception):
        pass

    default = SimpleNamespace(device=(1, 0))

    def __init__(
        self, blocks: int = 3, lost_at: int = -1, rates: tuple[int, ...] = (16_000,), refusals: int = 0
    ) -> None:
        self.blocks, self.lost_at, self.rates = blocks, lost_at, rates
        self.closed, self.opened = False, 0
        self.refusals = refusals  # how often it is not there when it is opened again

    def query_devices(self, device=None, kind=None):
        speaker = {"name": "loudspeaker", "max_input_channels": 0, "default_samplerate": 48_000.0}
        headset = {"name": "headset", "max_input_channels": 1, "default_samplerate": 44_100.0}
        return headset if kind else [speaker, headset]

    def check_input_settings(self, samplerate, device, **_):
        if samplerate not in self.rates:
            raise self.PortAudioError("Invalid sample rate")

    def InputStream(self, samplerate, blocksize, callback, device, **_):  # noqa: N802
        if device == "gone":
            raise ValueError("No input device matching 'gone'")
        self.rate_Hz, self.opened = samplerate, self.opened + 1
        if 1 < self.opened <= 1 + self.refusals:
            raise self.PortAudioError("Device unavailable")

        def start():
            for number in range(self.blocks):
                block = (tone(blocksize / samplerate, samplerate)[:, None] * 32767).astype(np.int16)
                callback(block, blocksize, None, SimpleNamespace(input_overflow=number == self.lost_at))

        return SimpleNamespace(start=start, close=lambda: setattr(self, "closed", True))


class TestMicrophone:
    def test_gives_pieces_and_lets_go(self):
        system = PortAudio()
        with audio.Microphone(portaudio=system) as microphone:
            pieces = [piece for piece in islice(microphone, 3)]
        assert [len(piece.samples) for piece in pieces] == [960, 960, 960]
        assert all(piece.lost is None for piece in pieces)
        assert system.closed

    def test_resamples_where_16_kHz_is_refused(self):
        system = PortAudio(blocks=50, rates=(44_100,))
        with audio.Microphone("headset", system) as microphone:
            samples = np.concatenate([piece.samples for piece in islice(microphone, 50)])
        assert system.rate_Hz == 44_100
        assert len(samples) == pytest.approx(50 * 960, abs=700)  # the resampler holds a little back

    def test_says_that_sound_was_lost(self):
        with audio.Microphone(portaudio=PortAudio(lost_at=1)) as microphone:
            assert [piece.lost for piece in islice(microphone, 3)] == [None, audio.FELL_BEHIND, None]

    def test_says_that_sound_was_lost_when_nobody_fetched_it(self):
        with audio.Microphone(portaudio=PortAudio(blocks=audio.BACKLOG + 5)) as microphone:
            pieces = iter(microphone)
            for _ in range(audio.BACKLOG):
                assert not next(pieces).lost
            microphone._callback(None)(np.zeros((960, 1), np.int16), 960, None, SimpleNamespace(input_overflow=False))
            assert next(pieces).lost

    def test_vanishing_is_an_error_with_a_remedy(self):
        with (
            audio.Microphone("headset", PortAudio(blocks=1), wait_s=0.01) as microphone,
            pytest.raises(DeviceError, match="'headset' gives no sound any more.*Plug it in"),
        ):
            list(microphone)

    def test_one_that_is_waited_for_comes_back_and_says_so(self, monkeypatch):
        monkeypatch.setattr(audio, "GAP_S", 0.03)  # three openings, each waited for
        system = PortAudio(blocks=1, refusals=2)
        with audio.Microphone("headset", system, waits=True, wait_s=0.01) as microphone:
            first, gone, *away, back = islice(microphone, 5)
        assert [len(piece.samples) for piece in (first, gone, *away, back)] == [960, 0, 0, 0, 960]
        assert "'headset' gives no sound any more: plug it in" in gone.lost.why
        assert gone.lost.say == "the microphone has gone"
        assert [piece.lost for piece in (first, *away)] == [None] * 3
        assert back.lost.say == "listening again, say again" and back.lost.gap_s >= 0.03
        assert system.opened == 4

    def test_the_computer_slept_between_two_pieces(self):
        clock = iter([100.00, 100.06, 3700.06, 3700.12])
        with audio.Microphone(portaudio=PortAudio(blocks=4), clock=lambda: next(clock)) as microphone:
            lost = [piece.lost for piece in islice(microphone, 4)]
        assert [loss is not None for loss in lost] == [False, False, True, False]
        assert lost[2].gap_s == 3600 and "3600 s" in lost[2].why

    @pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="this system has no such clock")
    def test_the_clock_goes_on_while_the_computer_sleeps(self):
        assert audio.wakeful_s() == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=1)

    def test_unknown_device_is_named(self):
        with pytest.raises(DeviceError, match="'gone' cannot be opened"), audio.Microphone("gone", PortAudio()):
            pass

    def test_missing_portaudio_is_an_error_with_a_remedy(self, monkeypatch):
        monkeypatch.setitem(__import__("sys").modules, "sounddevice", None)
        with pytest.raises(DeviceError, match="PortAudio is not installed.*Recordings and typed words work without it"):
            audio.devices()

    def test_only_inputs_are_listed(self):
        assert [str(device) for device in audio.devices(PortAudio())] == ["1  headset, 1 channels, 44100 Hz (default)"]


class TestLevel:
    noise = np.random.default_rng(1)

    def spoken(self, level: float, noise: float) -> np.ndarray:
        """A second of tone amid two seconds of noise."""
        sound = self.noise.normal(0, noise, 2 * SECOND)
        sound[8_000:24_000] += tone(1.0, level=level)
        return (sound.clip(-1, 1) * 32767).astype(np.int16)

    @pytest.mark.parametrize(
        ("level", "noise", "words"),
        [
            (0.3, 0.0005, "good"),
            (0.001, 0.0001, "Too quiet"),
            (1.5, 0.001, "Too loud"),
            (0.05, 0.03, "above the noise"),
            (0.0, 0.0, "digital silence"),
        ],
    )
    def test_advice(self, level, noise, words):
        assert words in str(audio.level_of(self.spoken(level, noise)))

    def test_figures_of_a_known_sine(self):
        level = audio.level_of((tone(1.0, level=0.5) * 32768).astype(np.int16))
        assert level.peak_dB == pytest.approx(20 * np.log10(0.5), abs=0.01)  # -6.02 dB
        assert level.speech_dB == pytest.approx(20 * np.log10(0.5) - 10 * np.log10(2), abs=0.1)  # a sine: 3.01 dB less

    def test_nothing_at_all(self):
        assert audio.level_of(np.zeros(0, np.int16)).silent

    def test_of_a_microphone(self):
        assert str(audio.level_check(None, 1.0, PortAudio(blocks=17))).startswith("Speech stands only")


class TestRecent:
    def test_gives_the_samples_between_two_times(self):
        recent = audio.Recent(2.0)
        stream = np.arange(5 * SECOND, dtype=np.int16)
        for first in range(0, len(stream), 960):
            recent.add(stream[first : first + 960])
        assert np.array_equal(recent.between(3.5, 4.25), stream[round(3.5 * SECOND) : round(4.25 * SECOND)])
        assert np.array_equal(recent.between(4.9, 9.0), stream[round(4.9 * SECOND) :])

    def test_what_is_forgotten_is_not_given(self):
        recent = audio.Recent(1.0)
        for _ in range(100):
            recent.add(np.ones(960, np.int16))
        assert len(recent.between(0.0, 1.0)) == 0
        assert SECOND <= len(recent.between(0.0, 99.0)) < SECOND + 960
