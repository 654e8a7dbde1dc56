"""The sequence loss against brute force, and the small parts of the loop. Needs torch; the kernel also a GPU."""

import itertools
import math

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from voicelog.training.loop import collapsed, edit_distance, flat_start_loss, learning_rate, spread  # noqa: E402
from voicelog.training.recipe import Recipe  # noqa: E402
from voicelog.training.sequence_loss import log_all_paths, log_all_paths_reference, phone_trigram  # noqa: E402


def random_trigram(outputs: int) -> "torch.Tensor":
    trigram = torch.rand(outputs, outputs, outputs)
    trigram[:, :, 0] = 0
    return trigram / trigram.sum(2, keepdim=True)


def by_brute_force(log_posteriors: "torch.Tensor", trigram: "torch.Tensor") -> float:
    """Every path of outputs, weighted by the trigram each time a phone begins."""
    time, outputs = log_posteriors.shape
    total = 0.0
    for path in itertools.product(range(outputs), repeat=time):
        weight, two_before, before, last = 1.0, 0, 0, 0
        for at, output in enumerate(path):
            weight *= math.exp(log_posteriors[at, output])
            if output and output != last:
                weight *= float(trigram[two_before, before, output])
                two_before, before = before, output
            last = output
        total += weight
    return math.log(total)


@pytest.mark.parametrize("seed", range(4))
def test_the_recursion_sums_every_path(seed):
    torch.manual_seed(seed)
    trigram = random_trigram(4)
    log_posteriors = torch.randn(5, 1, 4).log_softmax(-1)
    found = log_all_paths_reference(log_posteriors, trigram, torch.tensor([5]))
    assert float(found) == pytest.approx(by_brute_force(log_posteriors[:, 0], trigram), abs=1e-5)


def test_what_lies_beyond_an_utterances_length_does_not_count():
    torch.manual_seed(0)
    trigram, scores = random_trigram(4), torch.randn(6, 2, 4).log_softmax(-1)
    both = log_all_paths(scores, trigram, torch.tensor([6, 3]))
    alone = log_all_paths(scores[:3, 1:], trigram, torch.tensor([3]))
    assert float(both[1]) == pytest.approx(float(alone[0]), abs=1e-6)


def test_the_gradient_is_how_often_each_output_is_passed():
    torch.manual_seed(1)
    scores = torch.randn(5, 1, 4).log_softmax(-1).requires_grad_()
    (gradient,) = torch.autograd.grad(log_all_paths(scores, random_trigram(4), torch.tensor([5])).sum(), scores)
    assert gradient.sum(2).flatten().tolist() == pytest.approx([1.0] * 5, abs=1e-5)


@pytest.mark.skipif(not torch.cuda.is_available(), reason="needs a GPU")
def test_the_kernel_does_the_same():
    pytest.importorskip("cupy")
    torch.manual_seed(0)
    trigram, lengths = random_trigram(40).cuda(), torch.tensor([30, 17, 1]).cuda()
    scores = torch.randn(30, 3, 40, device="cuda", requires_grad=True)
    results = [f(scores.log_softmax(-1), trigram, lengths) for f in (log_all_paths, log_all_paths_reference)]
    gradients = [torch.autograd.grad(result.sum(), scores)[0] for result in results]
    assert torch.allclose(*results, atol=1e-3) and torch.allclose(*gradients, atol=1e-5)


def test_the_trigram_follows_the_texts_and_leaves_nothing_impossible():
    chances = phone_trigram([((5, 6, 5, 6), 1.0), ((7, 6, 8), 1.0)] * 20 + [((9,), 0.1)])
    assert chances.sum(2) == pytest.approx(np.ones((40, 40)), abs=1e-5)
    assert chances[:, :, 0].max() == 0 and chances[:, :, 1:].min() > 0
    assert (chances[5, 6].argmax(), chances[7, 6].argmax(), chances[0, 0].argmax()) == (5, 8, 5)
    assert chances[9, 6].argmax() == 5  # never seen: as after a six of any other history


def test_the_flat_start_prefers_its_own_alignment():
    alignment = torch.tensor([[0, 3, 3, 0]])
    right = torch.nn.functional.one_hot(alignment[0], 40).float()[:, None] * 9
    wrong = right.roll(1, 2)
    losses = [float(flat_start_loss(scores.log_softmax(2), alignment)) for scores in (right, wrong)]
    assert losses[0] < 0.1 < losses[1]


def test_the_learning_rate_warms_up_and_falls():
    recipe = Recipe()
    rates = [learning_rate(recipe, step, share) for step, share in ((0, 0), (400, 0.01), (9000, 0.5), (20000, 1.0))]
    assert rates[0] < rates[2] < rates[1] and 0 < rates[3] < 0.01 * rates[1]


@pytest.mark.parametrize(
    ("outputs", "phones"), [([0, 3, 3, 0, 3, 4, 4], [3, 3, 4]), ([0, 0], []), ([7], [7]), ([7, 7, 0, 0], [7])]
)
def test_the_best_outputs_become_phones(outputs, phones):
    assert collapsed(np.array(outputs)) == phones


@pytest.mark.parametrize(
    ("heard", "said", "edits"), [([], (1, 2), 2), ([1, 2, 3], (1, 3), 1), ([1], (2,), 1), ([4, 5], (4, 5), 0)]
)
def test_edit_distance(heard, said, edits):
    assert edit_distance(heard, said) == edits


def test_a_few_are_spread_over_all():
    from voicelog.training.corpus import Utterance

    everyone = tuple(Utterance("c", n, 1000 - n, "", False, "") for n in range(100))
    chosen = spread(everyone, 10)
    assert len(chosen) == 10 and [u.samples for u in chosen] == sorted(u.samples for u in chosen)
