"""The acoustic model's file, against stock vosk, and the forward pass."""

import json

import numpy as np
import pytest
import vosk
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.networks import random_network
from voicelog.errors import ModelError
from voicelog.hearing.filterbank import CONF, filter_banks
from voicelog.hearing.graph import PhoneGraph, expanded
from voicelog.hearing.kaldi_binary import Sink, Source
from voicelog.hearing.network import Append, Node, Offset, Scaled, Sum, log_posteriors, parse_descriptor, references
from voicelog.hearing.nnet3 import read_model, write_model
from voicelog.hearing.phones import PHONES
from voicelog.hearing.transitions import GRAPH_PHONES, TransitionIds

IDS = TransitionIds()


def sound(seconds: float = 2.0, seed: int = 3) -> np.ndarray:
    """Noise whose colour changes every 60 ms, so that a random network changes its mind."""
    rng = np.random.default_rng(seed)
    pieces = []
    for _ in range(int(seconds / 0.06)):
        carrier = np.sin(2 * np.pi * rng.uniform(100, 5000) * np.arange(960) / 16000)
        pieces.append(rng.uniform(200, 9000) * carrier + rng.normal(0, rng.uniform(20, 2000), 960))
    return np.concatenate(pieces).clip(-32768, 32767).astype(np.int16)


# ---------------------------------------------------------------- round trips


@pytest.mark.parametrize("bytes_per_weight", [1, 2, 4])
def test_a_model_survives_the_file(tmp_path, bytes_per_weight):
    model = random_network(width=40)
    write_model(model, tmp_path / "final.mdl", bytes_per_weight)
    again = read_model(tmp_path / "final.mdl")

    assert [layer.name for layer in again.layers] == [layer.name for layer in model.layers]
    assert [layer.input for layer in again.layers] == [layer.input for layer in model.layers]
    assert (again.left_context, again.right_context) == (model.left_context, model.right_context) == (12, 6)
    features = filter_banks(sound())
    before, after = log_posteriors(model, features), log_posteriors(again, features)
    difference = np.abs(after - before).max() / before.std()
    assert difference <= {4: 0, 2: 0.001, 1: 0.1}[bytes_per_weight]
    assert bytes_per_weight == 4 or difference > 0
    assert (before.argmax(axis=1) == after.argmax(axis=1)).mean() > 0.95


def test_one_byte_a_weight_is_a_quarter_of_the_size(tmp_path):
    model = random_network(width=128, bottleneck=64)
    sizes = []
    for bytes_per_weight in (1, 4):
        write_model(model, tmp_path / "final.mdl", bytes_per_weight)
        sizes.append((tmp_path / "final.mdl").stat().st_size)
    assert sizes[0] < 0.35 * sizes[1]


