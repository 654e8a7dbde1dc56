"""Training that goes on from a finished model: its layers as the network's weights again.

At export each normalisation became a scale and a bias, two of them folded into
the layer behind; here they are taken apart again with the statistics of
``banks``, so that the network gives the model's own scores.
"""

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from voicelog.hearing.network import AcousticModel, Affine, Component
from voicelog.training.network import EPSILON, Network, spliced
from voicelog.training.recipe import NetworkShape

Weights = dict[str, Tensor]


def warm_weights(model: AcousticModel, shape: NetworkShape, banks: Tensor) -> Weights:
    """The network's state for ``model`` of ``shape``; ``banks`` (batch, frames, 64) are such as training sees."""
    parts: dict[str, Component] = {layer.name: layer.component for layer in model.layers}
    state = Network(shape).state_dict()
    state |= _statistics("at_input", banks)
    state |= _behind("first", parts["first"], state, "at_input", 5)
    hidden = functional.relu(
        functional.linear(spliced(_normalised(state, "at_input", banks), 5), *_pair(state, "first"))
    )
    state |= _statistics("after_first", hidden)
    state |= _behind("second", parts["second"], state, "after_first", 3)
    state |= _normalisation("after_second", parts, "second")
    for number in range(shape.layers):
        name, ours = f"tdnn{number + 1}", f"layers.{number}"
        state[f"{ours}.narrow.weight"] = torch.from_numpy(parts[f"{name}.narrow"].weights)
        state |= _plain(f"{ours}.wide", parts[f"{name}.wide"])
        state |= _normalisation(f"{ours}.normalise", parts, name)
    return state | _plain("output", parts["scores"])


def _pair(state: Weights, name: str) -> tuple[Tensor, Tensor]:
    return state[f"{name}.weight"], state[f"{name}.bias"]


def _plain(name: str, affine: Affine) -> Weights:
    return {f"{name}.weight": torch.from_numpy(affine.weights), f"{name}.bias": torch.from_numpy(affine.bias)}


def _statistics(name: str, x: Tensor) -> Weights:
    """Mean and variance of each channel of (batch, time, channels)."""
    rows = x.reshape(-1, x.shape[2]).double()
    return {f"{name}.running_mean": rows.mean(0).float(), f"{name}.running_var": rows.var(0).float()}


def _scale(state: Weights, name: str) -> Tensor:
    return 1 / torch.sqrt(state[f"{name}.running_var"] + EPSILON)


def _normalised(state: Weights, name: str, x: Tensor) -> Tensor:
    return (x - state[f"{name}.running_mean"]) * _scale(state, name)


def _behind(name: str, folded: Affine, state: Weights, normalisation: str, copies: int) -> Weights:
    """The layer that reads a normalisation, which had been folded into it."""
    weights, bias = torch.from_numpy(folded.weights), torch.from_numpy(folded.bias)
    mean, scale = state[f"{normalisation}.running_mean"].tile(copies), _scale(state, normalisation).tile(copies)
    return {f"{name}.weight": weights / scale, f"{name}.bias": bias + weights @ mean}


def _normalisation(name: str, parts: dict[str, Component], exported: str) -> Weights:
    """Mean and variance out of an exported scale and bias."""
    scale, bias = parts[f"{exported}.scale"].scales.astype(np.float64), parts[f"{exported}.bias"].bias
    return {
        f"{name}.running_mean": torch.from_numpy(-bias / scale).float(),
        f"{name}.running_var": torch.from_numpy(1 / scale**2 - EPSILON).float().clamp_min(0),
    }
