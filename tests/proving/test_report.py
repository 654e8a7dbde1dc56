"""One document for all figures: no bench is left out of it, and its headlines say what was measured."""

import json

import pytest
from typer.main import get_command

from voicelog.cli_bench import app
from voicelog.errors import InputError
from voicelog.proving.report import BENCHES, NO_FIGURES, Part, bench_report


def part(name: str, **figures) -> Part:
    return Part(name=name, command=f"bench {name}", passed=True, seconds=1.0, figures=figures)


KILLS = {"kills": 200, "lost": 0, "acknowledged": 960}
DAY = {"hours": 0.5, "missed": 0, "drift_ms": 0.1, "start_MB": 487, "rows": [{"resident_MB": 553}]}
FOUND = {
    "crash": part("crash", kills=KILLS, power_cuts=None),
    "tampering": part("tampering", kinds=[{"name": "a field edited", "tried": 102, "missed": 0}]),
    "fuzz": part("fuzz", cases=900, targets=[{"broken": ""}, {"broken": ""}]),
    "load": part(
        "load",
        rows=[{"entries": 10_000, "open_s": 0.31}],
        sheets=[{"circuits": 200, "open_s": 0.8}],
        crowds=[{"viewers": 50, "last_ms": 12.3}],
    ),
    "endurance": part("endurance", **DAY, utterances_a_block=[150, 150]),
}


def test_every_bench_is_in_it():
    assert {bench.name for bench in BENCHES} == set(get_command(app).commands) - NO_FIGURES


def test_every_bench_takes_its_options():
    commands = get_command(app).commands
    for bench in BENCHES:
        for options in (bench.short, bench.full):
            assert commands[bench.name].make_context(bench.name, [*options, "--json"]).params


def test_figures_of_all_go_into_one_document(tmp_path):
    ran = []

    def run(command):
        ran.append(command)
        return FOUND.get(command[0], part(command[0], x=1))

    proof = bench_report(tmp_path / "proof.md", run=run)
    assert [command[0] for command in ran] == [bench.name for bench in BENCHES if bench.name != "learn"]
    assert set(proof.left_out) == {"learn"} and proof.passed
    text = (tmp_path / "proof.md").read_text(encoding="utf-8")
    assert all(f"## {command[0]}" in text for command in ran)
    for line in (
        "200 kills of the writer lost 0 of 960 acknowledged readings.",
        "102 changes to a journal were tried, 0 of them missed. "
        "900 odd files, talks and requests broke 0 of 2 targets.",
        "0.5 hours of sound: 0 calls missed among 300 utterances, drift 0.1 ms, memory 487 to 553 MB. "
        "A journal of 10,000 entries opens in 0.3 s, a sheet of 200 circuits in 0.8 s; "
        "50 viewers have a reading 12 ms after it.",
    ):
        assert f"- {line}" in text


def test_a_bench_that_gives_no_figures_says_why(tmp_path):
    """In a real process."""
    proof = bench_report(tmp_path / "proof.json", people=tmp_path / "nobody", only=("learn",))
    [kept] = json.loads((tmp_path / "proof.json").read_text(encoding="utf-8"))["parts"]
    assert kept["passed"] is False and "nobody" in kept["why"] and not proof.passed


def test_what_is_not_known_is_refused(tmp_path):
    with pytest.raises(InputError, match="json or .md"):
        bench_report(tmp_path / "proof.doc")
    with pytest.raises(InputError, match="no figures called bananas"):
        bench_report(tmp_path / "proof.md", only=("bananas",))
