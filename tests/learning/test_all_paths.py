"""The sum over all label paths: brute force, finite differences, and torch where it is at hand."""

import itertools

import numpy as np
import pytest

from voicelog.learning.all_paths import all_paths, phone_bigram

OUTPUTS = 40


def scores(seed: int, time: int, batch: int = 1) -> np.ndarray:
    raw = np.random.default_rng(seed).normal(size=(batch, time, OUTPUTS))
    return raw - np.log(np.exp(raw).sum(axis=2, keepdims=True))


def by_brute_force(log_posteriors: np.ndarray, bigram: np.ndarray) -> float:
    """Every path of four outputs, weighted by the bigram each time a phone begins."""
    total = 0.0
    for path in itertools.product(range(4), repeat=len(log_posteriors)):
        weight, phone, last = 1.0, 0, 0
        for at, output in enumerate(path):
            weight *= np.exp(log_posteriors[at, output])
            if output and output != last:
                weight *= bigram[phone, output]
                phone = output
            last = output
        total += weight
    return np.log(total)


def test_every_path_is_summed():
    few = scores(0, 5)
    few[..., 4:] = -1e30  # the others are never heard
    bigram = phone_bigram([((1, 2, 3, 3, 1), 1.0), ((2, 1), 3.0)])
    assert all_paths(few, bigram, (5,)).log_totals[0] == pytest.approx(by_brute_force(few[0], bigram), abs=1e-6)


def test_the_slope_is_that_of_the_sum():
    bigram, lengths, step = phone_bigram([((1, 2, 3, 3), 1.0)]), (6, 4), 1e-5
    one = scores(1, 6, batch=2)
    slope = all_paths(one, bigram, lengths).slope
    for place in [(0, 0, 0), (0, 3, 2), (1, 2, 5), (1, 3, 0), (1, 5, 3), (0, 5, 7)]:
        more, less = one.copy(), one.copy()
        more[place] += step
        less[place] -= step
        sums = [all_paths(changed, bigram, lengths).log_totals.sum() for changed in (more, less)]
        assert slope[place] == pytest.approx((sums[0] - sums[1]) / 2 / step, abs=1e-6)


def test_it_is_what_torch_finds():
    torch = pytest.importorskip("torch")
    from voicelog.training.sequence_loss import log_all_paths_reference

    bigram, given = phone_bigram([((1, 2, 3, 3), 1.0)]), torch.tensor(scores(2, 7, batch=2)).requires_grad_()
    follows, lengths = torch.tensor(bigram, dtype=torch.float64), torch.tensor([7, 5])
    total = log_all_paths_reference(given.transpose(0, 1), follows, lengths)
    (slope,) = torch.autograd.grad(total.sum(), given)
    found = all_paths(given.detach().numpy(), bigram, (7, 5))
    np.testing.assert_allclose(found.log_totals, total.detach().numpy(), atol=1e-6)
    np.testing.assert_allclose(found.slope, slope.numpy(), atol=1e-6)
