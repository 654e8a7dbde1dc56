"""Slopes against finite differences."""

import numpy as np
import pytest

from tests.networks import random_network
from voicelog.hearing.network import log_posteriors
from voicelog.learning.ctc import ctc_loss
from voicelog.learning.layers import Name, arrays, backward, forward, with_arrays

FEATURES = np.random.default_rng(5).normal(11, 3, (2, 61, 64)).astype(np.float32)
LABELS, LENGTHS = ((3, 7, 7), (12,)), (21, 17)


def doubled(model):
    """The same network in double precision, so that small differences can be seen."""
    return with_arrays(model, {name: array.astype(np.float64) for name, array in arrays(model).items()})


def loss(model) -> float:
    trace = forward(model, FEATURES.astype(np.float64))
    return float(ctc_loss(trace.log_posteriors, LABELS, LENGTHS).losses.sum())


def test_the_trace_is_the_forward_pass():
    model = random_network(blocks=3)
    np.testing.assert_allclose(forward(model, FEATURES).log_posteriors, log_posteriors(model, FEATURES), atol=1e-5)


@pytest.mark.parametrize(
    "name",
    [
        Name("c1.affine", "weights"),
        Name("c1.affine", "bias"),
        Name("c1.scale", "scales"),
        Name("c1", "bias"),
        Name("b0.linear", "weights"),
        Name("b1.linear", "weights"),
        Name("b1.sum", "scales"),
        Name("out", "weights"),
        Name("out", "bias"),
    ],
)
def test_slopes_are_finite_differences(name):
    model = doubled(random_network())
    trace = forward(model, FEATURES.astype(np.float64))
    slope = ctc_loss(trace.log_posteriors, LABELS, LENGTHS).slope
    found = backward(model, trace, slope, {name})[name]
    array = arrays(model)[name]
    assert found.shape == array.shape

    rng = np.random.default_rng(1)
    for _ in range(4):
        direction = rng.normal(size=array.shape)
        size = 1e-5
        ahead = loss(with_arrays(model, {name: array + size * direction}))
        behind = loss(with_arrays(model, {name: array - size * direction}))
        measured = (ahead - behind) / (2 * size)
        assert float((found * direction).sum()) == pytest.approx(measured, rel=2e-3, abs=1e-3)


def test_only_what_is_wanted_is_given():
    model = random_network()
    trace = forward(model, FEATURES)
    wanted = {Name("c2", "bias"), Name("b1.affine", "weights")}
    assert backward(model, trace, np.ones_like(trace.log_posteriors), wanted).keys() == wanted


def test_changed_arrays_leave_the_first_model_alone():
    model = random_network()
    name = Name("out", "bias")
    before = arrays(model)[name].copy()
    changed = with_arrays(model, {name: before + 1})
    np.testing.assert_array_equal(arrays(model)[name], before)
    np.testing.assert_array_equal(arrays(changed)[name], before + 1)
    assert changed.weights == model.weights