@given(st.integers(0, 10**6), st.integers(45, 90), st.integers(45, 60), st.floats(1e-6, 1e6))
@settings(max_examples=40, deadline=None)
def test_compressed_weights_stay_within_half_a_step(seed, rows, columns, size):
    weights = (np.random.default_rng(seed).standard_t(3, (rows, columns)) * size).astype(np.float32)
    span = float(weights.max()) - float(weights.min())
    low, lower, upper, high = np.sort(weights, axis=0)[[0, rows // 4, 3 * (rows // 4), -1]].astype(np.float64)
    step = np.maximum(np.maximum((lower - low) / 64, (upper - lower) / 128), (high - upper) / 63)
    # Half a step, and two of the coarser marks that hold the quartiles (1/65535 of the whole span each, at most
    # three of them moved to keep the marks rising).
    for bytes_per_weight, bound in ((1, step / 2 + 4 * span / 65535), (2, 0.51 * span / 65535), (4, 0)):
        sink = Sink()
        sink.matrix(weights, bytes_per_weight)
        again = Source(sink.stream.getvalue(), "test").matrix()
        assert (np.abs(again.astype(np.float64) - weights) <= bound + 1e-6 * np.abs(weights).max()).all()


def test_a_matrix_of_one_value_survives_compression():
    for value in (0.0, -2.5, 1e-8):
        for bytes_per_weight in (1, 2):
            sink = Sink()
            sink.matrix(np.full((50, 50), value, np.float32), bytes_per_weight)
            again = Source(sink.stream.getvalue(), "test").matrix()
            assert np.abs(again - value).max() <= 4 * (1 + abs(value)) / 65535


# ---------------------------------------------------------------- descriptors

DESCRIPTORS = (
    ("c1", Node("c1")),
    ("Offset(c1, -3)", Offset(Node("c1"), -3)),
    ("Append(Offset(c1, -1), c1, Offset(c1, 1))", Append((Offset(Node("c1"), -1), Node("c1"), Offset(Node("c1"), 1)))),
    ("Sum(o1, Scale(0.66, z0))", Sum(Node("o1"), Scaled(0.66, Node("z0")))),
)


@pytest.mark.parametrize(("text", "descriptor"), DESCRIPTORS)
def test_a_descriptor_reads_as_it_is_written(text, descriptor):
    assert parse_descriptor(text) == descriptor
    assert str(descriptor) == text


@pytest.mark.parametrize("text", ["", "Offset(c1)", "Offset(c1, x)", "Round(c1, 3)", "Sum(a, b", "Append(a, b) c", ","])
def test_other_descriptors_are_refused(text):
    with pytest.raises(ModelError):
        parse_descriptor(text)


def test_offsets_add_up():
    assert list(references(parse_descriptor("Offset(Sum(a, Offset(b, 2)), -3)"))) == [("a", -3), ("b", -1)]


# ---------------------------------------------------------------- files that are not ours


def test_a_file_cut_short_anywhere_is_refused(tmp_path):
    write_model(random_network(), tmp_path / "whole.mdl")
    whole = (tmp_path / "whole.mdl").read_bytes()
    cut = tmp_path / "cut.mdl"
    for length in (0, 1, 2, 20, 500, 3000, 7000, len(whole) // 2, len(whole) - 200, len(whole) - 1):
        cut.write_bytes(whole[:length])
        with pytest.raises(ModelError):
            read_model(cut)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"\0B", b"<T"),  # text form
        (b"<FixedScaleComponent>", b"<BlockAffineComponent>"),  # a component of other models
        (b"component-node", b"dim-range-node"),
        (b"Append(", b"Switch("),
        (b"<Tuples> \x04", b"<Tuples> \x05"),
        (b"dim=64", b"dim=63"),
        (b"<LeftContext> \x04\x0c", b"<LeftContext> \x04\x0d"),
    ],
)
def test_a_foreign_or_damaged_file_is_refused(tmp_path, old, new):
    path = tmp_path / "final.mdl"
    write_model(random_network(), path)
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new, 1))
    with pytest.raises(ModelError) as refusal:
        read_model(path)
    assert str(path) in str(refusal.value)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(ModelError):
        read_model(tmp_path / "final.mdl")


# ---------------------------------------------------------------- transition ids


def test_transition_ids_run_without_gaps():
    taken = [*vars(IDS.silence).values()]
    for name in GRAPH_PHONES[1:]:
        taken += vars(IDS.steps(*name.split("_"))).values()
    assert sorted(taken) == list(range(1, IDS.count + 1))
    assert len(IDS.outputs) == IDS.count + 1


def test_steps_stay_on_their_own_output_or_on_blank():
    for number, phone in enumerate(PHONES, start=1):
        for position in "BEIS":
            steps = IDS.steps(phone, position)
            assert [IDS.outputs[x] for x in (steps.loop, steps.to_blank, steps.leave)] == [number] * 3
            assert [IDS.outputs[x] for x in (steps.blank_loop, steps.blank_leave)] == [0, 0]


def test_word_boundaries_name_every_phone():
    lines = [line.split() for line in IDS.word_boundaries().splitlines()]
    assert lines[0] == ["1", "nonword"]
    assert lines[1] == [str(IDS.phone_numbers["AA_B"]), "begin"]
    assert len(lines) == len(GRAPH_PHONES) == 157


# ---------------------------------------------------------------- stock vosk


