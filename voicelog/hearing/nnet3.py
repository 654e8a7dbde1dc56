"""``am/final.mdl``: the acoustic model in Kaldi's binary form, both directions.

A transition model, then the nnet3 network as configuration lines and
components, then contexts and (empty) priors. Stock vosk loads what is written
here; files with other components, topologies or phone sets are refused.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from voicelog.errors import ModelError, StorageFull
from voicelog.hearing.kaldi_binary import BINARY, BytesPerWeight, Sink, Source
from voicelog.hearing.network import (
    INPUT,
    AcousticModel,
    Affine,
    Component,
    FixedBias,
    FixedScale,
    Layer,
    LogSoftmax,
    Rectifier,
    log_posteriors,
    parse_descriptor,
)
from voicelog.hearing.transitions import TransitionIds

__all__ = ["AcousticModel", "TransitionIds", "log_posteriors", "read_model", "write_model"]

# (forward output class, loop output class, [(next state, chance)]) for each state. The chances are never used:
# the decoding graph carries all costs.
SILENCE_STATES = ((0, 0, ((0, 0.5), (1, 0.5))), (-1, -1, ()))
PHONE_STATES = (
    (0, 0, ((0, 0.34), (1, 0.33), (2, 0.33))),
    (1, 1, ((1, 0.5), (2, 0.5))),
    (-1, -1, ()),
)
EXTENDED_TOPOLOGY = -1  # Kaldi's mark that loop output classes follow
STEP_LOG_CHANCE = -0.6


def read_model(path: Path) -> AcousticModel:
    """The model in a file.

    Raises ModelError for a file that is missing, cut short, written in text
    form, or made of parts that this program does not know.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ModelError(f"the acoustic model cannot be read: {error.strerror}.", where=str(path)) from None
    source = Source(data, str(path))
    if source.take(min(len(BINARY), len(data))) != BINARY:
        raise source.fail("not in Kaldi's binary form")
    transitions = _read_transitions(source)
    model = _read_network(source, transitions)
    source.expect("<LeftContext>")
    left = source.integer()
    source.expect("<RightContext>")
    if (left, source.integer()) != (model.left_context, model.right_context):
        raise source.fail("the contexts do not belong to the network")
    source.expect("<Priors>")
    if len(source.vector()):
        raise source.fail("it carries priors, which this program does not use")
    return model


def write_model(model: AcousticModel, path: Path, bytes_per_weight: BytesPerWeight = 1) -> None:
    """Write ``model``; matrices take 1 or 2 bytes a weight (compressed) or 4 (whole).

    A file already there stays as it was until the new one is complete.
    Raises StorageFull where the disk refuses it.
    """
    sink = Sink()
    sink.raw(BINARY)
    _write_transitions(sink, model.transitions)
    _write_network(sink, model, bytes_per_weight)
    sink.token("<LeftContext>")
    sink.integer(model.left_context)
    sink.token("<RightContext>")
    sink.integer(model.right_context)
    sink.token("<Priors>")
    sink.vector(np.zeros(0, np.float32))
    partial = path.with_name(path.name + ".partial")
    try:
        partial.write_bytes(sink.stream.getvalue())
        partial.replace(path)
    except OSError as error:
        raise StorageFull(f"the model could not be written: {error.strerror}.", where=str(path)) from None


# ---------------------------------------------------------------- the transition model


def _write_transitions(sink: Sink, ids: TransitionIds) -> None:
    phones = len(ids.phones)
    sink.token("<TransitionModel>", "<Topology>")
    sink.integers(tuple(range(1, phones + 1)))
    sink.integers((-1, 0, *[1] * (phones - 1)))
    sink.integer(EXTENDED_TOPOLOGY, 2)
    for states in (SILENCE_STATES, PHONE_STATES):
        sink.integer(len(states))
        for forward, loop, steps in states:
            sink.integer(forward, loop, len(steps))
            for state, chance in steps:
                sink.integer(state)
                sink.real(chance)
    sink.token("</Topology>", "<Tuples>")
    sink.integer(len(ids.tuples), *(number for row in ids.tuples for number in row))
    sink.token("</Tuples>", "<LogProbs>")
    sink.vector(np.array([0.0] + [STEP_LOG_CHANCE] * ids.count, np.float32))
    sink.token("</LogProbs>", "</TransitionModel>")


def _read_transitions(source: Source) -> TransitionIds:
    ids = TransitionIds()
    source.expect("<TransitionModel>", "<Topology>")
    phones, kinds = source.integers(), source.integers()
    if len(phones) != len(ids.phones) or kinds != (-1, 0, *[1] * (len(phones) - 1)):
        raise source.fail("another set of phones")
    if source.integer() != EXTENDED_TOPOLOGY or source.integer() != 2:
        raise source.fail("another topology")
    for expected in (SILENCE_STATES, PHONE_STATES):
        _expect_states(source, expected)
    source.expect("</Topology>", "<Tuples>")
    rows = tuple(tuple(source.integer() for _ in range(4)) for _ in range(max(source.integer(), 0)))
    if rows != ids.tuples:
        raise source.fail("other outputs for the phones")
    source.expect("</Tuples>", "<LogProbs>")
    if len(source.vector()) != ids.count + 1:
        raise source.fail("another number of transitions")
    source.expect("</LogProbs>", "</TransitionModel>")
    return ids


def _expect_states(source: Source, expected: tuple) -> None:
    if source.integer() != len(expected):
        raise source.fail("another topology")
    for forward, loop, steps in expected:
        if (source.integer(), source.integer(), source.integer()) != (forward, loop, len(steps)):
            raise source.fail("another topology")
        for state, _ in steps:
            if source.integer() != state:
                raise source.fail("another topology")
            source.real()


