"""Features, augmentation, the network and its export: needs torch."""

import json
import random
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import soundfile

torch = pytest.importorskip("torch")

from voicelog.hearing.filterbank import filter_banks, mel_triangles  # noqa: E402
from voicelog.hearing.nnet3 import read_model  # noqa: E402
from voicelog.training import augmentation  # noqa: E402
from voicelog.training.assembly import masked  # noqa: E402
from voicelog.training.corpus import read_corpora  # noqa: E402
from voicelog.training.export import acoustic_model, export, mean_of, shape_from  # noqa: E402
from voicelog.training.features import WARPS, FilterBanks, triangles  # noqa: E402
from voicelog.training.loop import Trainer  # noqa: E402
from voicelog.training.network import Network  # noqa: E402
from voicelog.training.pronunciations import Lexicon  # noqa: E402
from voicelog.training.recipe import NetworkShape, Recipe  # noqa: E402
from voicelog.training.splits import read_splits  # noqa: E402
from voicelog.training.warm_start import warm_weights  # noqa: E402

TINY = NetworkShape(width=24, bottleneck=8, layers=3, looking_ahead=2)


@pytest.fixture
def sound() -> np.ndarray:
    return (np.random.default_rng(0).standard_normal(24_000) * 1500).astype(np.int16)


def test_features_are_those_of_the_recogniser(sound):
    found = FilterBanks()(torch.from_numpy(sound).float()[None], torch.tensor([0]))[0].numpy()
    assert found == pytest.approx(filter_banks(sound, dither=0), abs=1e-3)


def test_an_unwarped_tract_has_the_recognisers_filters():
    assert triangles(1.0) == pytest.approx(mel_triangles(), abs=1e-5)
    assert len(WARPS) == 18 and WARPS[0] == 1.0


def test_augmented_sound_is_finite_sixteen_bit_and_as_long(sound):
    batch = torch.from_numpy(np.stack([sound] * 6)).float()
    noise = torch.from_numpy(np.tile(sound, 3))
    for seed in range(6):
        torch.manual_seed(seed)
        spoken = torch.full((6, 1), 20_000.0)
        found = augmentation.augmented(batch, spoken, noise, random.Random(seed), 0.5)
        assert found.shape == batch.shape and torch.isfinite(found).all() and found.abs().max() <= 32768


@pytest.mark.parametrize("share", [0.0, 0.5, 0.8])
def test_a_narrow_band_holds_nothing_above_it(share):
    torch.manual_seed(0)
    sound = torch.randn(200, 16_000)
    energy = torch.fft.rfft(augmentation.channelled(sound, share)).abs() ** 2
    above = energy[:, 5000:].sum(1) / energy.sum(1)
    assert float((above < 1e-3).float().mean()) == pytest.approx(share, abs=0.15)


def test_one_output_for_three_frames_and_the_promised_context():
    network = Network(TINY).eval()
    banks = torch.randn(1, 150, 64)
    with torch.no_grad():
        before = network(banks)[0]
        changed = banks.clone()
        changed[0, 90] += 1.0
        moved = np.flatnonzero((network(changed)[0] - before).abs().amax(1).numpy() > 1e-7)
    assert before.shape == (50, 40)
    assert 90 - 3 * moved[0] <= TINY.right and 3 * moved[-1] - 90 <= TINY.left


def trained() -> Network:
    torch.manual_seed(0)
    network = Network(TINY).train()
    for _ in range(5):
        network(torch.randn(3, 90, 64) * 4 + 9)
    return network.eval()


def test_the_exported_model_is_the_network(tmp_path, sound):
    torch.save(trained().state_dict(), tmp_path / "average.pt")
    check = export(tmp_path / "average.pt", TINY, tmp_path / "model", filter_banks(sound))
    assert check.largest_before_writing < 1e-4 and check.same_best > 0.97
    model = read_model(tmp_path / "model" / "am" / "final.mdl")
    assert (model.left_context, model.right_context) == (TINY.left, TINY.right)


def test_an_export_that_went_wrong_is_refused(tmp_path, sound, monkeypatch):
    torch.save(trained().state_dict(), tmp_path / "average.pt")
    other = acoustic_model(Network(TINY).eval().state_dict(), TINY)
    monkeypatch.setattr("voicelog.training.export.acoustic_model", lambda *_: other)
    with pytest.raises(ValueError, match="not the trained one"):
        export(tmp_path / "average.pt", TINY, tmp_path / "model", filter_banks(sound))


@pytest.fixture
def trainer(tmp_path, sound) -> Trainer:
    folder = tmp_path / "speech"
    folder.mkdir()
    soundfile.write(folder / "0.opus", np.tile(sound, 8), 16_000, format="OGG", subtype="OPUS")
    rows = [
        {"start": 24_000 * n, "samples": 16_000, "text": "one two", "corpus": "an4-train", "accent": "us"}
        for n in range(7)
    ]
    (folder / "index.jsonl").write_text("\n".join(json.dumps(row) for row in rows))
    with ThreadPoolExecutor(1) as executor:
        corpus = read_corpora([folder], read_splits(), executor)
    lexicon = Lexicon({"one": (("W", "AH", "N"),), "two": (("T", "UW"),)})
    recipe = Recipe(TINY, seconds_per_step=8.0, flat_start_steps=2, warm_up_steps=2)
    return Trainer(recipe, corpus, None, lexicon, tmp_path / "run")


def test_a_run_ends_in_its_budget_saves_and_is_resumed(trainer):
    trainer.run(0.5)
    steps = trainer.state.step
    assert steps >= 1 and (trainer.out / "average.pt").exists()
    trainer.run(0.6)
    assert trainer.state.step > steps and trainer.state.elapsed_s >= 0.5
    assert [line["step"] for line in trainer.state.history] == sorted(line["step"] for line in trainer.state.history)


def test_the_shape_is_read_from_the_runs_record(tmp_path):
    (tmp_path / "run.json").write_text(json.dumps({"recipe": Recipe(TINY).record()}))
    assert shape_from(tmp_path / "run.json") == TINY


def test_training_goes_on_from_a_finished_model_with_the_same_scores(sound):
    """The folded and exported normalisations are taken apart again without changing a score."""
    torch.manual_seed(1)
    banks = torch.from_numpy(filter_banks(sound))[None]
    network = Network(TINY).train()
    network(banks + torch.randn_like(banks))  # statistics that are not those of a fresh network
    model = acoustic_model(network.state_dict(), TINY)
    again = Network(TINY)
    again.load_state_dict(warm_weights(model, TINY, banks))
    with torch.no_grad():
        wanted, found = network.eval()(banks), again.eval()(banks)
    assert found.numpy() == pytest.approx(wanted.numpy(), abs=2e-3)


def test_runs_are_averaged_weight_by_weight(tmp_path):
    for name, value in (("one", 1.0), ("other", 3.0)):
        (tmp_path / name).mkdir()
        torch.save({"w": torch.tensor([value, 0.5]), "count": torch.tensor(7)}, tmp_path / name / "average.pt")
        (tmp_path / name / "run.json").write_text("{}")
    mean_of([tmp_path / "one", tmp_path / "other"], tmp_path / "mean")
    found = torch.load(tmp_path / "mean" / "average.pt")
    assert found["w"].tolist() == [2.0, 0.5] and int(found["count"]) == 7


def test_a_stronger_masking_hides_more():
    banks = torch.randn(200, 60, 64)
    hidden = [float((masked(banks, strength) != banks).float().mean()) for strength in (0.0, 1.0, 2.0)]
    assert hidden[0] == 0 and hidden[2] > 1.6 * hidden[1] > 0.1
