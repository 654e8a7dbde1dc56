"""Arrows point one way: checking knows the nouns, the errors and its data, and no other room."""

import ast
from pathlib import Path

import pytest

import voicelog.checking
from voicelog.resources import data_folder

ROOM = Path(voicelog.checking.__file__).parent
ALLOWED = ("voicelog.checking", "voicelog.model", "voicelog.errors", "voicelog.installation", "voicelog.resources")
FILES = sorted(ROOM.rglob("*.py"))


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_imports(file):
    nodes = ast.walk(ast.parse(file.read_text(encoding="utf-8")))
    names = [n.module for n in nodes if isinstance(n, ast.ImportFrom) and n.module and n.module.startswith("voicelog")]
    assert all(name.startswith(ALLOWED) for name in names), names


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_every_file_says_what_it_is(file):
    assert ast.get_docstring(ast.parse(file.read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", ["conductors.toml", "appliances.toml"])
def test_shared_data_carries_its_sources(name):
    text = data_folder("shared").joinpath(name).read_text(encoding="utf-8")
    tables = text.count("\n[")
    assert text.count("\nsource = ") == text.count("\nmark = ") == tables
