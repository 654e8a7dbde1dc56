"""CTC against all paths written out, and against torch where it is installed."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicelog.learning.ctc import ctc_loss


def collapsed(path: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(x for before, x in zip((0, *path), path, strict=False) if x and x != before)


def by_brute_force(scores: np.ndarray, labels: tuple[int, ...]) -> float:
    paths = product(range(scores.shape[1]), repeat=len(scores))
    total = sum(np.exp(scores[range(len(path)), path].sum()) for path in paths if collapsed(path) == labels)
    return -np.log(total) if total else np.inf


def posteriors(seed: int, *shape: int) -> np.ndarray:
    raw = np.random.default_rng(seed).normal(0, 2, shape)
    return raw - np.log(np.exp(raw).sum(axis=-1, keepdims=True))


@given(st.integers(0, 10**6), st.lists(st.integers(1, 3), max_size=3), st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_every_path_counts_once(seed, labels, time):
    scores = posteriors(seed, 1, time, 4)
    found = ctc_loss(scores, (tuple(labels),), (time,)).losses[0]
    assert found == pytest.approx(by_brute_force(scores[0], tuple(labels)), rel=1e-9)


def test_a_string_too_long_for_its_sound_has_no_slope():
    found = ctc_loss(posteriors(1, 2, 4, 5), ((1, 1, 2, 3), (1, 2)), (4, 4))
    assert found.losses[0] == np.inf
    assert not found.slope[0].any()
    assert found.slope[1].any()


@given(st.integers(0, 10**6))
@settings(max_examples=20, deadline=None)
def test_a_batch_gives_what_each_string_gives(seed):
    scores = posteriors(seed, 3, 9, 6)
    labels, lengths = ((1, 2, 2), (), (5, 4, 3, 2)), (9, 7, 8)
    together = ctc_loss(scores, labels, lengths)
    for row, (string, length) in enumerate(zip(labels, lengths, strict=True)):
        alone = ctc_loss(scores[row : row + 1, :length], (string,), (length,))
        assert alone.losses[0] == pytest.approx(together.losses[row])
        np.testing.assert_allclose(together.slope[row, :length], alone.slope[0], atol=1e-6)
        assert not together.slope[row, length:].any()


def test_each_output_is_occupied_once():
    found = ctc_loss(posteriors(3, 2, 12, 7), ((1, 2, 3), (4, 4)), (12, 10))
    np.testing.assert_allclose(-found.slope[0].sum(axis=1), 1, atol=1e-6)
    np.testing.assert_allclose(-found.slope[1, :10].sum(axis=1), 1, atol=1e-6)


def test_torch_agrees():
    torch = pytest.importorskip("torch")
    raw = torch.randn(30, 3, 40, dtype=torch.float64, generator=torch.Generator().manual_seed(1), requires_grad=True)
    labels, lengths = ((3, 9, 9, 20), (1,), (39, 38, 5)), (30, 22, 30)
    losses = torch.nn.functional.ctc_loss(
        raw.log_softmax(2), torch.tensor(sum(labels, ())), lengths, tuple(map(len, labels)), reduction="none"
    )
    losses.sum().backward()
    scores = raw.log_softmax(2).detach().numpy().transpose(1, 0, 2)
    found = ctc_loss(scores, labels, lengths)
    np.testing.assert_allclose(found.losses, losses.detach().numpy(), rtol=1e-9)
    # By raw score the slope is (share of each output) minus (share of paths), for the outputs that count.
    counted = (np.arange(30)[None, :] < np.array(lengths)[:, None])[..., None]
    np.testing.assert_allclose(found.slope + np.exp(scores) * counted, raw.grad.numpy().transpose(1, 0, 2), atol=1e-6)
