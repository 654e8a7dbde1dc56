"""How text becomes clauses and clauses become phonemes; and what a voice keeps ready."""

import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from voicelog.errors import GrammarError
from voicelog.resources import data_folder
from voicelog.talking.clauses import Clause, clauses
from voicelog.talking.natural import NaturalVoice
from voicelog.talking.pronouncing import respell, say_words, spoken_words
from voicelog.talking.repertoire import Repertoire

# The phonemes of the American dictionary that the voice was taught with; not among them: ɒ a Q ː
TAUGHT = set("bdfhjklmnpstvwzðŋɹɡʃʒʤʧθAIOWYiuæɑɔəɛɜɪʊʌɐᵊˈˌ ,;:.?!")


@pytest.mark.parametrize(
    ("text", "cut"),
    [
        ("", []),
        (" , ", []),
        ("kept", [("kept.", 0.14)]),
        ("circuit five, lights. pass", [("circuit five,", 0.07), ("lights.", 0.14), ("pass.", 0.14)]),
        ("affirm or negative?", [("affirm or negative?", 0.14)]),
        ("limit 1.37 ohms", [("limit 1.37 ohms.", 0.14)]),
        ("first: zed s; then\nring", [("first:", 0.09), ("zed s;", 0.10), ("then ring.", 0.14)]),
    ],
)
def test_text_is_cut_at_its_marks(text, cut):
    assert clauses(text) == tuple(Clause(words, rest) for words, rest in cut)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("zed s,", "zˈɛd ˈɛs,"),
        ("Zs.", "zˈɛd ˈɛs."),
        ("R1+R2,", "ˈɑɹ wˈʌn plˈʌs ˈɑɹ tˈu,"),
        ("r one plus r two,", "ˈɑɹ wˈʌn plˈʌs ˈɑɹ tˈu,"),
        ("r one, plus", "ˈɑɹ wˈʌn, <plus>"),  # a mark ends a run
        ("three megohms.", "θɹˈi mˈɛɡˌOmz."),
        ("thirty milliamps r c d", "θˈɜɹti mˈɪliˌæmps ˈɑɹ sˈi dˈi"),
        ("four four", "fˈɔɹ fˈɔɹ"),
        ("tea urn", "<tea> <urn>"),
    ],
)
def test_trade_words_come_from_the_table(text, said):
    assert say_words(text, spoken_words("natural"), lambda word: f"<{word}>") == said


@pytest.mark.parametrize(
    ("spelling", "british", "respelt"),
    [
        ("board", "bˈɔːd", "bˈɔɹd"),
        ("store", "stˈɔː", "stˈɔɹ"),
        ("quarter", "kwˈɔːtə", "kwˈɔɹtə"),
        ("hall", "hˈɔːl", "hˈɔl"),
        ("water", "wˈɔːtə", "wˈɔtə"),
        ("fault", "fˈɔːlt", "fˈɔlt"),
        ("nurse", "nˈɜːs", "nˈɜɹs"),
        ("near", "nˈɪə", "nˈɪɹ"),
        ("aluminium", "ˌaljʊmˈɪnɪəm", "ˌæljʊmˈɪniəm"),
        ("actual", "ˈakʧʊəl", "ˈækʧuəl"),
        ("square", "skwˈɛː", "skwˈɛɹ"),
        ("sockets", "sˈɒkɪts", "sˈɑkɪts"),
        ("cloak", "klˈQk", "klˈOk"),
        ("lamp", "lˈamp", "lˈæmp"),
    ],
)
def test_british_sounds_are_respelt_for_the_voice(spelling, british, respelt):
    assert respell(british, spelling) == respelt


def test_every_word_of_the_grammars_is_in_sounds_that_the_voice_was_taught():
    voice = NaturalVoice()
    files = (file for file in data_folder("grammars").glob("*.toml") if file.stem != "voice")
    spoken = (words for file in files for words in _said(tomllib.loads(file.read_text(encoding="utf-8"))))
    words = sorted({word for text in spoken for word in re.findall(r"[a-z]+", text)})
    assert len(words) > 150
    said = {word: voice.phonemes(word) for word in words}
    assert {word: phonemes for word, phonemes in said.items() if not phonemes or set(phonemes) - TAUGHT} == {}


def _said(tree):
    """All phrases under ``said`` and ``says``, however deep."""
    if isinstance(tree, str):
        yield tree
    for key, value in tree.items() if isinstance(tree, dict) else enumerate(tree if isinstance(tree, list) else ()):
        if isinstance(value, (dict, list)) or key in ("said", "says") or isinstance(tree, list):
            yield from _said(value)


def test_each_phoneme_of_the_table_is_in_the_voices_alphabet():
    import hibari

    alphabet = json.loads((Path(hibari.__file__).parent / "assets" / "vocab.json").read_text(encoding="utf-8"))
    for words, phonemes in spoken_words("natural").items():
        assert set(phonemes) <= TAUGHT & set(alphabet), words


@pytest.mark.parametrize(
    ("content", "wrong"),
    [
        ("[natural]\nFour = 'f'", "lower case"),
        ("[natural]\nfour = 4", "hold text"),
        ("[natural]\nfour = ''", "hold text"),
        ("[espeak]\nfour = 'four'", "cannot be read"),
        ("[natural", "cannot be read"),
        ("natural = 'four'", "table of its own"),
        ("[natural]\nfour = " + "[" * 5000, "cannot be read"),
    ],
)
def test_a_broken_table_is_refused_with_its_reason(tmp_path, content, wrong):
    (tmp_path / "voice.toml").write_text(content)
    with pytest.raises(GrammarError, match=wrong):
        spoken_words("natural", tmp_path)


# ------------------------------------------------------------ kept ready


class Counting:
    name = "counting"

    def __init__(self):
        self.made = []

    def render(self, clause, speed=1.0):
        self.made.append(clause)
        return np.full(100, 0.5, np.float32)


def test_what_was_learnt_is_not_made_again_even_by_the_next_visit(tmp_path):
    first = Repertoire(Counting(), tmp_path / "voice")
    assert first.learn(["pass.", "fail.", "pass."]) == 2
    later = Counting()
    again = Repertoire(later, tmp_path / "voice")
    assert again.learn(["pass.", "fail."]) == 0
    assert np.allclose(again.sound("pass."), 0.5, atol=1e-4) and later.made == []


def test_another_speed_is_another_sound(tmp_path):
    voice = Counting()
    ready = Repertoire(voice, tmp_path)
    ready.learn(["pass."], 1.0)
    ready.sound("pass.", 1.2)
    assert voice.made == ["pass.", "pass."]


def test_figures_stay_in_memory_and_a_cut_file_is_made_again(tmp_path):
    voice = Counting()
    ready = Repertoire(voice, tmp_path)
    ready.sound("zero point five two ohms.")
    ready.sound("zero point five two ohms.")
    assert voice.made == ["zero point five two ohms."] and not list(tmp_path.iterdir())
    ready.learn(["pass."])
    (file,) = tmp_path.iterdir()
    file.write_bytes(file.read_bytes()[:90])
    assert len(Repertoire(voice, tmp_path).sound("pass.")) == 100
    assert voice.made[-1] == "pass."


def test_a_folder_that_cannot_be_written_costs_no_prompt(tmp_path):
    (tmp_path / "file").write_text("")
    ready = Repertoire(Counting(), tmp_path / "file" / "voice")
    assert ready.learn(["pass."]) == 1
    assert len(ready.sound("pass.")) == 100
