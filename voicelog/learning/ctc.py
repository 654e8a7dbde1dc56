"""Connectionist temporal classification: the loss of a phone string, and its slope (Graves et al. 2006).

A path says, at every output, blank or a phone; repeats and blanks fall away.
The loss is minus the log of all paths that leave the string asked for.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.phones import BLANK

Labels = tuple[int, ...]  # outputs of the network, without blanks
NEVER = -1e30  # log of nothing, finite so that differences stay numbers


@dataclass(frozen=True, eq=False)
class CtcLoss:
    """For each string of a batch."""

    losses: NDArray[np.float64]  # nats; infinite where the sound is too short for the string
    slope: NDArray[np.float32]  # of the sum of finite losses by log posterior: (batch, outputs, 40)


def ctc_loss(log_posteriors: NDArray[np.float32], labels: tuple[Labels, ...], lengths: tuple[int, ...]) -> CtcLoss:
    """The loss of each string; ``lengths`` are the outputs that count of each row of (batch, outputs, 40)."""
    states, last = _states(labels)
    scores = np.take_along_axis(log_posteriors.astype(np.float64), states[:, None, :], axis=2)  # (batch, time, state)
    alpha, losses = _forward(scores, _may_skip(states), last, np.array(lengths))
    beta = _backward(scores, _may_skip(states), last, np.array(lengths))
    finite = losses < -NEVER / 2
    occupied = np.exp(np.minimum(alpha + beta - scores + losses[:, None, None], 0.0))
    inside = np.arange(scores.shape[1])[None, :] < np.array(lengths)[:, None]
    occupied *= (inside & finite[:, None])[..., None]
    one_hot = np.eye(log_posteriors.shape[2])[states]  # (batch, state, 40)
    slope = -(occupied @ one_hot)
    return CtcLoss(np.where(finite, losses, np.inf), slope.astype(np.float32))


def _states(labels: tuple[Labels, ...]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Blank, phone, blank, phone ... blank of each string, padded with blanks; and the place of the last blank."""
    last = np.array([2 * len(string) for string in labels])
    states = np.full((len(labels), last.max() + 1), BLANK, np.int64)
    for row, string in zip(states, labels, strict=True):
        row[1 : 2 * len(string) : 2] = string
    return states, last


def _may_skip(states: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Where the blank before a phone may be left out: unless the phone repeats the one before."""
    skip = np.zeros(states.shape, bool)
    skip[:, 2:] = (states[:, 2:] != BLANK) & (states[:, 2:] != states[:, :-2])
    return skip


def _step(before: NDArray, skip: NDArray[np.bool_]) -> NDArray:
    """Log of the ways into each state: from itself, the one before, or past a blank."""
    total = before.copy()
    total[:, 1:] = np.logaddexp(total[:, 1:], before[:, :-1])
    total[:, 2:] = np.logaddexp(total[:, 2:], np.where(skip[:, 2:], before[:, :-2], NEVER))
    return total


def _forward(scores: NDArray, skip: NDArray, last: NDArray, lengths: NDArray) -> tuple[NDArray, NDArray]:
    batch, time, _ = scores.shape
    alpha = np.full(scores.shape, NEVER)
    alpha[:, 0, :2] = scores[:, 0, :2]
    for t in range(1, time):
        alpha[:, t] = _step(alpha[:, t - 1], skip) + scores[:, t]
    rows = np.arange(batch)
    end = alpha[rows, np.maximum(lengths - 1, 0)]
    return alpha, -np.logaddexp(end[rows, last], np.where(last > 0, end[rows, np.maximum(last - 1, 0)], NEVER))


def _backward(scores: NDArray, skip: NDArray, last: NDArray, lengths: NDArray) -> NDArray:
    """As the forward pass, from the end of each string at its own last output."""
    batch, time, width = scores.shape
    ahead = np.zeros(skip.shape, bool)  # from a state, past the blank that follows
    ahead[:, :-2] = skip[:, 2:]
    beta = np.full(scores.shape, NEVER)
    places = np.arange(width)[None, :]
    ends = (places == last[:, None]) | (places == last[:, None] - 1)
    after = np.full((batch, width), NEVER)
    for t in reversed(range(time)):
        onward = _step(after[:, ::-1], ahead[:, ::-1])[:, ::-1]
        started = np.where(ends & (lengths == t + 1)[:, None], 0.0, onward)
        after = beta[:, t] = started + scores[:, t]
    return beta
