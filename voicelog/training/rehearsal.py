"""Makes the recording of the demonstration from its script: two voices, a room, a burst of drilling."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from voicelog.training.synthesis import SAMPLE_RATE_HZ, Synthesiser

USUAL_PAUSE_S = 1.5
SILENCE_MARK, SILENCE_S = "...", 10.0  # a line that stands for silence
VOICE_LEVEL = 2500.0  # root mean square of a voice, int16


@dataclass(frozen=True)
class Drill:
    """A burst of drilling: a buzz of many harmonics with noise in it."""

    pitch_hz: float = 93.0

    def over(self, samples: int, rng: np.random.Generator) -> np.ndarray:
        moments = np.arange(samples) / SAMPLE_RATE_HZ
        buzz = sum(np.sin(2 * np.pi * self.pitch_hz * order * moments) / order**0.7 for order in range(1, 40))
        sound = buzz + 2.0 * rng.standard_normal(samples)
        return sound / np.sqrt(np.mean(sound**2))


def record(script: Path, voices: Path, out: Path, seed: int = 7) -> None:
    """Speak the script into one file, FLAC or Ogg Opus by its ending (16 kHz, mono)."""
    visit = tomllib.loads(script.read_text(encoding="utf-8"))
    lines = visit["visit"]["line"] if "visit" in visit else visit["line"]
    rng = np.random.default_rng(seed)
    synthesiser = Synthesiser(voices)
    pieces = []
    for line in lines:
        if line["says"] == SILENCE_MARK:
            pieces.append(np.zeros(round(SILENCE_S * SAMPLE_RATE_HZ)))
            continue
        pieces.append(np.zeros(round(line.get("pause_s", USUAL_PAUSE_S) * SAMPLE_RATE_HZ)))
        pieces.append(_spoken(line, visit["voices"][line["who"]], synthesiser, rng))
    pieces.append(np.zeros(2 * SAMPLE_RATE_HZ))
    sound = np.concatenate(pieces)
    sound = sound + _room(len(sound), visit["noise_dB"], rng)
    kind = {"format": "OGG", "subtype": "OPUS"} if out.suffix == ".ogg" else {}
    soundfile.write(out, np.clip(sound, -32768, 32767).astype(np.int16), SAMPLE_RATE_HZ, **kind)


def _spoken(line: dict, cast: dict, synthesiser: Synthesiser, rng: np.random.Generator) -> np.ndarray:
    sound = synthesiser.speak(line["says"], cast["voice"], cast["accent"], cast["speed"]).astype(np.float64)
    sound *= VOICE_LEVEL / np.sqrt(np.mean(sound**2))
    if "burst_dB" in line:
        sound += VOICE_LEVEL * 10 ** (-line["burst_dB"] / 20) * Drill().over(len(sound), rng)
    return sound


def _room(samples: int, under_dB: float, rng: np.random.Generator) -> np.ndarray:
    """Noise that falls with frequency, as of a fan in the next room."""
    spectrum = np.fft.rfft(rng.standard_normal(samples))
    spectrum /= np.sqrt(np.arange(len(spectrum)) + 20.0)
    noise = np.fft.irfft(spectrum, samples)
    return noise / np.sqrt(np.mean(noise**2)) * VOICE_LEVEL * 10 ** (-under_dB / 20)
