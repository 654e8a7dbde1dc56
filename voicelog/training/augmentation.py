"""Clean recordings made to sound like a building site heard over a headset, a whole batch at a time.

Every step takes sound (batch, samples), float with full scale 1.0, on any
device, and draws its strength for each recording. ``progress`` 0 to 1 grows
the hardship over the beginning of training.
"""

import math
import random
from collections.abc import Callable
from functools import partial

import torch
from torch import Tensor

from voicelog.training.batching import smooth_length

RATE_HZ = 16_000
FULL_SCALE = 32768.0
ECHO = RATE_HZ * 2 // 5  # 6,400 samples: the longest echo kept
WIDE = 0.15  # share of 7 kHz links
DITHER = 6.0  # most noise floor, in 16-bit units


def uniform(like: Tensor, low: float = 0.0, high: float = 1.0) -> Tensor:
    """One draw for each recording: (batch, 1)."""
    return low + (high - low) * torch.rand(like.shape[0], 1, device=like.device)


def chance(like: Tensor, share: float) -> Tensor:
    """1.0 for about ``share`` of the recordings, else 0.0: (batch, 1)."""
    return (torch.rand(like.shape[0], 1, device=like.device) < share).float()


def level(sound: Tensor) -> Tensor:
    """Root mean square of each recording: (batch, 1)."""
    return sound.pow(2).mean(1, keepdim=True).sqrt()


def reverberated(sound: Tensor) -> Tensor:
    """Rooms: decaying noise with 60 dB times of 0.05 to 0.6 s behind the direct sound."""
    time = torch.arange(ECHO, device=sound.device) / RATE_HZ
    tail = torch.randn(sound.shape[0], ECHO, device=sound.device) * torch.exp(-6.9 * time / uniform(sound, 0.05, 0.6))
    tail = tail * uniform(sound, 0.005, 0.2)
    tail[:, 0] = 1.0
    length = smooth_length(sound.shape[1] + ECHO)
    spectrum = torch.fft.rfft(sound, length) * torch.fft.rfft(tail, length)
    return torch.fft.irfft(spectrum, length)[:, : sound.shape[1]]


def coloured_noise(sound: Tensor) -> Tensor:
    """Noise whose spectrum falls by 0 to 1.2 powers of frequency, level 1."""
    spectrum = torch.fft.rfft(torch.randn_like(sound))
    frequency = torch.arange(spectrum.shape[1], device=sound.device) + 20.0
    noise = torch.fft.irfft(spectrum * (frequency / 1000) ** -uniform(sound, 0, 1.2), sound.shape[1])
    return noise / level(noise).clamp_min(1e-6)


def recorded_noise(sound: Tensor, recordings: Tensor) -> Tensor:
    """A random stretch of the noise recordings for each, level 1."""
    start = torch.randint(0, len(recordings) - sound.shape[1] - 1, (sound.shape[0], 1), device=sound.device)
    noise = recordings[start + torch.arange(sound.shape[1], device=sound.device)].float()
    return noise / level(noise).clamp_min(1.0)


def other_talk(sound: Tensor) -> Tensor:
    """Two other recordings of the batch, level 1."""
    order = torch.randperm(sound.shape[0], device=sound.device)
    talk = sound[order] + 0.5 * sound[order.roll(1)]
    return talk / level(talk).clamp_min(1e-4)


def noisy(sound: Tensor, spoken_level: Tensor, recordings: Tensor | None, rng: random.Random, ease: float) -> Tensor:
    """Noise of one kind at 0 to 38 dB below the speech for 7 in 10; ``ease`` dB further away."""
    ratio_db, kind = uniform(sound, 0, 38) + ease, rng.random()
    if kind < 0.35 or recordings is None:
        noise = coloured_noise(sound)
    elif kind < 0.8:
        noise = recorded_noise(sound, recordings)
    else:
        noise, ratio_db = other_talk(sound), ratio_db + 8
    return sound + chance(sound, 0.7) * noise * spoken_level * 10 ** (-ratio_db / 20)


