"""The network while it learns: a time-delay network with bottlenecks and residuals, in torch.

Convolutions are written as matrix products over (batch, time, channels), which
is what accelerators do best. Normalisations have no learnt scale: at export
they become one scale and one bias for each channel.
"""

import torch
from torch import Tensor, nn
from torch.nn import functional

from voicelog.hearing.filterbank import BINS
from voicelog.hearing.phones import OUTPUTS
from voicelog.training.recipe import NetworkShape

EPSILON = 1e-5  # added to a variance by a normalisation
RESIDUAL = 0.66  # of a layer's input is added to its output


def spliced(x: Tensor, width: int, stride: int = 1) -> Tensor:
    """(batch, time, channels) -> ``width`` neighbouring times side by side, every ``stride``-th."""
    count = (x.shape[1] - width) // stride + 1
    if width == 1 and stride == 1:
        return x
    return torch.cat([x[:, start : start + (count - 1) * stride + 1 : stride] for start in range(width)], 2)


class Normalise(nn.BatchNorm1d):
    """Mean 0 and variance 1 of each channel over batch and time."""

    def __init__(self, channels: int, learnt: bool = False) -> None:
        super().__init__(channels, eps=EPSILON, affine=learnt)

    def forward(self, x: Tensor) -> Tensor:
        return super().forward(x.reshape(-1, x.shape[2])).view(x.shape)


class Bottleneck(nn.Module):
    """Three times side by side -> few channels -> many, rectified and normalised."""

    def __init__(self, shape: NetworkShape, layer: int) -> None:
        super().__init__()
        self.taps = shape.taps(layer)
        self.narrow = nn.Linear(3 * shape.width, shape.bottleneck, bias=False)
        self.wide = nn.Linear(shape.bottleneck, shape.width)
        self.normalise = Normalise(shape.width)
        self.dropout = nn.Dropout(shape.dropout)

    def forward(self, x: Tensor) -> Tensor:
        first, _, last = self.taps
        hidden = functional.relu(self.wide(self.narrow(spliced(x, 3))))
        kept = x[:, -first : x.shape[1] - last]
        return self.dropout(self.normalise(hidden)) + RESIDUAL * kept


class Network(nn.Module):
    """Filter banks (batch, frames, 64) -> scores (batch, a third of the frames, 40) before the softmax."""

    def __init__(self, shape: NetworkShape) -> None:
        super().__init__()
        self.shape = shape
        self.at_input = Normalise(BINS, learnt=True)
        self.first = nn.Linear(5 * BINS, shape.width)
        self.after_first = Normalise(shape.width)
        self.second = nn.Linear(3 * shape.width, shape.width)
        self.after_second = Normalise(shape.width)
        self.layers = nn.ModuleList(Bottleneck(shape, layer) for layer in range(shape.layers))
        self.output = nn.Linear(shape.width, OUTPUTS)

    def forward(self, banks: Tensor) -> Tensor:
        x = self.at_input(banks)
        before = x[:, :1].expand(-1, self.shape.left, -1)
        after = x[:, -1:].expand(-1, self.shape.right, -1)
        x = torch.cat([before, x, after], 1)
        x = self.after_first(functional.relu(self.first(spliced(x, 5))))
        x = self.after_second(functional.relu(self.second(spliced(x, 3, stride=3))))
        for layer in self.layers:
            x = layer(x)
        return self.output(x)
