"""A built wheel, installed into an environment without the checkout, carries its data and runs."""

import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*command, cwd):
    return subprocess.run([str(part) for part in command], capture_output=True, text=True, cwd=cwd, timeout=300)


@pytest.fixture(scope="module")
def environment(tmp_path_factory):
    """A fresh environment with the wheel in it; the packages it depends on are lent, voicelog itself is not."""
    folder = tmp_path_factory.mktemp("wheel")
    built = run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT, cwd=folder)
    assert built.returncode == 0, built.stderr
    wheel = next(folder.glob("*.whl"))
    venv.create(folder / "env", with_pip=True)
    python = folder / "env" / "bin" / "python"
    installed = run(python, "-m", "pip", "install", "--no-deps", "--no-index", wheel, cwd=folder)
    assert installed.returncode == 0, installed.stderr
    own = next((folder / "env" / "lib").glob("python*/site-packages"))
    (own / "lent.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    return folder


def test_the_wheel_runs_from_its_own_files(environment):
    python = environment / "env" / "bin" / "python"
    shown = run(python, "-c", "import voicelog; print(voicelog.__file__)", cwd=environment)
    assert Path(shown.stdout.strip()).is_relative_to(environment / "env")
    command = environment / "env" / "bin" / "voicelog"
    traced = run(command, "trace", "circuit nine zed s nought point seven two ohms", cwd=environment)
    assert traced.returncode == 0, traced.stderr
    assert "At most 2.18 ohm" in traced.stdout


def test_the_wheel_carries_its_model_and_nothing_else_of_the_checkout(environment):
    own = next((environment / "env" / "lib").glob("python*/site-packages")) / "voicelog"
    for part in ("_data/grammars/numbers.toml", "_data/shared/editions", "hearing/model/am/final.mdl"):
        assert (own / part).exists(), part
    assert not (own / "tests").exists()
