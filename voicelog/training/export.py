"""The trained network as a model folder that stock Vosk loads, and the proof that nothing changed on the way.

Normalisations become a scale and a bias for each channel; those whose only
reader is an affine layer are folded into it.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from voicelog.hearing import filterbank
from voicelog.hearing.network import (
    AcousticModel,
    Affine,
    Component,
    FixedBias,
    FixedScale,
    Layer,
    LogSoftmax,
    Node,
    Rectifier,
    Scaled,
    Sum,
    log_posteriors,
    spliced,
)
from voicelog.hearing.nnet3 import read_model, write_model
from voicelog.hearing.phones import OUTPUTS
from voicelog.training.network import EPSILON, RESIDUAL, Network
from voicelog.training.recipe import NetworkShape

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class _Weights:
    """The saved tensors, by name, in double precision."""

    tensors: dict[str, torch.Tensor]

    def __getitem__(self, name: str) -> NDArray:
        return self.tensors[name].double().numpy()

    def scale_and_bias(self, name: str) -> tuple[NDArray, NDArray]:
        """A normalisation as ``scale * x + bias``."""
        scale = 1 / np.sqrt(self[f"{name}.running_var"] + EPSILON)
        bias = -self[f"{name}.running_mean"] * scale
        if f"{name}.weight" in self.tensors:
            gain = self[f"{name}.weight"]
            return scale * gain, bias * gain + self[f"{name}.bias"]
        return scale, bias

    def affine(self, name: str, normalised: str = "", copies: int = 1) -> Affine:
        """A linear layer; with ``normalised``, the normalisation before each of its ``copies`` inputs folded in."""
        weights = self[f"{name}.weight"]
        bias = self[f"{name}.bias"] if f"{name}.bias" in self.tensors else np.zeros(len(weights))
        if normalised:
            scale, shift = self.scale_and_bias(normalised)
            bias = bias + weights @ np.tile(shift, copies)
            weights = weights * np.tile(scale, copies)
        return Affine(weights.astype(np.float32), bias.astype(np.float32))


def acoustic_model(tensors: dict[str, torch.Tensor], shape: NetworkShape) -> AcousticModel:
    """The exported form of a trained network's (averaged) weights."""
    weights, width, layers = _Weights(tensors), shape.width, []

    def add(name: str, reads, component: Component) -> str:
        layers.append(Layer(name, reads, component))
        return name

    def normalised(name: str, reads: str, normalisation: str) -> str:
        scale, bias = weights.scale_and_bias(normalisation)
        scaled = add(f"{name}.scale", Node(reads), FixedScale(scale.astype(np.float32)))
        return add(f"{name}.bias", Node(scaled), FixedBias(bias.astype(np.float32)))

    add("first", spliced("input", (-2, -1, 0, 1, 2)), weights.affine("first", "at_input", 5))
    add("first.relu", Node("first"), Rectifier(width))
    add("second", spliced("first.relu", (-1, 0, 1)), weights.affine("second", "after_first", 3))
    add("second.relu", Node("second"), Rectifier(width))
    last = normalised("second", "second.relu", "after_second")
    for number in range(shape.layers):
        name, taps = f"tdnn{number + 1}", tuple(3 * tap for tap in shape.taps(number))
        add(f"{name}.narrow", spliced(last, taps), weights.affine(f"layers.{number}.narrow"))
        add(f"{name}.wide", Node(f"{name}.narrow"), weights.affine(f"layers.{number}.wide"))
        add(f"{name}.relu", Node(f"{name}.wide"), Rectifier(width))
        own = normalised(name, f"{name}.relu", f"layers.{number}.normalise")
        summed = Sum(Node(own), Scaled(RESIDUAL, Node(last)))
        last = add(f"{name}.sum", summed, FixedScale(np.ones(width, np.float32)))
    add("scores", Node(last), weights.affine("output"))
    add("posteriors", Node("scores"), LogSoftmax(OUTPUTS))
    return AcousticModel(tuple(layers), Node("posteriors"), filterbank.BINS)


@torch.no_grad()
def trained_log_posteriors(tensors: dict[str, torch.Tensor], shape: NetworkShape, banks: Floats) -> Floats:
    """(frames, 64) -> (outputs, 40) by the network in torch."""
    network = Network(shape).eval()
    network.load_state_dict(
        {name: value.float() if value.is_floating_point() else value for name, value in tensors.items()}
    )
    return network(torch.from_numpy(banks)[None]).log_softmax(2)[0].numpy()


@dataclass(frozen=True)
class ExportCheck:
    """How far the written file is from the trained network on the same sound, in posteriors (0 to 1)."""

    outputs: int
    largest_before_writing: float  # exported layers against torch
    mean_after_writing: float  # the file read back against torch: what one byte a weight costs
    same_best: float  # share of outputs with the same best phone

    @property
    def sound(self) -> bool:
        return self.largest_before_writing < 1e-3 and self.mean_after_writing < 0.01 and self.same_best > 0.97


def check_export(tensors: dict[str, torch.Tensor], shape: NetworkShape, file: Path, banks: Floats) -> ExportCheck:
    """Compare the network in torch with the layers exported and with the file as written."""
    wanted = np.exp(trained_log_posteriors(tensors, shape, banks))
    exact = np.exp(log_posteriors(acoustic_model(tensors, shape), banks))
    written = np.exp(log_posteriors(read_model(file), banks))
    count = min(len(wanted), len(exact), len(written))
    wanted, exact, written = wanted[:count], exact[:count], written[:count]
    return ExportCheck(
        count,
        float(np.abs(wanted - exact).max()),
        float(np.abs(wanted - written).mean()),
        float((wanted.argmax(1) == written.argmax(1)).mean()),
    )


def export(average: Path, shape: NetworkShape, folder: Path, banks: Floats) -> ExportCheck:
    """Write ``am/final.mdl`` and ``conf/`` from ``average.pt``, and check them on ``banks``.

    Raises ValueError, leaving the files for inspection, when the check fails.
    """
    tensors = torch.load(average, map_location="cpu")
    for part in ("am", "conf"):
        (folder / part).mkdir(parents=True, exist_ok=True)
    write_model(acoustic_model(tensors, shape), folder / "am" / "final.mdl")
    (folder / "conf" / "fbank.conf").write_text(filterbank.CONF)
    check = check_export(tensors, shape, folder / "am" / "final.mdl", banks)
    if not check.sound:
        raise ValueError(f"the exported network is not the trained one: {check}")
    return check


def mean_of(runs: list[Path], out: Path) -> None:
    """Write ``average.pt`` with the mean of the runs' weights, and the first one's ``run.json``.

    Only runs that began from the same weights lie near enough to each other for
    their mean to be a network (Wortsman et al. 2022).
    """
    tensors = [torch.load(run / "average.pt", map_location="cpu") for run in runs]
    out.mkdir(parents=True, exist_ok=True)
    torch.save({name: _mean([one[name] for one in tensors]) for name in tensors[0]}, out / "average.pt")
    (out / "run.json").write_text((runs[0] / "run.json").read_text())


def _mean(values: list[torch.Tensor]) -> torch.Tensor:
    if not values[0].is_floating_point():
        return values[0]
    return torch.stack([value.float() for value in values]).mean(0).to(values[0].dtype)


def shape_from(record: Path) -> NetworkShape:
    """The network's shape out of a run's ``run.json``."""
    return NetworkShape(**json.loads(record.read_text())["recipe"]["network"])
