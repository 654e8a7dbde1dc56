from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.keeping.conftest import NOON, reading
from voicelog.keeping.chain import Head, entry_of, forge
from voicelog.keeping.record import Record, fold
from voicelog.model import Draft, Entry, EntryKind, Place, Reading, Standing

PLACE = Place(board="DB1", circuit="5")
K = EntryKind


def journal(*drafts: Draft) -> tuple[Entry, ...]:
    entries: list[Entry] = []
    head = Head()
    for draft in drafts:
        entries.append(entry_of(forge(draft, head, NOON + timedelta(seconds=head.number))))
        head = Head(entries[-1].number, entries[-1].digest)
    return tuple(entries)


def said(figure: str, refers: int | None = None, **conditions: str) -> Draft:
    kind = K.CALLED if refers is None else K.CORRECTED
    return Draft(kind=kind, reading=reading(figure, **conditions), refers=refers)


def about(kind: EntryKind, refers: int) -> Draft:
    return Draft(kind=kind, refers=refers)


def standings(record: Record) -> list[str]:
    return [line.standing.value for line in record.lines]


def figures(lines) -> list[str]:  # noqa: ANN001
    return [str(line.reading.value.figure) for line in lines]


@pytest.mark.parametrize(
    ("drafts", "expected", "current"),
    [
        ([said("1.20")], ["awaiting"], []),
        ([said("1.20"), about(K.AFFIRMED, 1)], ["affirmed"], ["1.20"]),
        ([said("1.20"), about(K.STOOD, 1)], ["unchallenged"], ["1.20"]),
        ([said("1.20"), about(K.STOOD, 1), about(K.AFFIRMED, 1)], ["affirmed"], ["1.20"]),
        ([said("1.20"), about(K.AFFIRMED, 1), about(K.STOOD, 1)], ["affirmed"], ["1.20"]),
        ([said("1.20"), about(K.WITHDRAWN, 1)], ["withdrawn"], []),
        # an affirmation that comes after the withdrawal brings nothing back
        ([said("1.20"), about(K.WITHDRAWN, 1), about(K.AFFIRMED, 1)], ["withdrawn"], []),
        ([said("1.20"), about(K.WITHDRAWN, 1), about(K.RESTORED, 1)], ["awaiting"], []),
        ([said("1.20"), about(K.AFFIRMED, 1), about(K.WITHDRAWN, 1), about(K.RESTORED, 1)], ["affirmed"], ["1.20"]),
        # restored through the entry that withdrew it
        ([said("1.20"), about(K.AFFIRMED, 1), about(K.WITHDRAWN, 1), about(K.RESTORED, 3)], ["affirmed"], ["1.20"]),
        # a correction disowns at once and counts once answered
        ([said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1)], ["replaced", "awaiting"], []),
        ([said("1.20"), said("1.02", 1), about(K.AFFIRMED, 2)], ["replaced", "affirmed"], ["1.02"]),
        # an unconfirmed correction withdrawn gives its place back
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), about(K.WITHDRAWN, 3)],
            ["affirmed", "withdrawn"],
            ["1.20"],
        ),
        # a confirmed correction withdrawn does not bring back what was known to be wrong
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), about(K.AFFIRMED, 3), about(K.WITHDRAWN, 3)],
            ["replaced", "withdrawn"],
            [],
        ),
        # undoing a correction: the first counts again, the correction does not
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), about(K.AFFIRMED, 3), about(K.RESTORED, 1)],
            ["affirmed", "replaced"],
            ["1.20"],
        ),
        # and undoing that once more
        (
            [
                said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), about(K.AFFIRMED, 3), about(K.RESTORED, 1),
                about(K.RESTORED, 3),
            ],
            ["replaced", "affirmed"],
            ["1.02"],
        ),
        # a correction of a correction; the last unconfirmed one withdrawn
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), said("1.03", 3), about(K.WITHDRAWN, 4)],
            ["replaced", "awaiting", "withdrawn"],
            [],
        ),
        # that withdrawal undone: the correction is back, and the first is replaced once more
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), about(K.WITHDRAWN, 3), about(K.RESTORED, 3)],
            ["replaced", "awaiting"],
            [],
        ),
        # the first restored past two corrections: the one that counts in its place goes
        (
            [
                said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), said("1.03", 3), about(K.AFFIRMED, 4),
                about(K.RESTORED, 1),
            ],
            ["affirmed", "replaced", "replaced"],
            ["1.20"],
        ),
        # a first value withdrawn for itself stays withdrawn when its correction goes
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.02", 1), about(K.WITHDRAWN, 1), about(K.WITHDRAWN, 3)],
            ["withdrawn", "withdrawn"],
            [],
        ),
        # a retest: the first stays, the last that stands is current
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.19"), about(K.AFFIRMED, 3)],
            ["affirmed", "affirmed"],
            ["1.19"],
        ),
        # an unanswered retest hides nothing
        ([said("1.20"), about(K.AFFIRMED, 1), said("1.19")], ["affirmed", "awaiting"], ["1.20"]),
        (
            [said("1.20"), about(K.AFFIRMED, 1), said("1.19"), about(K.WITHDRAWN, 3)],
            ["affirmed", "withdrawn"],
            ["1.20"],
        ),
        # references that lead nowhere change nothing
        ([said("1.20"), about(K.AFFIRMED, 7), about(K.WITHDRAWN, 0)], ["awaiting"], []),
        ([about(K.AFFIRMED, 2), said("1.20")], ["awaiting"], []),
    ],
)  # fmt: skip
def test_what_the_entries_amount_to(drafts: list[Draft], expected: list[str], current: list[str]):
    record = fold(journal(*drafts))
    assert standings(record) == expected
    assert figures(record.current) == current
    latest = record.latest(PLACE, "zs")
    assert figures([latest] if latest else []) == current


