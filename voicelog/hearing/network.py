"""The acoustic network as frozen parts, and its forward pass.

The subset of Kaldi's nnet3 that a time-delay network with bottlenecks and
residuals needs: components (affine, rectifier, scale, bias, log-softmax) and
descriptors that say what each one reads (Append, Offset, Sum, Scale). Times
are in frames of 10 ms; the output comes every third frame.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from voicelog.errors import ModelError
from voicelog.hearing.transitions import TransitionIds

Floats = NDArray[np.float32]
Frames = NDArray[np.int64]

INPUT = "input"
SUBSAMPLING = 3  # frames of 10 ms for each output: 30 ms


# ---------------------------------------------------------------- components


@dataclass(frozen=True, eq=False)
class Affine:
    """``weights`` (out, in) times the input, plus ``bias`` (out,)."""

    weights: Floats
    bias: Floats

    def dim(self, given: int, name: str) -> int:
        _agree(self.weights.shape[1], given, name)
        _agree(len(self.weights), len(self.bias), name)
        return len(self.weights)

    def __call__(self, x: Floats) -> Floats:
        rows = x.reshape(-1, x.shape[-1])  # one large product is faster than one for each sound of a batch
        return (rows @ self.weights.T + self.bias).reshape(*x.shape[:-1], -1)


@dataclass(frozen=True)
class Rectifier:
    """Negative values become zero."""

    size: int

    def dim(self, given: int, name: str) -> int:
        return _agree(self.size, given, name)

    def __call__(self, x: Floats) -> Floats:
        return np.maximum(x, 0)


@dataclass(frozen=True, eq=False)
class FixedScale:
    """Each channel times its own number."""

    scales: Floats

    def dim(self, given: int, name: str) -> int:
        return _agree(len(self.scales), given, name)

    def __call__(self, x: Floats) -> Floats:
        return x * self.scales


@dataclass(frozen=True, eq=False)
class FixedBias:
    """Each channel plus its own number."""

    bias: Floats

    def dim(self, given: int, name: str) -> int:
        return _agree(len(self.bias), given, name)

    def __call__(self, x: Floats) -> Floats:
        return x + self.bias


@dataclass(frozen=True)
class LogSoftmax:
    """Logarithms of values that then add up to one."""

    size: int

    def dim(self, given: int, name: str) -> int:
        return _agree(self.size, given, name)

    def __call__(self, x: Floats) -> Floats:
        x = x - x.max(axis=-1, keepdims=True)
        return x - np.log(np.exp(x).sum(axis=-1, keepdims=True))


Component = Affine | Rectifier | FixedScale | FixedBias | LogSoftmax


def _agree(own: int, given: int, name: str) -> int:
    if own != given:
        raise ModelError(f"the layer {name!r} takes {own} channels and is given {given}.", where="acoustic model")
    return own


# ---------------------------------------------------------------- descriptors


@dataclass(frozen=True)
class Node:
    """The output of a layer, or the network's input."""

    name: str

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True)
class Offset:
    """``of``, ``frames`` later (negative: earlier)."""

    of: "Descriptor"
    frames: int

    def __str__(self) -> str:
        return f"Offset({self.of}, {self.frames})"


@dataclass(frozen=True)
class Append:
    """The channels of several descriptors, one after the other."""

    parts: tuple["Descriptor", ...]

    def __str__(self) -> str:
        return f"Append({', '.join(map(str, self.parts))})"


@dataclass(frozen=True)
class Sum:
    """Two descriptors added."""

    first: "Descriptor"
    second: "Descriptor"

    def __str__(self) -> str:
        return f"Sum({self.first}, {self.second})"


@dataclass(frozen=True)
class Scaled:
    """``factor`` times ``of``."""

    factor: float
    of: "Descriptor"

    def __str__(self) -> str:
        return f"Scale({self.factor:.6g}, {self.of})"


Descriptor = Node | Offset | Append | Sum | Scaled


