"""The guides under test: what they show is what the program does."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from voicelog.talking.picture import table

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_picture_of_the_dialogue_is_the_table():
    assert table() in DEVELOPERS


def test_the_path_of_a_reading_is_the_real_one():
    shown = DEVELOPERS.split("prints it:", 1)[1]
    sentence = "circuit nine zed s nought point seven two ohms"
    done = subprocess.run(
        [sys.executable, "-m", "voicelog", "trace", sentence], capture_output=True, text=True, cwd=ROOT
    )
    rooms = re.findall(r"[a-z]+/[a-z_]+\.py", done.stdout)
    assert rooms == re.findall(r"[a-z]+/[a-z_]+\.py", shown.split("```")[1])


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_file_named_exists(document):
    named = set(re.findall(r"`((?:[a-z_]+/)+[a-z_\-]+\.(?:py|toml|md|flac))`", document))
    missing = [name for name in named if not any((ROOT / base / name).exists() for base in ("", "voicelog"))]
    assert missing == []


def test_every_command_of_the_readme_exists():
    from typer.main import get_command

    from voicelog.cli import app

    known = get_command(app).commands
    named = set(re.findall(r"voicelog ([a-z]+)(?=[ `\n])", README)) - {"is", "listens", "said"}
    assert named <= set(known), named - set(known)
