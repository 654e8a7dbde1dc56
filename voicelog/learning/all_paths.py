"""What every label path together is worth: the other half of the sequence loss.

Plain CTC raises the paths of the right phones. The sequence loss also lowers
all other paths, each weighted by how often its phones follow one another,
which is lattice-free maximum mutual information in the CTC topology (Povey et
al. 2016). The general network was trained so; a person's must be learnt so
too, or its words lose their distance from one another. Two states for each
phone: on the phone itself, or on a blank after it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.phones import OUTPUTS
from voicelog.learning.ctc import CtcLoss, Labels, ctc_loss

SMOOTHING = 8.0  # pseudo-counts of the phones' own frequencies behind each phone
UNIFORM = 0.02  # share of every phone alike


def phone_bigram(
    labels: Iterable[tuple[tuple[int, ...], float]], smoothing: float = SMOOTHING, uniform: float = UNIFORM
) -> NDArray[np.float32]:
    """(40, 40): chance of the next phone; row 0 is the start. ``labels`` are phone numbers and a weight."""
    counts = np.zeros((OUTPUTS, OUTPUTS))
    for phones, weight in labels:
        before = (0, *phones[:-1])
        np.add.at(counts, (list(before), list(phones)), weight)
    own = counts.sum(0)
    own = own / own.sum()
    own = (1 - uniform) * own + uniform * np.r_[0, np.full(OUTPUTS - 1, 1 / (OUTPUTS - 1))]
    own[0] = 0
    chances = (counts + smoothing * own) / (counts.sum(1, keepdims=True) + smoothing)
    chances[:, 0] = 0
    return (chances / chances.sum(1, keepdims=True)).astype(np.float32)


@dataclass(frozen=True, eq=False)
class SequenceLoss:
    """CTC against all paths, which count ``rivals`` times."""

    bigram: NDArray[np.float32]
    rivals: float  # 0: plain CTC

    def __call__(
        self, log_posteriors: NDArray[np.float32], labels: tuple[Labels, ...], lengths: tuple[int, ...]
    ) -> CtcLoss:
        """As ``ctc_loss``."""
        right, all_of_them = ctc_loss(log_posteriors, labels, lengths), all_paths(log_posteriors, self.bigram, lengths)
        losses = right.losses + self.rivals * all_of_them.log_totals
        return CtcLoss(losses, right.slope + np.float32(self.rivals) * all_of_them.slope)


@dataclass(frozen=True, eq=False)
class AllPaths:
    """For each row of a batch."""

    log_totals: NDArray[np.float64]  # log of the summed weight of all paths
    slope: NDArray[np.float32]  # of their sum by log posterior: (batch, outputs, 40)


def all_paths(log_posteriors: NDArray[np.float32], bigram: NDArray[np.float32], lengths: tuple[int, ...]) -> AllPaths:
    """(batch, outputs, 40), (40, 40); ``lengths`` are the outputs that count of each row."""
    now = np.exp(log_posteriors.astype(np.float64))
    inside = np.arange(now.shape[1])[None, :] < np.array(lengths)[:, None]
    follows = bigram.astype(np.float64)
    on_phone, on_blank, scales = _forward(now, follows, inside)
    slope = _backward(now, follows, inside, on_phone, on_blank, scales)
    return AllPaths((np.log(scales) * inside).sum(axis=1), slope.astype(np.float32))


def _forward(now: NDArray, follows: NDArray, inside: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Shares of all paths on each phone and on the blank after it, and what each output scaled them by."""
    batch, time, outputs = now.shape
    on_phone, on_blank, scales = np.zeros(now.shape), np.zeros(now.shape), np.ones((batch, time))
    phone, blank = np.zeros((batch, outputs)), np.eye(1, outputs).repeat(batch, axis=0)
    repeats = follows.diagonal()
    for t in range(time):
        before = phone + blank
        # A phone goes on, or follows another; it follows itself only over a blank.
        phone_next = (phone + before @ follows - phone * repeats) * now[:, t]
        phone_next[:, 0] = 0.0
        blank_next = before * now[:, t, :1]
        scale = np.where(inside[:, t], (phone_next + blank_next).sum(axis=1), 1.0)
        keep = inside[:, t, None]
        phone = np.where(keep, phone_next / scale[:, None], phone)
        blank = np.where(keep, blank_next / scale[:, None], blank)
        on_phone[:, t], on_blank[:, t], scales[:, t] = phone, blank, scale
    return on_phone, on_blank, scales


def _backward(
    now: NDArray, follows: NDArray, inside: NDArray, on_phone: NDArray, on_blank: NDArray, scales: NDArray
) -> NDArray:
    """How much of all paths passes through each phone, or the blank, at each output."""
    batch, time, outputs = now.shape
    slope = np.zeros(now.shape)
    phone_after, blank_after = np.ones((batch, outputs)), np.ones((batch, outputs))
    repeats = follows.diagonal()
    for t in reversed(range(time)):
        keep = inside[:, t, None]
        slope[:, t] = np.where(keep, on_phone[:, t] * phone_after, 0.0)
        slope[:, t, 0] = np.where(inside[:, t], (on_blank[:, t] * blank_after).sum(axis=1), 0.0)
        later = now[:, t] * phone_after
        later[:, 0] = 0.0
        onward = now[:, t, :1] * blank_after + later @ follows.T
        own = onward + later * (1 - repeats)
        phone_after = np.where(keep, own / scales[:, t, None], phone_after)
        blank_after = np.where(keep, onward / scales[:, t, None], blank_after)
    return slope
