"""What many tests start from: the grammar, the sheet of the invented hall, a reader of the two."""

import pytest

from voicelog.keeping.sheet import load_sheet
from voicelog.meaning.grammar_files import load_grammar
from voicelog.meaning.parsing import Context, Reader
from voicelog.resources import data_folder


@pytest.fixture(scope="session")
def grammar():
    return load_grammar()


@pytest.fixture(scope="session")
def sheet():
    return load_sheet(data_folder("audio_samples") / "demo")


@pytest.fixture(scope="session")
def reader(grammar, sheet):
    return Reader(grammar, sheet)


@pytest.fixture(scope="session")
def context():
    return Context(board="DB1")
