"""Grammar files that break their rules are refused by file and entry."""

import re
import shutil
import tomllib

import pytest

from voicelog.errors import GrammarError
from voicelog.meaning.grammar_files import load_grammar
from voicelog.resources import data_folder


@pytest.mark.parametrize(
    ("file", "right", "wrong", "words"),
    [
        ("commands", 'then = "retest"', 'then = "again"', r"commands\.toml, unplugged"),
        ("commands", '["(start|begin)", "sweep"]', '["(start|begin", "sweep"]', r"commands\.toml, start_sweep"),
        ("commands", 'before = ["negative"]', 'before = ["Negative"]', r"commands\.toml, correction"),
        ("results", '["limitation"', '["(limitation"', r"results\.toml, limitation"),
        ("results", 'for = "no_trip"', 'for = "name"', r"results\.toml, no_trip"),
        ("places", 'to = ["to"]', 'to = ["to)"]', r"places\.toml, to"),
        ("places", '"[code] c one"', '"[code c one"', r"places\.toml, C1"),
        ("sequences", "multiple=0.5", "multiple=0.7", r"sequences\.toml, rcd"),
        ("sequences", "multiple=0.5", "times=0.5", r"sequences\.toml, rcd"),
        ("numbers", '["less than", "below"]', '["less than", "below)"]', r"numbers\.toml, <"),
        ("fixed-wiring", 'default = "500"', 'default = "50"', r"fixed-wiring\.toml, ir_ll"),
        ("fixed-wiring", '"ring line"', '"ring wire"', r"fixed-wiring\.toml, ring_r1"),
        ("fixed-wiring", 'units = ["ohm"]', 'units = ["ohms"]', r"fixed-wiring\.toml, r1_r2"),
    ],
)
def test_what_breaks_a_rule_is_named_by_file_and_entry(tmp_path, file, right, wrong, words):
    folder = shutil.copytree(data_folder("grammars"), tmp_path / "grammars")
    path = folder / f"{file}.toml"
    text = path.read_text(encoding="utf-8")
    assert right in text
    path.write_text(text.replace(right, wrong), encoding="utf-8")
    with pytest.raises(GrammarError, match=words):
        load_grammar(folder=folder)


@pytest.mark.parametrize(
    ("file", "table"),
    [
        ("fixed-wiring", "quantity"),
        ("commands", "command"),
        ("results", "result"),
        ("sequences", "sequence"),
    ],
)
def test_every_file_explains_each_field_and_what_a_command_takes(file, table):
    text = data_folder("grammars").joinpath(f"{file}.toml").read_text(encoding="utf-8")
    header = text[: text.index("\n[[")]
    entries = tomllib.loads(text)[table]
    words = {field for entry in entries for field in entry} | {f'"{e["takes"]}"' for e in entries if "takes" in e}
    assert [word for word in sorted(words) if not re.search(rf"(?<!\w){word}(?!\w)", header)] == []


def test_a_comparison_is_said_back_as_the_file_first_says_it(tmp_path):
    folder = shutil.copytree(data_folder("grammars"), tmp_path / "grammars")
    path = folder / "numbers.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"(greater|more) than"', '"over"'), encoding="utf-8")
    words = load_grammar(folder=folder).numbers
    assert words.spoken_comparison[">"] == "over"