def spliced(name: str, offsets: tuple[int, ...]) -> Descriptor:
    """``name`` at several frames side by side: ``spliced("c1", (-1, 0, 1))``."""
    parts = tuple(Offset(Node(name), frames) if frames else Node(name) for frames in offsets)
    return parts[0] if len(parts) == 1 else Append(parts)


def parse_descriptor(text: str) -> Descriptor:
    """Kaldi's own spelling, such as ``Sum(o1, Scale(0.66, Offset(z0, -3)))``; raises ModelError for anything else."""
    tokens = re.findall(r"[^\s(),]+|[(),]", text)[::-1]
    try:
        found = _descriptor(tokens)
        if tokens:
            raise ValueError(tokens[-1])
    except (IndexError, ValueError):
        raise ModelError(f"a layer's input cannot be read: {text!r}.", where="acoustic model") from None
    return found


def _descriptor(tokens: list[str]) -> Descriptor:
    name = tokens.pop()
    if name in "(),":
        raise ValueError(name)
    if not tokens or tokens[-1] != "(":
        return Node(name)
    _punctuation(tokens, "(")
    match name:
        case "Offset":
            found: Descriptor = Offset(_then_comma(tokens), int(tokens.pop()))
        case "Scale":
            factor = float(tokens.pop())
            _punctuation(tokens, ",")
            found = Scaled(factor, _descriptor(tokens))
        case "Sum":
            found = Sum(_then_comma(tokens), _descriptor(tokens))
        case "Append":
            found = Append(tuple(_list(tokens)))
        case _:
            raise ValueError(name)
    _punctuation(tokens, ")")
    return found


def _then_comma(tokens: list[str]) -> Descriptor:
    found = _descriptor(tokens)
    _punctuation(tokens, ",")
    return found


def _list(tokens: list[str]) -> Iterator[Descriptor]:
    yield _descriptor(tokens)
    while tokens[-1] == ",":
        tokens.pop()
        yield _descriptor(tokens)


def _punctuation(tokens: list[str], mark: str) -> None:
    if tokens.pop() != mark:
        raise ValueError(mark)


def references(descriptor: Descriptor, offset: int = 0) -> Iterator[tuple[str, int]]:
    """Every (node, frames) that a descriptor reads."""
    match descriptor:
        case Node(name):
            yield name, offset
        case Offset(of, frames):
            yield from references(of, offset + frames)
        case Append(parts):
            for part in parts:
                yield from references(part, offset)
        case Sum(first, second):
            yield from references(first, offset)
            yield from references(second, offset)
        case Scaled(_, of):
            yield from references(of, offset)


def _width(descriptor: Descriptor, dims: dict[str, int], name: str) -> int:
    match descriptor:
        case Node(of):
            if of not in dims:
                raise ModelError(f"the layer {name!r} reads {of!r}, which comes later or nowhere.")
            return dims[of]
        case Append(parts):
            return sum(_width(part, dims, name) for part in parts)
        case Sum(first, second):
            return _agree(_width(first, dims, name), _width(second, dims, name), name)
        case Offset(of, _) | Scaled(_, of):
            return _width(of, dims, name)


# ---------------------------------------------------------------- the model


@dataclass(frozen=True)
class Layer:
    """One component, and what it reads."""

    name: str
    input: Descriptor
    component: Component