def test_conditions_tell_readings_apart():
    record = fold(
        journal(
            said("21", multiple="1", half_cycle="0"), about(K.AFFIRMED, 1),
            said("24", half_cycle="180", multiple="1"), about(K.AFFIRMED, 3),
            said("22", half_cycle="0", multiple="1"), about(K.AFFIRMED, 5),
        )
    )  # fmt: skip
    assert figures(record.current) == ["22", "24"]
    assert figures(record.chain(PLACE, "zs", {"multiple": "1", "half_cycle": "0"})) == ["21", "22"]
    assert figures(record.chain(PLACE, "zs")) == ["21", "24", "22"]
    assert record.latest(PLACE, "zs").number == 5  # type: ignore[union-attr]
    assert record.latest(PLACE, "zs", {}) is None
    assert record.latest(Place(board="DB1", circuit="6"), "zs") is None


def test_a_correction_was_taken_for_the_same_reason_unless_it_belongs_elsewhere():
    why, other = "unplugged tea urn", Place(board="DB1", circuit="6")
    moved = reading("0.9").model_copy(update={"place": other})
    record = fold(
        journal(
            said("0.7").model_copy(update={"reason": why}),
            said("0.8", refers=1),
            said("0.9", refers=2).model_copy(update={"reason": "misread"}),
            Draft(kind=K.CORRECTED, reading=moved, refers=3),
        )
    )
    assert [line.reason for line in record.lines] == [why, why, why, ""]


def test_a_circuit_and_an_rcd_of_one_name_are_two_places():
    on_rcd = Reading(place=Place(board="DB1", rcd="5"), quantity="zs", value=reading().value, unit="ohm")
    record = fold(journal(said("1.20"), Draft(kind=K.CALLED, reading=on_rcd)))
    assert figures(record.chain(PLACE, "zs")) == ["1.20"]
    assert len(record.chain(Place(board="DB1", rcd="5"), "zs")) == 1


