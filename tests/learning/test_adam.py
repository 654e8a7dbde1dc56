"""Adam against torch's own, and on a bowl."""

import numpy as np
import pytest

from voicelog.learning.adam import Adam
from voicelog.learning.layers import Name

NAME = Name("layer", "weights")


def test_it_finds_the_bottom_of_a_bowl():
    now = {NAME: np.array([3.0, -2.0], np.float32)}
    adam = Adam(now, {NAME: 0.05}, longest=1e9)
    for step in range(400):
        now = adam.step(now, {NAME: 2 * now[NAME]}, share=1 - step / 400)
    assert np.abs(now[NAME]).max() < 0.05


def test_torch_agrees():
    torch = pytest.importorskip("torch")
    start = np.random.default_rng(0).normal(size=6).astype(np.float32)
    start /= np.sqrt((start**2).mean())  # of size one, so that relative rates are absolute
    weight = torch.tensor(start, requires_grad=True)
    theirs = torch.optim.Adam([weight], lr=0.01, betas=(0.9, 0.98), eps=1e-8)
    ours, now = Adam({NAME: start}, {NAME: 0.01}, longest=1e9), {NAME: start}
    for step in range(20):
        slope = np.sin(np.arange(6) + step).astype(np.float32)
        weight.grad = torch.tensor(slope)
        theirs.step()
        now = ours.step(now, {NAME: slope})
    np.testing.assert_allclose(now[NAME], weight.detach().numpy(), atol=1e-5)


def test_a_step_is_small_beside_the_array_whatever_its_scale():
    for scale in (1e-3, 1.0, 1e3):
        start = {NAME: np.full(5, scale, np.float32)}
        moved = Adam(start, {NAME: 0.002}).step(start, {NAME: np.full(5, 1e4, np.float32)})[NAME]
        np.testing.assert_allclose(moved / scale, 0.998, rtol=1e-4)