@dataclass(frozen=True)
class AcousticModel:
    """A network from filter banks to log probabilities of blank and phones, with the graph's transition ids.

    Layers stand in order: each reads the input or layers before it. Raises
    ModelError where channels do not fit together.
    """

    layers: tuple[Layer, ...]
    output: Descriptor
    input_dim: int = 64
    transitions: TransitionIds = field(default_factory=TransitionIds)

    def __post_init__(self) -> None:
        dims = self.dims
        if _width(self.output, dims, "output") != max(self.transitions.outputs) + 1:
            raise ModelError("the network's outputs are not blank and the 39 phones.", where="acoustic model")

    @property
    def dims(self) -> dict[str, int]:
        """Channels of the input and of each layer."""
        dims = {INPUT: self.input_dim}
        for layer in self.layers:
            dims[layer.name] = layer.component.dim(_width(layer.input, dims, layer.name), layer.name)
        return dims

    @property
    def left_context(self) -> int:
        """Frames of the past that one output needs."""
        return -int(needed_frames(self, np.zeros(1, np.int64))[INPUT].min())

    @property
    def right_context(self) -> int:
        """Frames of the future that one output needs: the network's latency, in units of 10 ms."""
        return int(needed_frames(self, np.zeros(1, np.int64))[INPUT].max())

    @property
    def weights(self) -> int:
        """How many numbers the network has learnt."""
        arrays = [value for layer in self.layers for value in vars(layer.component).values()]
        return sum(array.size for array in arrays if isinstance(array, np.ndarray))


# ---------------------------------------------------------------- the forward pass


def needed_frames(model: AcousticModel, outputs: Frames) -> dict[str, Frames]:
    """At which frames each layer must be computed for the given output frames; the input may lie outside the sound."""
    wanted: dict[str, list[Frames]] = {name: [] for name in (INPUT, *(layer.name for layer in model.layers))}
    frames: dict[str, Frames] = {}

    def ask(descriptor: Descriptor, at: Frames) -> None:
        for name, offset in references(descriptor):
            wanted[name].append(at + offset)

    ask(model.output, outputs)
    for layer in reversed(model.layers):
        asked = wanted[layer.name]
        frames[layer.name] = np.unique(np.concatenate(asked)) if asked else np.zeros(0, np.int64)
        if asked:
            ask(layer.input, frames[layer.name])
    frames[INPUT] = np.unique(np.concatenate(wanted[INPUT]))
    return frames


def output_frames(frames: int) -> Frames:
    """The frames at which the network speaks: every third."""
    return np.arange(0, frames, SUBSAMPLING, dtype=np.int64)


def pick(known: Frames, wanted: Frames) -> slice | Frames:
    """Where ``wanted`` lie in ``known``; a slice where the steps are even, so that nothing is copied."""
    at = np.searchsorted(known, wanted)
    step = int(at[1] - at[0]) if len(at) > 1 else 1
    even = step > 0 and np.array_equal(at, np.arange(at[0], at[0] + step * len(at), step))
    return slice(int(at[0]), int(at[-1]) + 1, step) if even else at


def read(descriptor: Descriptor, at: Frames, frames: dict[str, Frames], values: dict[str, Floats]) -> Floats:
    """What a descriptor gives at the frames ``at``: (..., time, channels)."""
    match descriptor:
        case Node(name):
            return values[name][..., pick(frames[name], at), :]
        case Offset(of, later):
            return read(of, at + later, frames, values)
        case Append(parts):
            return np.concatenate([read(part, at, frames, values) for part in parts], axis=-1)
        case Sum(first, second):
            return read(first, at, frames, values) + read(second, at, frames, values)
        case Scaled(factor, of):
            return np.float32(factor) * read(of, at, frames, values)


def extended(features: Floats, at: Frames) -> Floats:
    """Features at the frames ``at``; before the start and after the end the edge frame is repeated, as Kaldi does."""
    return features[..., at.clip(0, features.shape[-2] - 1), :]


def log_posteriors(model: AcousticModel, features: Floats) -> Floats:
    """Log probability of blank and each phone: (..., frames, 64) -> (..., ceil(frames / 3), 40)."""
    if features.shape[-2] == 0:
        return np.zeros((*features.shape[:-2], 0, max(model.transitions.outputs) + 1), np.float32)
    outputs = output_frames(features.shape[-2])
    frames = needed_frames(model, outputs)
    values = {INPUT: extended(features.astype(np.float32), frames[INPUT])}
    for layer in model.layers:
        if len(frames[layer.name]):
            values[layer.name] = layer.component(read(layer.input, frames[layer.name], frames, values))
    return read(model.output, outputs, frames, values)
