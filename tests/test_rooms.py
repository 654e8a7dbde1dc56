"""Arrows point one way: each room knows the nouns and the rooms named here, and training is known by nobody."""

import ast
from pathlib import Path

import pytest

import voicelog

PACKAGE = Path(voicelog.__file__).parent
NOUNS = {"model", "errors", "installation", "resources", "counting", "reasons"}
KNOWS = {
    "hearing": NOUNS,
    "checking": NOUNS,
    "meaning": NOUNS,
    "keeping": NOUNS,
    "showing": NOUNS | {"keeping"},
    "talking": NOUNS | {"checking", "meaning", "keeping"},
    "learning": NOUNS | {"hearing", "meaning", "keeping"},
}
FILES = sorted(file for file in PACKAGE.rglob("*.py") if "_data" not in file.parts)


def known(file: Path) -> set[str]:
    """The rooms and modules of the package that a file imports, wherever in it."""
    nodes = list(ast.walk(_tree(file)))
    names = [node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)]
    names += [alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names]
    return {name.split(".")[1] for name in names if name.startswith("voicelog.")}


@pytest.mark.parametrize("room", KNOWS)
def test_a_room_knows_no_room_above_it(room):
    files = [file for file in FILES if file.relative_to(PACKAGE).parts[0] == room]
    assert files
    strange = {file.name: known(file) - KNOWS[room] - {room} for file in files}
    assert {name: rooms for name, rooms in strange.items() if rooms} == {}


def test_nobody_but_itself_imports_training():
    outside = [file for file in FILES if file.relative_to(PACKAGE).parts[0] != "training"]
    assert [file.name for file in outside if "training" in known(file)] == []


def test_every_file_says_what_it_is():
    silent = [str(file.relative_to(PACKAGE)) for file in FILES if not ast.get_docstring(_tree(file))]
    assert [name for name in silent if not name.endswith("__init__.py") and name != "__main__.py"] == []


def _tree(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"))
