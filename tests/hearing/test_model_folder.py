"""Model folders: found whole, refused with a reason, compiled once."""

import os
from pathlib import Path

import pytest

from tests.hearing.tones import PRONUNCIATIONS, write_folder
from voicelog.errors import ModelError
from voicelog.hearing.graph import GraphCosts, from_phrases
from voicelog.hearing.lexicon import Lexicon
from voicelog.hearing.model_folder import ACOUSTIC, KEPT, OPENFST_MAGIC, Kind, Prepared, open_folder, prepared
from voicelog.hearing.recogniser import Recogniser, held_to, load, unknown_words
from voicelog.hearing.search import Search

LEXICON = Lexicon(PRONUNCIATIONS)
GRAPH = from_phrases(["one nine"])


@pytest.fixture
def folder(tmp_path) -> Path:
    return write_folder(tmp_path / "toy")


def add_fst(folder: Path, *names: str, data: bytes = OPENFST_MAGIC + b"\0" * 60) -> None:
    (folder / "graph").mkdir(exist_ok=True)
    (folder / "conf" / "model.conf").touch()
    for name in names:
        (folder / "graph" / name).write_bytes(data)


class TestOpening:
    def test_own(self, folder):
        assert open_folder(folder).kind is Kind.OWN

    def test_stock_with_run_time_graph(self, folder):
        add_fst(folder, "HCLr.fst", "Gr.fst")
        assert open_folder(folder).kind is Kind.STOCK

    def test_stock_without_its_options(self, folder):
        add_fst(folder, "HCLr.fst", "Gr.fst")
        (folder / "conf" / "model.conf").unlink()
        with pytest.raises(ModelError, match=r"conf/model\.conf is missing"):
            open_folder(folder)

    def test_fixed_graph_is_refused(self, folder):
        add_fst(folder, "HCLG.fst")
        with pytest.raises(ModelError, match="graph of this model is fixed.*Use the bundled model"):
            open_folder(folder)

    def test_no_folder(self, tmp_path):
        with pytest.raises(ModelError, match="no such model folder"):
            open_folder(tmp_path / "none")

    def test_a_file_is_no_folder(self, folder):
        with pytest.raises(ModelError, match="no such model folder"):
            open_folder(folder / ACOUSTIC)

    def test_empty_folder(self, tmp_path):
        with pytest.raises(ModelError, match=r"am/final\.mdl is missing"):
            open_folder(tmp_path)

    def test_without_features(self, folder):
        (folder / "conf" / "fbank.conf").unlink()
        with pytest.raises(ModelError, match=r"conf/fbank\.conf is missing"):
            open_folder(folder)

    def test_half_a_stock_model(self, folder):
        add_fst(folder, "HCLr.fst")
        (folder / "conf" / "fbank.conf").unlink()
        with pytest.raises(ModelError, match="not whole"):
            open_folder(folder)

    def test_broken_graph(self, folder):
        add_fst(folder, "HCLr.fst", "Gr.fst", data=b"not a graph")
        with pytest.raises(ModelError, match=r"HCLr\.fst is no OpenFst file"):
            open_folder(folder)

    @pytest.mark.parametrize("kept", [0, 1, 100, 0.5, -1])
    def test_network_cut_short(self, folder, kept):
        data = (folder / ACOUSTIC).read_bytes()
        (folder / ACOUSTIC).write_bytes(data[: int(len(data) * kept) if isinstance(kept, float) else kept])
        with pytest.raises(ModelError, match="no acoustic model, or is cut short"):
            open_folder(folder)

    def test_text_where_the_network_should_be(self, folder):
        (folder / ACOUSTIC).write_text("hello")
        with pytest.raises(ModelError, match="no acoustic model"):
            open_folder(folder)

    def test_a_network_damaged_inside_is_refused_before_vosk_sees_it(self, folder):
        data = (folder / ACOUSTIC).read_bytes()
        place = data.index(b"<Nnet3>")
        (folder / ACOUSTIC).write_bytes(data[:place] + b"<Nnet9>" + data[place + 7 :])
        with pytest.raises(ModelError, match="Nnet9"):
            prepared(open_folder(folder), GRAPH, LEXICON, cache=folder / "cache")


class TestCompiling:
    def compile(self, folder: Path, **rest):
        return prepared(open_folder(folder), rest.pop("graph", GRAPH), LEXICON, cache=folder / "cache", **rest).path

    def test_twice_is_once(self, folder):
        first = self.compile(folder)
        changed = (first / "graph" / "HCLG.fst").stat().st_mtime_ns
        assert self.compile(folder) == first
        assert (first / "graph" / "HCLG.fst").stat().st_mtime_ns == changed

    def test_anything_that_matters_makes_another(self, folder):
        paths = {
            self.compile(folder),
            self.compile(folder, graph=from_phrases(["nine one"])),
            self.compile(folder, costs=GraphCosts(word=7.0)),
            self.compile(folder, search=Search(beam=9.0)),
        }
        (folder / "conf" / "fbank.conf").write_text((folder / "conf" / "fbank.conf").read_text() + "--dither=3\n")
        assert len(paths | {self.compile(folder)}) == 5

    def test_the_cache_stays_small(self, folder):
        for number in range(KEPT + 3):
            path = self.compile(folder, costs=GraphCosts(word=float(number)))
            os.utime(path, (number, number))
        self.compile(folder, costs=GraphCosts(word=99.0))
        assert len(list((folder / "cache").iterdir())) == KEPT

    def test_what_another_program_may_be_about_to_load_is_left_alone(self, folder):
        lately = [self.compile(folder, costs=GraphCosts(word=float(number))) for number in range(KEPT + 3)]
        assert all(path.is_dir() for path in lately)

    def test_what_was_half_written_is_written_again(self, folder):
        path = self.compile(folder)
        (path / "complete").unlink()
        (path / "graph" / "HCLG.fst").write_bytes(b"")
        assert (self.compile(folder) / "graph" / "HCLG.fst").stat().st_size > 0

    def test_a_cache_that_cannot_be_written_is_no_obstacle(self, folder):
        (folder / "file").touch()
        path = prepared(open_folder(folder), GRAPH, LEXICON, cache=folder / "file" / "below").path
        assert (path / "graph" / "HCLG.fst").is_file()

    def test_a_word_without_pronunciation_is_named_and_nothing_is_kept(self, folder):
        with pytest.raises(ModelError, match="'gazebo'"):
            self.compile(folder, graph=from_phrases(["gazebo"]))
        assert not list((folder / "cache").glob("*/complete"))

    def test_vosk_loads_it(self, folder):
        Recogniser(prepared(open_folder(folder), GRAPH, LEXICON, cache=folder / "cache"))


class TestStock:
    def test_takes_no_grammar(self, folder):
        add_fst(folder, "HCLr.fst", "Gr.fst")
        with pytest.raises(ModelError, match="cannot take this grammar"):
            prepared(open_folder(folder), GRAPH, LEXICON)

    def test_own_takes_no_phrases(self, folder):
        with pytest.raises(ModelError, match="only a stock model"):
            held_to(open_folder(folder), ["one"])

    def test_missing_words_are_named_before_work_starts(self, folder):
        """Vosk itself would drop them without a word; any model's list of words is asked the same way."""
        path = prepared(open_folder(folder), GRAPH, LEXICON, cache=folder / "cache").path
        assert unknown_words(load(str(path)), ["one gazebo", "nine sacristy one"]) == ("gazebo", "sacristy")
        with pytest.raises(ModelError, match="does not know 1 of the words: gazebo"):
            Recogniser(Prepared(path, ("one gazebo",)))
