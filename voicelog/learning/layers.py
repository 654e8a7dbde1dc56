"""The acoustic network's forward pass with a memory, and its backward pass.

Values are (batch, time, channels). ``forward`` keeps what each layer was
given; ``backward`` turns the loss's slope at the outputs into slopes of the
numbers asked for.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from voicelog.hearing.network import (
    INPUT,
    AcousticModel,
    Affine,
    Append,
    Component,
    Descriptor,
    FixedBias,
    FixedScale,
    Floats,
    Frames,
    LogSoftmax,
    Node,
    Offset,
    Rectifier,
    Scaled,
    Sum,
    extended,
    needed_frames,
    output_frames,
    pick,
    read,
)


class Name(NamedTuple):
    """One array of numbers that can be learnt."""

    layer: str
    field: str  # "weights", "bias" or "scales"


Arrays = dict[Name, Floats]


def arrays(model: AcousticModel) -> Arrays:
    """Every array of the network."""
    found = {}
    for layer in model.layers:
        for field, value in vars(layer.component).items():
            if isinstance(value, np.ndarray):
                found[Name(layer.name, field)] = value
    return found


def with_arrays(model: AcousticModel, changed: Mapping[Name, Floats]) -> AcousticModel:
    """The same network with other numbers in the arrays named."""
    layers = []
    for layer in model.layers:
        own = {name.field: value for name, value in changed.items() if name.layer == layer.name}
        layers.append(replace(layer, component=replace(layer.component, **own)) if own else layer)
    return replace(model, layers=tuple(layers))


@dataclass(frozen=True, eq=False)
class Trace:
    """What the forward pass remembers for the backward pass."""

    frames: dict[str, Frames]
    outputs: Frames
    given: dict[str, Floats]  # what each layer read
    log_posteriors: Floats  # (batch, outputs, 40)


def forward(model: AcousticModel, features: Floats) -> Trace:
    """(batch, frames, 64) -> log posteriors at every third frame, and the trace that led there."""
    outputs = output_frames(features.shape[-2])
    frames = needed_frames(model, outputs)
    values = {INPUT: extended(features, frames[INPUT])}
    given = {}
    for layer in model.layers:
        given[layer.name] = read(layer.input, frames[layer.name], frames, values)
        values[layer.name] = layer.component(given[layer.name])
    return Trace(frames, outputs, given, read(model.output, outputs, frames, values))


def backward(model: AcousticModel, trace: Trace, slope: Floats, wanted: Collection[Name]) -> Arrays:
    """Slopes of the arrays ``wanted``, given the loss's slope by log posterior: (batch, outputs, 40)."""
    dims, batch = model.dims, slope.shape[0]
    slopes = {x.name: np.zeros((batch, len(trace.frames[x.name]), dims[x.name]), np.float32) for x in model.layers}
    _spread(model.output, trace.outputs, slope, trace.frames, slopes, dims)
    found: Arrays = {}
    for layer in reversed(model.layers):
        own = slopes.pop(layer.name)
        given = trace.given[layer.name]
        for name in (name for name in wanted if name.layer == layer.name):
            found[name] = _of_array(layer.component, name.field, given, own)
        if slopes:
            own = _of_input(layer.component, given, own)
            _spread(layer.input, trace.frames[layer.name], own, trace.frames, slopes, dims)
    return found


def _of_array(component: Component, field: str, given: Floats, slope: Floats) -> Floats:
    rows, slopes = given.reshape(-1, given.shape[-1]), slope.reshape(-1, slope.shape[-1])
    match component, field:
        case Affine(), "weights":
            return slopes.T @ rows
        case FixedScale(), "scales":
            return np.einsum("ij,ij->j", rows, slopes)
        case _, "bias":
            return slopes.sum(axis=0)
    raise KeyError(field)


def _of_input(component: Component, given: Floats, slope: Floats) -> Floats:
    match component:
        case Affine(weights, _):
            return (slope.reshape(-1, slope.shape[-1]) @ weights).reshape(given.shape)
        case Rectifier():
            return slope * (given > 0)
        case FixedScale(scales):
            return slope * scales
        case FixedBias():
            return slope
        case LogSoftmax():
            return slope - np.exp(component(given)) * slope.sum(axis=-1, keepdims=True)


def _spread(
    descriptor: Descriptor,
    at: Frames,
    slope: Floats,
    frames: dict[str, Frames],
    slopes: dict[str, Floats],
    dims: dict[str, int],
) -> None:
    """Add a slope to everything that a descriptor read; frames within one reference never repeat."""
    match descriptor:
        case Node(name):
            if name in slopes:  # the input has none
                slopes[name][:, pick(frames[name], at)] += slope
        case Offset(of, later):
            _spread(of, at + later, slope, frames, slopes, dims)
        case Append(parts):
            first = 0
            for part in parts:
                width = _width(part, dims)
                _spread(part, at, slope[..., first : first + width], frames, slopes, dims)
                first += width
        case Sum(one, other):
            _spread(one, at, slope, frames, slopes, dims)
            _spread(other, at, slope, frames, slopes, dims)
        case Scaled(factor, of):
            _spread(of, at, np.float32(factor) * slope, frames, slopes, dims)


def _width(descriptor: Descriptor, dims: dict[str, int]) -> int:
    match descriptor:
        case Node(name):
            return dims[name]
        case Append(parts):
            return sum(_width(part, dims) for part in parts)
        case Sum(of, _) | Offset(of, _) | Scaled(_, of):
            return _width(of, dims)
