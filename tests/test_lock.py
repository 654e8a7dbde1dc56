"""What .ci/run installs is written down, version by version and hash by hash, and is what pyproject.toml asks for."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
LOCK = (ROOT / ".ci" / "lock.txt").read_text(encoding="ascii")
PINNED = [Requirement(line.split("\\")[0]) for line in LOCK.splitlines() if re.match(r"[a-z0-9]", line)]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
WANTED = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]


@pytest.mark.parametrize("text", WANTED)
def test_every_dependency_is_locked_at_a_version_it_admits(text):
    wanted = Requirement(text)
    versions = [str(one.specifier).removeprefix("==") for one in PINNED if one.name == canonicalize_name(wanted.name)]
    assert versions and all(wanted.specifier.contains(version) for version in versions)


def test_every_package_has_one_version_and_its_hashes():
    entries = re.findall(r"^[a-z0-9-]+==\S+[^\n]*((?: \\\n    --hash=sha256:[0-9a-f]{64})+)$", LOCK, re.MULTILINE)
    assert len(entries) == len(PINNED) > 80
    assert all(re.fullmatch(r"==[^*,]+", str(one.specifier)) and one.url is None for one in PINNED)
    assert "//" not in LOCK


def test_what_the_locked_packages_need_is_locked_too():
    """As far as they are installed here; what they need under other names of system or version is left out."""
    names = {one.name for one in PINNED}
    needed = {(name, canonicalize_name(wanted.name)) for name in names for wanted in _needs(name)}
    assert [pair for pair in needed if pair[1] not in names] == []
    assert len(needed) > 50


def _needs(name: str) -> list[Requirement]:
    try:
        found = [Requirement(text) for text in requires(name) or ()]
    except PackageNotFoundError:
        return []
    return [one for one in found if one.marker is None or one.marker.evaluate({"extra": ""})]
