"""The read-back bench: errors that are errors, a listener that decides, and counts that add up."""

import random
from decimal import Decimal

import pytest

from voicelog.model import Outcome, Place, Reading, Verdict
from voicelog.proving.listener import Listener
from voicelog.proving.mishearing import SHARES, Utterance, mishear
from voicelog.proving.readback import Way, bench_readback
from voicelog.proving.readings import round_of, said
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.talking.conversation import Pending, Policy
from voicelog.talking.phrasing import Phrasing

CALL = Utterance(
    ("circuit", "five"), ("earth", "leakage"), ("fifteen", "point", "two"), ("milliamps",)
)  # can suffer every kind


def test_shares_are_a_whole():
    assert sum(SHARES.values()) == pytest.approx(1)


def test_every_error_is_one_and_every_kind_comes_at_its_share():
    draw = random.Random(1)
    kinds = [mishear(CALL, draw) for _ in range(4000)]
    assert all(heard != CALL for _, heard in kinds)
    for kind, share in SHARES.items():
        assert sum(k == kind for k, _ in kinds) / 4000 == pytest.approx(share, abs=0.025)


def test_a_bare_word_that_nothing_resembles_suffers_no_error():
    assert mishear(Utterance((), (), ("over", "range")), random.Random(1)) is None


@pytest.mark.parametrize(
    ("kind", "part"),
    [
        ("digit", "value"),
        ("teen", "value"),
        ("lost", "value"),
        ("point", "value"),
        ("circuit", "place"),
        ("unit", "unit"),
        ("quantity", "quantity"),
    ],
)
def test_an_error_touches_one_part_only(kind, part):
    draw = random.Random(2)
    heard = next(heard for found, heard in (mishear(CALL, draw) for _ in range(2000)) if found == kind)
    changed = [name for name in ("place", "quantity", "value", "unit") if getattr(heard, name) != getattr(CALL, name)]
    assert changed == [part]


def test_drawn_readings_are_called_in_words_that_mean_them(grammar, sheet):
    # Both directions: what is called must be read as what was drawn, or the bench would count its own mistakes.
    draw, stage, phrasing = random.Random(3), Stage(grammar, sheet), Phrasing(grammar, sheet)
    for reading in round_of(sheet, draw):
        rehearsal = Rehearsal(stage, Policy.EVERY)
        rehearsal.say(said(reading, phrasing, draw).words)
        assert rehearsal.talk.pending.reading == reading


def test_a_round_calls_each_place_quantity_and_condition_once(sheet):
    plan = round_of(sheet, random.Random(4))
    keys = [(r.place.key, r.quantity, tuple(r.conditions.items())) for r in plan]
    assert len(keys) == len(set(keys)) > 50


@pytest.mark.parametrize(("notices", "objects"), [(0.0, 0), (1.0, 200)])
def test_a_listener_notices_as_often_as_stated(notices, objects):
    meant, other = (Reading(place=Place(board="DB1", circuit=c), quantity="zs", value=_ohms()) for c in "56")
    verdict = Verdict(outcome=Outcome.PASS, sentence="")
    listener = Listener(notices, random.Random(5))
    back = Pending(reading=other, verdict=verdict)
    assert sum(listener.objects(meant, verdict, back, asked=False) for _ in range(200)) == objects


def test_two_cues_are_missed_less_often_than_one():
    meant, other = (Reading(place=Place(board="DB1", circuit=c), quantity="zs", value=_ohms()) for c in "56")
    passed, failed = (Verdict(outcome=o, sentence="") for o in (Outcome.PASS, Outcome.FAIL))
    listener = Listener(0.6, random.Random(6))
    missed = {
        verdict.outcome: sum(
            not listener.objects(meant, passed, Pending(reading=other, verdict=verdict), False) for _ in range(4000)
        )
        for verdict in (passed, failed)
    }
    assert missed[Outcome.PASS] / 4000 == pytest.approx(0.4, abs=0.03)
    assert missed[Outcome.FAIL] / 4000 == pytest.approx(0.16, abs=0.03)


def _ohms():
    return {"kind": "number", "figure": Decimal("0.52")}


@pytest.fixture(scope="module")
def bench():
    return bench_readback(30)


def test_counts_add_up(bench):
    for arm in bench.arms:
        assert arm.readings == 30
        assert arm.refused + arm.chosen + arm.said_back == arm.seeded >= arm.misheard
        assert arm.kept_wrong <= arm.said_back and arm.objected <= arm.said_back
        assert arm.caught == pytest.approx(1 - arm.kept_wrong / arm.seeded)
        assert arm.caught_low <= arm.caught
    assert {arm.policy for arm in bench.arms} == {"every", "second-person"}


def test_the_same_seed_gives_the_same_counts(bench):
    assert bench_readback(30) == bench


def test_without_errors_nothing_is_kept_wrong(monkeypatch):
    monkeypatch.setattr("voicelog.proving.readback.NOTICES", (0.9,))
    monkeypatch.setattr("voicelog.proving.readback.SEEDED", 0.0)
    for arm in bench_readback(30).arms:
        assert (arm.seeded, arm.kept_wrong, arm.left_out) == (0, 0, 0)


def test_without_a_listener_what_the_grammar_lets_through_is_kept_wrong(monkeypatch):
    # The bench can fail: a listener who notices nothing lets every error stand that was said back.
    monkeypatch.setattr("voicelog.proving.readback.NOTICES", (0.0,))
    monkeypatch.setattr("voicelog.proving.listener.FALSE_ALARM", 0.0)
    for arm in bench_readback(63).arms:
        assert arm.kept_wrong == arm.said_back > 0


def test_what_is_not_said_back_is_no_cue():
    listener = Listener(1.0, random.Random(7))
    meant, other = (Reading(place=Place(board="DB1", circuit=c), quantity="zs", value=_ohms()) for c in "56")
    verdict = Verdict(outcome=Outcome.PASS, sentence="")
    back = Pending(reading=other, verdict=verdict)
    assert listener.objects(meant, verdict, back, asked=False, told=True)
    assert not listener.objects(meant, verdict, back, asked=False, told=False)


def test_where_the_recogniser_never_doubts_nothing_is_chosen(monkeypatch):
    monkeypatch.setattr("voicelog.proving.readback.DOUBTED", 0.0)
    monkeypatch.setattr("voicelog.proving.readback.NEEDLESS", 0.0)
    assert {arm.chosen for arm in bench_readback(30).arms} == {0}


def test_short_read_backs_in_a_sweep_say_the_value_alone(monkeypatch):
    spoken = []
    monkeypatch.setattr("voicelog.proving.readback.SEEDED", 0.0)
    monkeypatch.setattr("voicelog.proving.readback._lengths", lambda *arm: spoken.append(arm[2].backs) or {})
    monkeypatch.setattr("voicelog.proving.readback.WAYS", (Way(style="short", sweeping=True),))
    bench_readback(30, voice=object())
    assert any(speak.text == "over range" for speak in spoken[0])
