"""Small networks with random weights: the bundled network's shape, a fraction of its size."""

import numpy as np

from voicelog.hearing.network import (
    AcousticModel,
    Affine,
    FixedBias,
    FixedScale,
    Layer,
    LogSoftmax,
    Node,
    Offset,
    Rectifier,
    Scaled,
    Sum,
    spliced,
)

OUTPUTS = 40


def affine(rng: np.random.Generator, out: int, given: int) -> Affine:
    weights = rng.normal(0, 1.2 / np.sqrt(given), (out, given)).astype(np.float32)
    return Affine(weights, rng.normal(0, 0.1, out).astype(np.float32))


def random_network(seed: int = 0, width: int = 24, bottleneck: int = 8, blocks: int = 2) -> AcousticModel:
    """Two convolutions, then ``blocks`` bottleneck blocks with residuals, then the outputs."""
    rng = np.random.default_rng(seed)

    def normalised(name: str) -> list[Layer]:
        scale = FixedScale(rng.uniform(0.7, 1.4, width).astype(np.float32))
        bias = FixedBias(rng.normal(0, 0.2, width).astype(np.float32))
        return [Layer(f"{name}.scale", Node(f"{name}.relu"), scale), Layer(name, Node(f"{name}.scale"), bias)]

    layers = [
        Layer("zero", Node("input"), FixedBias(np.full(64, -11, np.float32))),
        Layer("level", Node("zero"), FixedScale(np.full(64, 0.4, np.float32))),
        Layer("c1.affine", spliced("level", (-2, -1, 0, 1, 2)), affine(rng, width, 320)),
        Layer("c1.relu", Node("c1.affine"), Rectifier(width)),
        *normalised("c1"),
        Layer("c2.affine", spliced("c1", (-1, 0, 1)), affine(rng, width, 3 * width)),
        Layer("c2.relu", Node("c2.affine"), Rectifier(width)),
        *normalised("c2"),
    ]
    before = "c2"
    for block in range(blocks):
        name, taps = f"b{block}", (-3, 0, 3) if block % 2 == 0 else (-6, -3, 0)
        layers += [
            Layer(f"{name}.linear", spliced(before, taps), affine(rng, bottleneck, 3 * width)),
            Layer(f"{name}.affine", Node(f"{name}.linear"), affine(rng, width, bottleneck)),
            Layer(f"{name}.relu", Node(f"{name}.affine"), Rectifier(width)),
            *normalised(name),
            Layer(
                f"{name}.sum",
                Sum(Node(name), Scaled(0.66, Offset(Node(before), 0) if block else Node(before))),
                FixedScale(np.ones(width, np.float32)),
            ),
        ]
        before = f"{name}.sum"
    layers += [
        Layer("out", Node(before), affine(rng, OUTPUTS, width)),
        Layer("posteriors", Node("out"), LogSoftmax(OUTPUTS)),
    ]
    return AcousticModel(tuple(layers), Node("posteriors"))
