"""Odd input: some of every kind each time, the same ones; and those that once broke something.

A long run is ``voicelog bench fuzz --minutes M``.
"""

import stat

import pytest

from voicelog.errors import InputError, KeepingError
from voicelog.keeping.pack import unpack
from voicelog.proving import fuzzing
from voicelog.proving.fuzzing import bench_fuzzing, feed
from voicelog.proving.odd_input import Member
from voicelog.proving.targets import TARGETS, Target, good_pack, vouched_for
from voicelog.resources import data_folder

BY_NAME = {target.name: target for target in TARGETS}
CASES = {"grammar files": 30, "job sheets": 50}
NUMBERS = (data_folder("grammars") / "numbers.toml").read_text(encoding="utf-8")
DEEP, LONG = "[" * 1500 + "]" * 1500, "1" * 5000


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_odd_input_is_taken_or_refused_in_words(target: Target):
    found = feed(target, at_once=CASES.get(target.name, 60), repeatable=True)
    assert not found.broken, found.broken
    assert found.cases >= 30


KEPT = [
    *(("grammar files", ((name, f"x = {value}"), False)) for name in ("units", "numbers") for value in (DEEP, LONG)),
    ("grammar files", (("units", 'said = ["ohms"]'), False)),  # a unit that is no table
    ("grammar files", (("commands", "command = 7"), False)),
    ("grammar files", (("commands", "command = [7]"), False)),
    ("grammar files", (("sequences", '[[sequence]]\nkey = "x"\nsteps = ["zs: multiple"]'), False)),
    ("grammar files", (("numbers", "digits = 7"), False)),
    ("grammar files", (("numbers", NUMBERS.replace('"0" = ["zero", "nought", "oh"]', "")), True)),  # no nought
    ("grammar files", (("numbers", NUMBERS.replace('["one"]', "[]")), True)),
    ("grammar files", (("numbers", NUMBERS.replace('["one"]', '"one"')), True)),
    *(("pronunciations", f"zed = {value}") for value in (DEEP, LONG)),
    *(("job sheets", (f"x = {value}", False)) for value in (DEEP, LONG)),
    *(("limit editions", f"label = {value}") for value in (DEEP, LONG)),
]


@pytest.mark.parametrize(("name", "case"), KEPT, ids=range(len(KEPT)))
def test_what_once_broke_something(name: str, case: object):
    BY_NAME[name].holds(case)


def pack_with(*members: Member) -> bytes:
    return vouched_for([*(Member(name, data) for name, data in good_pack().items()), *members])


@pytest.mark.parametrize(
    "member",
    [
        Member("CON", b"x"),
        Member("clips/com1.flac", b"x"),
        Member("clips/NUL .txt", b"x"),
        Member("x" * 300, b"x"),
        Member("../evil", b"x"),
        Member("evil", b"../../evil", stat.S_IFLNK | 0o777),
        Member("bomb", bytes(3_000_000)),
    ],
    ids=lambda member: member.name[:12],
)
def test_a_pack_that_means_harm_unpacks_to_nothing(member: Member, tmp_path):
    (tmp_path / "packed").write_bytes(pack_with(member))
    with pytest.raises(KeepingError, match="leave the folder|no plain file|swell"):
        unpack(tmp_path / "packed", tmp_path / "job")
    assert [path.name for path in tmp_path.iterdir()] == ["packed"]


def test_a_target_that_breaks_is_found_out():
    breaks = Target("x", BY_NAME["pronunciations"].draws, lambda case: 1 // (len(case) % 2))
    found = feed(breaks, at_once=50)
    assert "ZeroDivisionError" in found.broken and "Failing test case" in found.broken


def test_a_target_is_named():
    found = bench_fuzzing(0.0, "pronunciations")
    assert found.passed and found.cases >= fuzzing.AT_ONCE
    with pytest.raises(InputError, match="One of: grammar files, pronunciations"):
        bench_fuzzing(0.0, "bananas")
