"""Nothing opens the network: commands run in a namespace that has none, and under a home folder with any name."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*command, **options):
    return subprocess.run([*map(str, command)], capture_output=True, text=True, timeout=300, cwd=ROOT, **options)


def without_network():
    """The start of a command that runs in a network namespace of its own, with nothing in it."""
    unshare = shutil.which("unshare")
    start = [unshare, "--net"] if os.geteuid() == 0 else [unshare, "--map-root-user", "--net"]
    if unshare is None or run(*start, "true").returncode:
        pytest.skip("this system lets nobody make a network namespace")
    return start


def test_hearing_and_understanding_need_no_network():
    recording = sorted((ROOT / "audio_samples" / "people").glob("*.flac"))[0]
    done = run(*without_network(), sys.executable, "-m", "voicelog", "hear", recording, "--json")
    assert done.returncode == 0, done.stderr


def test_a_visit_needs_no_network(tmp_path):
    (tmp_path / "job.toml").write_bytes((ROOT / "audio_samples" / "demo" / "job.toml").read_bytes())
    command = [sys.executable, "-m", "voicelog", "listen", tmp_path, "--typed"]
    done = run(*without_network(), *command, input="circuit one polarity pass\naffirm\n")
    assert "1 reading on the record" in done.stdout


def test_any_home_folder_will_do(tmp_path):
    home = tmp_path / "zuhause Žofie 家"
    job = home / "Saal 2"
    job.mkdir(parents=True)
    (job / "job.toml").write_bytes((ROOT / "audio_samples" / "demo" / "job.toml").read_bytes())
    recording = home / "aufnahme Ω.flac"
    shutil.copy(sorted((ROOT / "audio_samples" / "people").glob("*.flac"))[0], recording)
    environment = {**os.environ, "HOME": str(home), "XDG_CACHE_HOME": str(home / "Zwischenlager")}
    done = run(sys.executable, "-m", "voicelog", "listen", job, "--from", recording, "--silent", env=environment)
    assert done.returncode == 0, done.stderr
    assert (home / "Zwischenlager").is_dir()
