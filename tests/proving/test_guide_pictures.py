"""The guide's pictures: those it names exist and are small, and the command makes the same ones."""

import re
import struct
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from voicelog import demonstration
from voicelog.errors import DeviceError
from voicelog.hearing.ear import ScriptedEar
from voicelog.proving import browser, guide_pictures
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import run

ROOT = Path(__file__).parent.parent.parent
NAMED = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
SAID = ["tea urn earth leakage six point eight milliamps", "affirm", "circuit two zed s nine point nine ohms", "affirm"]


def looks_like(path: Path) -> tuple[int, int]:
    """Width and height of a PNG or an SVG, from its own first bytes."""
    data = path.read_bytes()
    if path.suffix == ".svg":
        root = ElementTree.fromstring(data)
        return int(float(root.get("width"))), int(float(root.get("height")))
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    return struct.unpack(">II", data[16:24])


def typed_demo(out, voice, console):
    """In place of three quarters of a minute of recording: a few typed lines."""
    job = demonstration.lay_out(out)
    return run(open_visit(job), ScriptedEar(SAID), SilentMouth(), Policy.EVERY, Watcher())


def test_the_pictures_of_the_readme_exist_and_are_small():
    assert {Path(name).suffix for name in NAMED} == {".png", ".svg"} and len(NAMED) == 3
    assert sum((ROOT / name).stat().st_size for name in NAMED) < 300_000
    assert {path.name for path in (ROOT / ".pictures").iterdir()} == {Path(name).name for name in NAMED}


def test_one_command_makes_them(tmp_path, monkeypatch):
    from voicelog.cli_bench import app

    monkeypatch.setattr(guide_pictures, "run_demo", typed_demo)
    done = CliRunner().invoke(app, ["pictures", str(tmp_path / "new")])
    if isinstance(done.exception, DeviceError):
        pytest.skip(str(done.exception))
    assert done.exit_code == 0, done.output
    for name in NAMED:
        made = tmp_path / "new" / Path(name).name
        assert looks_like(made)[0] == looks_like(ROOT / name)[0], name
        assert f"wrote {made}" in done.output


def test_without_a_browser_it_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(browser, "NAMES", ())
    (tmp_path / "job.toml").write_bytes((data_folder("audio_samples") / "demo" / "job.toml").read_bytes())
    with pytest.raises(DeviceError, match="Chromium"):
        list(guide_pictures.make(tmp_path, tmp_path / "pictures"))