# ---------------------------------------------------------------- the network


def _write_network(sink: Sink, model: AcousticModel, bytes_per_weight: BytesPerWeight) -> None:
    lines = [f"input-node name={INPUT} dim={model.input_dim}"]
    lines += [f"component-node name={x.name} component={x.name} input={x.input}" for x in model.layers]
    lines += [f"output-node name=output input={model.output} objective=linear"]
    sink.token("<Nnet3>")
    sink.raw(("\n" + "\n".join(lines) + "\n\n").encode("ascii"))
    sink.token("<NumComponents>")
    sink.integer(len(model.layers))
    for layer in model.layers:
        sink.token("<ComponentName>", layer.name)
        _write_component(sink, layer.component, bytes_per_weight)
    sink.token("</Nnet3>")


def _write_component(sink: Sink, component: Component, bytes_per_weight: BytesPerWeight) -> None:
    kind = KALDI_NAMES[type(component)]
    sink.token(f"<{kind}>")
    match component:
        case Affine(weights, bias):
            sink.token("<LinearParams>")
            sink.matrix(weights, bytes_per_weight)
            sink.token("<BiasParams>")
            sink.vector(bias)
        case FixedScale(scales):
            sink.token("<Scales>")
            sink.vector(scales)
        case FixedBias(bias):
            sink.token("<Bias>")
            sink.vector(bias)
        case Rectifier(size) | LogSoftmax(size):
            _write_nonlinear(sink, size)
    sink.token(f"</{kind}>")


def _write_nonlinear(sink: Sink, size: int) -> None:
    """Kaldi keeps training statistics here; there are none to keep."""
    sink.token("<Dim>")
    sink.integer(size)
    for statistic in ("<ValueAvg>", "<DerivAvg>"):
        sink.token(statistic)
        sink.vector(np.zeros(0, np.float32))
    for count in NONLINEAR_COUNTS:
        sink.token(count)
        sink.double(0.0)


def _read_network(source: Source, transitions: TransitionIds) -> AcousticModel:
    source.expect("<Nnet3>")
    lines = _config_lines(source)
    source.expect("<NumComponents>")
    components: dict[str, Component] = {}
    for _ in range(max(source.integer(), 0)):
        source.expect("<ComponentName>")
        name = source.token()
        components[name] = _read_component(source)
    source.expect("</Nnet3>")
    try:
        nodes = [fields for kind, fields in lines if kind == "component-node"]
        layers = [Layer(x["name"], parse_descriptor(x["input"]), components[x["component"]]) for x in nodes]
        (dim,) = (int(fields["dim"]) for kind, fields in lines if kind == "input-node")
        (output,) = (parse_descriptor(fields["input"]) for kind, fields in lines if kind == "output-node")
        return AcousticModel(tuple(layers), output, dim, transitions)
    except (KeyError, ValueError) as error:
        raise source.fail(f"its configuration lines do not fit: {error}") from None
    except ModelError as error:
        raise source.fail(error.what) from None


def _config_lines(source: Source) -> list[tuple[str, dict[str, str]]]:
    """``component-node name=r1 component=r1 input=Append(a, b)`` -> (kind, fields), up to the blank line."""
    lines = []
    source.line()
    while text := source.line():
        kind, _, rest = text.partition(" ")
        if kind not in ("input-node", "component-node", "output-node"):
            raise source.fail(f"a {kind[:40]!r} line")
        lines.append((kind, _fields(rest)))
    return lines


def _fields(text: str) -> dict[str, str]:
    fields: dict[str, str] = {}
    key = ""
    for word in text.split():
        name, equals, value = word.partition("=")
        if equals:
            key, fields[name] = name, value
        elif key:
            fields[key] += f" {word}"  # a descriptor's arguments are parted by spaces
    return fields


def _read_component(source: Source) -> Component:
    kind = source.token()
    readers = {f"<{name}>": READERS[cls] for cls, name in KALDI_NAMES.items()}
    if kind not in readers:
        raise source.fail(f"a component of the kind {kind[:40]}")
    component = readers[kind](source)
    source.expect(f"</{kind[1:]}")
    return component


def _read_affine(source: Source) -> Affine:
    source.expect("<LinearParams>")
    weights = source.matrix()
    source.expect("<BiasParams>")
    return Affine(weights, source.vector())


def _read_scale(source: Source) -> FixedScale:
    source.expect("<Scales>")
    return FixedScale(source.vector())


def _read_bias(source: Source) -> FixedBias:
    source.expect("<Bias>")
    return FixedBias(source.vector())


def _nonlinear_reader(cls: type[Rectifier] | type[LogSoftmax]) -> Callable[[Source], Component]:
    def read(source: Source) -> Component:
        source.expect("<Dim>")
        size = source.integer()
        for statistic in ("<ValueAvg>", "<DerivAvg>"):
            source.expect(statistic)
            source.vector()
        for count in NONLINEAR_COUNTS:
            source.expect(count)
            source.real()
        return cls(size)

    return read


NONLINEAR_COUNTS = ("<Count>", "<NumDimsSelfRepaired>", "<NumDimsProcessed>")
KALDI_NAMES: dict[type[Component], str] = {
    Affine: "FixedAffineComponent",
    Rectifier: "RectifiedLinearComponent",
    FixedScale: "FixedScaleComponent",
    FixedBias: "FixedBiasComponent",
    LogSoftmax: "LogSoftmaxComponent",
}
READERS: dict[type[Component], Callable[[Source], Component]] = {
    Affine: _read_affine,
    Rectifier: _nonlinear_reader(Rectifier),
    FixedScale: _read_scale,
    FixedBias: _read_bias,
    LogSoftmax: _nonlinear_reader(LogSoftmax),
}