def phone_loop() -> bytes:
    """Any phones as words; a phone follows itself only across silence, so that each row of outputs is one path."""
    states = range(len(PHONES) + 2)  # at the start, after silence, after each phone
    arcs = [(source, 1, 0, 1) for source in states if source != 1]
    for word, phone in enumerate(PHONES, start=1):
        number = IDS.phone_numbers[f"{phone}_S"]
        arcs += [(source, number, word, word + 1) for source in states if source != word + 1]
    source, phones, words, targets = np.array(arcs, np.int64).T
    return expanded(PhoneGraph(source, phones, words, np.zeros(len(arcs)), targets, np.zeros(len(states), np.float32)))


def model_folder(folder, model, bytes_per_weight=4) -> str:
    for part in ("am", "conf", "graph/phones"):
        (folder / part).mkdir(parents=True)
    write_model(model, folder / "am/final.mdl", bytes_per_weight)
    (folder / "conf/fbank.conf").write_text(CONF.replace("--dither=4", "--dither=0"))
    (folder / "conf/model.conf").write_text(
        "--beam=40\n--max-active=7000\n--lattice-beam=0.1\n--acoustic-scale=1\n--frame-subsampling-factor=3\n"
        "--endpoint.silence-phones=1\n--endpoint.rule2.min-trailing-silence=60\n--endpoint.rule1.min-trailing-silence=60\n"
        "--endpoint.rule3.min-trailing-silence=60\n--endpoint.rule4.min-trailing-silence=60\n"
    )
    (folder / "graph/phones/word_boundary.int").write_text(IDS.word_boundaries())
    (folder / "graph/words.txt").write_text(
        "".join(f"{word} {number}\n" for number, word in enumerate(("<eps>", *PHONES)))
    )
    (folder / "graph/HCLG.fst").write_bytes(phone_loop())
    return str(folder)


@pytest.mark.parametrize(("seed", "bytes_per_weight"), [(1, 4), (2, 4), (2, 1)])
def test_stock_vosk_hears_what_our_forward_pass_says(tmp_path, seed, bytes_per_weight):
    """In a loop of phones the best path is the loudest output of each frame, repeats and blanks removed."""
    model = random_network(seed, width=32, bottleneck=12, blocks=4)
    samples = sound()
    vosk.SetLogLevel(-1)
    recogniser = vosk.KaldiRecognizer(vosk.Model(model_folder(tmp_path / "model", model, bytes_per_weight)), 16000)
    recogniser.AcceptWaveform(samples.tobytes())
    heard = json.loads(recogniser.FinalResult())["text"].split()

    kept = read_model(tmp_path / "model/am/final.mdl")
    best = log_posteriors(kept, filter_banks(samples, dither=0)).argmax(axis=1)
    said = [PHONES[b - 1] for before, b in zip([0, *best], best, strict=False) if b and b != before]
    assert len(said) > 15
    assert heard == said


# ---------------------------------------------------------------- the forward pass


def test_a_batch_gives_what_each_sound_gives():
    model = random_network()
    features = np.stack([filter_banks(sound(seed=seed)) for seed in (1, 2)])
    together = log_posteriors(model, features)
    for alone, row in zip(features, together, strict=True):
        np.testing.assert_allclose(log_posteriors(model, alone), row, atol=1e-4)


@pytest.mark.parametrize(("frames", "outputs"), [(0, 0), (1, 1), (3, 1), (4, 2), (200, 67)])
def test_one_output_for_each_third_frame(frames, outputs):
    posteriors = log_posteriors(random_network(), np.full((frames, 64), 10, np.float32))
    assert posteriors.shape == (outputs, 40)
    np.testing.assert_allclose(np.exp(posteriors).sum(axis=1), 1, atol=1e-5)


def test_the_far_future_changes_nothing():
    model = random_network(blocks=4)
    features = filter_banks(sound())
    changed = features.copy()
    changed[90:] += 3
    before, after = log_posteriors(model, features), log_posteriors(model, changed)
    last = (89 - model.right_context) // 3
    np.testing.assert_array_equal(before[: last + 1], after[: last + 1])
    assert np.abs(before[last + 1] - after[last + 1]).max() > 1e-4