def channelled(sound: Tensor, narrowed: float) -> Tensor:
    """Microphones and links: telephone band (3.2 to 4 kHz) for the share ``narrowed``, 7 kHz or open band for the rest.

    With a tilt and a rippled response.
    """
    spectrum = torch.fft.rfft(sound)
    hertz = torch.arange(spectrum.shape[1], device=sound.device) * (RATE_HZ / 2 / (spectrum.shape[1] - 1))
    kind = torch.rand(sound.shape[0], 1, device=sound.device)
    narrow = (kind < narrowed).float()
    top = torch.where(kind < narrowed, uniform(sound, 3200, 4000), uniform(sound, 5000, 9500))
    top = torch.where((kind >= narrowed) & (kind < narrowed + WIDE), uniform(sound, 6600, 7400), top)
    bottom = uniform(sound, 60, 330) * narrow
    band = torch.sigmoid((top - hertz) / uniform(sound, 15, 120)) * torch.sigmoid((hertz - bottom) / 20)
    tilt = uniform(sound, -6, 6) / 20 * (hertz - 2000) / 3000
    ripple = sum(
        torch.randn(sound.shape[0], 1, device=sound.device)
        * (2.5 / 20)
        * torch.cos(math.pi * order * hertz / 8000 + uniform(sound, 0, 2 * math.pi))
        for order in (1, 2, 3, 5)
    )
    return torch.fft.irfft(spectrum * band * 10 ** (tilt + ripple), sound.shape[1])


def levelled(sound: Tensor) -> Tensor:
    """Peaks at 1 to 31 dB under full scale."""
    return sound / sound.abs().amax(1, keepdim=True).clamp_min(1e-5) * 10 ** (-uniform(sound, 1, 31) / 20)


def overdriven(sound: Tensor) -> Tensor:
    """A microphone spoken into too loudly: soft clipping, for 15 in 100."""
    peak = sound.abs().amax(1, keepdim=True).clamp_min(1e-5)
    drive = uniform(sound, 1.0, 5.0)
    return torch.where(chance(sound, 0.15) > 0, torch.tanh(sound / peak * drive) * peak / torch.tanh(drive), sound)


def companded(sound: Tensor) -> Tensor:
    """Eight-bit logarithmic coding (ITU-T G.711's mu law), for a quarter."""
    mu = 255.0
    coded = torch.sign(sound) * torch.log1p(mu * sound.abs().clamp(max=1)) / math.log1p(mu)
    coded = (coded * 127).round() / 127
    return torch.where(chance(sound, 0.25) > 0, torch.sign(coded) * ((1 + mu) ** coded.abs() - 1) / mu, sound)


def gated(sound: Tensor) -> Tensor:
    """Links that send nothing between words: quiet 30 ms pieces become digital silence, for 12 in 100."""
    piece = 480
    whole = sound.shape[1] // piece * piece
    power = sound[:, :whole].reshape(sound.shape[0], -1, piece).pow(2).mean(2)
    power = torch.nn.functional.max_pool1d(power[:, None], 5, 1, 2)[:, 0]  # open 60 ms before and after
    open_ = (power > power.amax(1, keepdim=True) * 10 ** (-uniform(sound, 30, 50) / 10)).float()
    keep = torch.nn.functional.pad(open_.repeat_interleave(piece, 1), (0, sound.shape[1] - whole), value=1.0)
    return torch.where(chance(sound, 0.12) > 0, sound * keep, sound)


def augmented(
    sound: Tensor,
    spoken: Tensor,
    recordings: Tensor | None,
    rng: random.Random,
    narrowed: float,
    progress: float = 1.0,
) -> Tensor:
    """16-bit sound (batch, samples) as a site would send it; ``spoken`` (batch, 1) is how many samples are speech."""
    sound = sound / FULL_SCALE
    if rng.random() < 0.4 * progress:
        sound = reverberated(sound)
    spoken_level = (sound.pow(2).sum(1, keepdim=True) / spoken).sqrt().clamp_min(1e-4)
    sound = noisy(sound, spoken_level, recordings, rng, 16 * (1 - progress))
    channel = partial(channelled, narrowed=narrowed)
    steps: tuple[Callable[[Tensor], Tensor], ...] = (channel, overdriven, gated, levelled, companded)
    for step in steps:
        sound = step(sound)
    floor = torch.randn_like(sound) * uniform(sound, 0, DITHER)
    return (sound * FULL_SCALE + floor).clamp(-FULL_SCALE, FULL_SCALE - 1)
