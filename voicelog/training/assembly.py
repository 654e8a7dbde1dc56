"""Batches of sound put together on the accelerator, and the flat start's alignment."""

import random
from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor

from voicelog.hearing.filterbank import SHIFT
from voicelog.training.augmentation import augmented
from voicelog.training.batching import Layout
from voicelog.training.features import UNWARPED, WARPS, FilterBanks
from voicelog.training.recipe import Recipe

OUTPUT_STEP = 3 * SHIFT  # 480 samples for each output
EDGE = 240  # samples: a 25 ms window reaches so far beyond its 10 ms
SPEAKING = 0.004  # of the loudest 30 ms's energy: what the flat start takes for speech
TEST_FLOOR = 10.0  # 16-bit units of noise under sound that is not augmented


@dataclass(frozen=True)
class Batch:
    """What one step sees."""

    banks: Tensor  # (batch, frames, 64)
    labels: Tensor  # phone numbers of all strings, one after the other
    label_counts: Tensor  # (batch,) on the CPU
    lengths: Tensor  # (batch,) outputs that carry sound, on the CPU
    alignment: Tensor | None  # (batch, outputs) phone or blank for each output, only for the flat start


def joined(layout: Layout, signal: Tensor) -> Tensor:
    """(batch, samples) float: each piece at its place, its speed changed by linear interpolation."""
    device = signal.device
    source, samples, stretched, place = (
        torch.from_numpy(array).to(device, non_blocking=True)
        for array in (layout.source, layout.samples, layout.stretched, layout.place)
    )
    time = torch.arange(layout.length, device=device)[None]
    sound = torch.zeros(len(layout.labels), layout.length, device=device)
    for piece in range(source.shape[1]):
        count = samples[:, piece : piece + 1]
        position = (time - place[:, piece : piece + 1]) * (count / stretched[:, piece : piece + 1])
        inside = (position >= 0) & (position < count - 2)
        position = position.clamp_min(0).minimum((count - 2).float().clamp_min(0))
        whole = position.floor().long()
        index = (source[:, piece : piece + 1] + whole).clamp_max(len(signal) - 2)
        part = position - whole
        sound += torch.where(inside, signal[index].float() * (1 - part) + signal[index + 1].float() * part, 0.0)
    return sound


def uniform_alignment(sound: Tensor, layout: Layout) -> Tensor:
    """Each string's phones spread evenly over the outputs that carry energy; blank elsewhere."""
    outputs = (layout.length - EDGE) // SHIFT // 3
    energy = sound[:, : outputs * OUTPUT_STEP].reshape(len(sound), outputs, OUTPUT_STEP).pow(2).mean(2)
    speaking = energy > SPEAKING * energy.amax(1, keepdim=True)
    so_far = speaking.float().cumsum(1)
    longest = max(len(phones) for phones in layout.labels)
    table = np.zeros((len(sound), longest), np.int64)
    for row, phones in enumerate(layout.labels):
        table[row, : len(phones)] = phones
    count = torch.tensor([len(phones) for phones in layout.labels], device=sound.device)[:, None]
    share = (so_far - 0.5).clamp_min(0) / so_far[:, -1:].clamp_min(1)
    place = (share * count).long().minimum(count - 1).clamp_min(0)
    return torch.where(speaking, torch.from_numpy(table).to(sound.device).gather(1, place), 0)


class Assembler:
    """Turns layouts into batches, with or without hardship."""

    def __init__(self, signal: Tensor, noise: Tensor | None, rng: random.Random, recipe: Recipe) -> None:
        self._signal, self._noise, self._rng, self._recipe = signal, noise, rng, recipe
        self._banks = FilterBanks().to(signal.device)

    @torch.no_grad()
    def training(self, layout: Layout, progress: float, flat_start: bool) -> Batch:
        """An augmented batch; ``progress`` 0 to 1 is how hard."""
        sound = joined(layout, self._signal)
        alignment = uniform_alignment(sound, layout) if flat_start else None
        spoken = np.where(layout.place < layout.length, layout.stretched, 0).sum(1)[:, None].clip(1)
        spoken = torch.from_numpy(spoken).to(sound.device, torch.float32)
        sound = augmented(sound, spoken, self._noise, self._rng, self._recipe.narrow, progress)
        warp = torch.randint(0, len(WARPS), (len(sound),), device=sound.device)
        warp = warp * (torch.rand(len(sound), device=sound.device) < progress)
        return self._batch(masked(self._banks(sound, warp), self._recipe.masking), layout, alignment)

    @torch.no_grad()
    def plain(self, layout: Layout) -> Batch:
        """The same sound as it is."""
        sound = joined(layout, self._signal)
        sound = sound + torch.randn_like(sound) * TEST_FLOOR
        warp = torch.full((len(sound),), UNWARPED, device=sound.device)
        return self._batch(self._banks(sound, warp), layout, None)

    def _batch(self, banks: Tensor, layout: Layout, alignment: Tensor | None) -> Batch:
        outputs = (layout.length - EDGE) // SHIFT // 3
        lengths = torch.from_numpy(np.minimum(outputs, layout.ends // OUTPUT_STEP))
        labels = torch.tensor([phone for phones in layout.labels for phone in phones])
        counts = torch.tensor([len(phones) for phones in layout.labels])
        return Batch(banks, labels.to(banks.device, non_blocking=True), counts, lengths, alignment)


def masked(banks: Tensor, strength: float) -> Tensor:
    """Up to two bands of up to 8 filters and one stretch of up to 0.12 s hidden behind the mean (Park et al. 2019).

    That is at ``strength`` 1; at 2 they are up to twice as wide.
    """
    batch, frames, bins = banks.shape
    mean = banks.mean((1, 2), keepdim=True)
    for axis, size, usual, share in ((2, bins, 8, 0.6), (2, bins, 8, 0.6), (1, frames, 12, 0.5)):
        widest = usual * strength
        width = torch.rand(batch, 1, device=banks.device) * widest * (torch.rand(batch, 1, device=banks.device) < share)
        start = torch.rand(batch, 1, device=banks.device) * (size - widest)
        place = torch.arange(size, device=banks.device)[None]
        hidden = (place >= start) & (place < start + width)
        banks = torch.where(hidden[:, None, :] if axis == 2 else hidden[:, :, None], mean, banks)
    return banks
