"""Filter banks on the accelerator, with the vocal tract warped: the same numbers as ``hearing.filterbank`` unwarped."""

import numpy as np
import torch
from torch import Tensor

from voicelog.hearing import filterbank

UNWARPED = 0
WARPS = (1.0, *(0.84 + 0.02 * step for step in range(17)))  # frequency factors: none, then 0.84 to 1.16
BREAK_HZ = 5000.0  # above it the warp bends so that 8 kHz stays where it is
NYQUIST_HZ = filterbank.RATE_HZ / 2


def warped_lines(factor: float) -> np.ndarray:
    """Where each of the 257 spectrum lines is moved to, in hertz."""
    lines = np.arange(filterbank.FFT // 2 + 1) * filterbank.RATE_HZ / filterbank.FFT
    turn = BREAK_HZ * min(1.0, 1.0 / factor)
    above = turn * factor + (NYQUIST_HZ - turn * factor) / (NYQUIST_HZ - turn) * (lines - turn)
    return np.where(lines <= turn, lines * factor, above)


def triangles(factor: float = 1.0) -> np.ndarray:
    """(64, 257) float32: how much each spectrum line counts in each band when the tract is warped."""
    position = filterbank.mel(warped_lines(factor))
    edges = np.linspace(filterbank.mel(filterbank.LOW_HZ), filterbank.mel(filterbank.HIGH_HZ), filterbank.BINS + 2)
    left, centre, right = edges[:-2, None], edges[1:-1, None], edges[2:, None]
    rising, falling = (position - left) / (centre - left), (right - position) / (right - centre)
    return np.maximum(0, np.minimum(rising, falling)).astype(np.float32)


class FilterBanks(torch.nn.Module):
    """Sound in 16-bit units (batch, samples) -> log energies (batch, frames, 64)."""

    def __init__(self) -> None:
        super().__init__()
        window = torch.from_numpy(np.hanning(filterbank.WINDOW) ** 0.85).float()
        self.register_buffer("window", window)
        self.register_buffer("triangles", torch.from_numpy(np.stack([triangles(w) for w in WARPS])).transpose(1, 2))

    def forward(self, sound: Tensor, warp: Tensor) -> Tensor:
        """``warp`` (batch,) are places in ``WARPS``."""
        frames = sound.unfold(1, filterbank.WINDOW, filterbank.SHIFT)
        frames = frames - frames.mean(-1, keepdim=True)
        first = frames[..., :1] * (1 - filterbank.PRE_EMPHASIS)
        shaped = torch.cat([first, frames[..., 1:] - filterbank.PRE_EMPHASIS * frames[..., :-1]], -1) * self.window
        power = torch.fft.rfft(shaped, filterbank.FFT).abs() ** 2
        return torch.log(torch.bmm(power, self.triangles[warp]).clamp_min(float(filterbank.FLOOR)))