def test_lists_for_the_desk():
    record = fold(
        journal(
            said("1.20"), about(K.AFFIRMED, 1), said("1.19"), said("0.40", multiple="1"), about(K.WITHDRAWN, 4),
            Draft(kind=K.NOTED, detail={"text": "scorched"}), Draft(kind=K.MOVED, place=PLACE),
            Draft(kind=K.REVIEWED, refers=1, reason="signed"), Draft(kind=K.REVIEWED, reason="all read"),
        )
    )  # fmt: skip
    assert figures(record.unconfirmed) == ["1.19"]
    assert [entry.number for entry in record.notes] == [6]
    assert [entry.number for entry in record.others] == [7, 9]
    assert [entry.number for entry in record.line(1).history] == [1, 2, 8]  # type: ignore[union-attr]
    assert record.line(8) == record.line(1)
    assert record.line(7) is None
    assert len(record.at(PLACE)) == 3


@st.composite
def histories(draw: st.DrawFn) -> tuple[Entry, ...]:
    drafts = []
    for _ in range(draw(st.integers(0, 14))):
        kind = draw(st.sampled_from(list(EntryKind)))
        refers = draw(st.none() | st.integers(0, 15))
        carries = kind in (K.CALLED, K.CORRECTED) and draw(st.booleans() | st.just(True))
        one = reading(draw(st.sampled_from(["1", "2"])), draw(st.sampled_from(["5", "6"]))) if carries else None
        drafts.append(Draft(kind=kind, refers=refers, reading=one))
    return journal(*drafts)


@given(histories())
def test_no_entry_is_ever_lost(entries: tuple[Entry, ...]):
    record = fold(entries)
    seen = {entry.number for line in record.lines for entry in line.history}
    seen |= {entry.number for entry in (*record.notes, *record.others)}
    assert seen == {entry.number for entry in entries}
    readings = [entry for entry in entries if entry.reading]
    assert [line.entry for line in record.lines] == readings


@given(histories(), st.integers(0, 14))
def test_replayed_at_once_or_one_by_one_is_the_same(entries: tuple[Entry, ...], cut: int):
    whole = fold(entries)
    step = Record()
    for entry in entries:
        step = step.with_entry(entry)
    assert step == whole
    assert fold(entries[cut:], fold(entries[:cut])) == whole


@given(histories())
def test_nothing_stands_that_nobody_answered(entries: tuple[Entry, ...]):
    record = fold(entries)
    answered = {K.AFFIRMED, K.STOOD}
    for line in record.lines:
        if line.stands:
            assert answered & {entry.kind for entry in line.history}
    assert len({line.key for line in record.current}) == len(record.current)


@given(histories())
def test_what_is_restored_counts_and_no_correction_counts_beside_what_it_corrects(entries: tuple[Entry, ...]):
    record = fold(entries)
    if entries and entries[-1].kind is K.RESTORED and (line := record.line(entries[-1].number)):
        assert line.removed is None
        refers = line.entry.refers or 0
        corrects = line.entry.kind is K.CORRECTED and refers < line.number  # what comes later it cannot have meant
        if corrects and (first := record.line(refers)) and first != line:
            assert first.removed is not None


@given(histories())
def test_earlier_records_are_not_touched_by_later_entries(entries: tuple[Entry, ...]):
    half = fold(entries[: len(entries) // 2])
    before = (half.lines, dict(half.line_of), dict(half.spots))
    fold(entries[len(entries) // 2 :], half)
    assert (half.lines, dict(half.line_of), dict(half.spots)) == before


def test_standing_words_are_all_reachable():
    assert {Standing(word) for word in ("awaiting", "affirmed", "unchallenged", "replaced", "withdrawn")} == set(
        Standing
    )


def test_once_stood_foretells_what_stands():
    drafts = (said("0.4"), said("0.6"), about(K.AFFIRMED, 1))
    record = fold(journal(*drafts))
    assert standings(record.once_stood(2)) == standings(fold(journal(*drafts, about(K.STOOD, 2))))
    assert record.once_stood(1) == record == record.once_stood(99)
