"""The schedule: what stands, lossless as JSON, true to its published schema, flat as CSV."""

import csv
import io
import json
from decimal import Decimal

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.showing import sample
from voicelog.errors import InputError
from voicelog.model import EntryKind, Number, Outcome, Place, Reading
from voicelog.showing.columns import COLUMNS, column_guide, to_csv
from voicelog.showing.schedule import read_schedule, schedule_of, schema, to_json
from voicelog.showing.wording import load_wording

ENTRIES = sample.story()
SCHEDULE = schedule_of(sample.sheet(), ENTRIES, {"DB1/5": Decimal("1.37")})
NOT_IN_A_COLUMN = set()  # quantities that stand only under remarks


def table(schedule=SCHEDULE):
    rows = csv.DictReader(io.StringIO(to_csv(schedule)))
    return {"/".join(filter(None, (row["board"], row["number"]))): row for row in rows}


def table_of(*readings: Reading):
    tell = sample.Story()
    for reading in readings:
        tell.affirmed("words", reading)
    return table(schedule_of(sample.sheet(), tell.entries))


# ------------------------------------------------------------------ what stands


def test_a_row_for_the_board_each_rcd_and_each_circuit_in_board_order():
    kinds = [row.kind for row in SCHEDULE.rows]
    assert kinds == ["board", "rcd", "rcd", *["circuit"] * 9]
    assert [row.place.circuit for row in SCHEDULE.rows[3:]] == list("123456789")


def test_the_correction_and_the_retest_count_and_what_was_withdrawn_does_not():
    rows = table()
    assert (rows["DB1/5"]["zs_ohm"], rows["DB1/5"]["ir_live_earth_Mohm"]) == ("0.27", "2.50")
    assert rows["DB1/3"]["zs_ohm"] == ""
    assert "IR L-E taken 2 times" in rows["DB1/5"]["remarks"]
    assert "unplugged the tea urn" in rows["DB1/5"]["remarks"]


def test_an_unanswered_reading_is_listed_apart_and_never_on_the_schedule():
    assert table()["DB1/7"]["ir_live_earth_Mohm"] == ""
    assert [(u.line, u.place.key) for u in SCHEDULE.unsettled] == [(47, "DB1/7")]
    marked = [place for place, row in table().items() if "not yet answered: " in row["remarks"]]
    assert marked == ["DB1/7"]


def test_a_place_that_the_sheet_lacks_still_has_a_row():
    rows = table_of(sample.reading(Place(board="DB9", circuit="1"), "zs", "0.50", "ohm"))
    assert rows["DB9/1"]["zs_ohm"] == "0.50"


def test_observations_and_the_head_come_along():
    assert [(o.code, o.place.key) for o in SCHEDULE.noted] == [("C1", "DB1/7")]
    assert (SCHEDULE.journal_entries, SCHEDULE.journal_head) == (len(ENTRIES), ENTRIES[-1].digest)


def test_a_change_after_signing_off_takes_the_signature_back():
    tell = sample.Story()
    tell.add(EntryKind.REVIEWED, place=sample.place("5"), detail={"action": "signed off", "by": "checker"})
    tell.add(EntryKind.REVIEWED, place=sample.place("6"), detail={"action": "signed off", "by": "checker"})
    tell.affirmed("words", sample.reading(sample.place("5"), "zs", "0.3", "ohm"))
    assert schedule_of(sample.sheet(), tell.entries).signed_off == ("DB1/6",)


# ------------------------------------------------------------------ JSON


def test_it_obeys_its_published_schema():
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(json.loads(to_json(SCHEDULE)), schema())


@pytest.mark.parametrize(
    "spoil",
    [
        lambda s: s.update(schema_version="2"),
        lambda s: s["rows"][0].pop("readings"),
        lambda s: s["rows"][3]["readings"][0]["value"].update(figure=0.31),  # a float has lost its digits
        lambda s: s.update(invented="field"),
    ],
)
def test_the_schema_refuses(spoil):
    told = json.loads(to_json(SCHEDULE))
    spoil(told)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(told, schema())


def test_it_reads_back_without_loss(tmp_path):
    path = tmp_path / "schedule.json"
    path.write_text(to_json(SCHEDULE), encoding="utf-8")
    again = read_schedule(path)
    assert again == SCHEDULE and to_json(again) == to_json(SCHEDULE)
    assert '"2.50"' in path.read_text(encoding="utf-8")


@given(st.decimals(min_value=0, max_value=20000, allow_nan=False, allow_infinity=False))
def test_every_figure_keeps_its_digits(figure):
    kept = SCHEDULE.rows[3].readings[0].model_copy(update={"value": Number(figure=figure)})
    again = type(kept).model_validate_json(kept.model_dump_json())
    assert again.value.figure.as_tuple() == figure.as_tuple()


@pytest.mark.parametrize("text", ["", "{}", '{"schema_version": "2"}', "\x00", "[1, 2"])
def test_what_is_no_schedule_is_refused_in_words(tmp_path, text):
    path = tmp_path / "schedule.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="not a schedule"):
        read_schedule(path)
    with pytest.raises(InputError, match="cannot be read"):
        read_schedule(tmp_path / "missing.json")


# ------------------------------------------------------------------ CSV


def test_units_stand_in_the_header_and_every_row_has_every_column():
    rows = list(csv.reader(io.StringIO(to_csv(SCHEDULE))))
    assert rows[0] == [column.name for column in COLUMNS]
    assert {len(row) for row in rows} == {len(COLUMNS)}
    assert all(column.name.endswith(f"_{column.unit}") for column in COLUMNS if column.unit)


def test_every_quantity_of_the_grammar_has_a_column():
    assert set(load_wording().quantities) - {column.quantity for column in COLUMNS} == NOT_IN_A_COLUMN


def test_the_guide_names_every_column():
    assert all(f"`{column.name}`" in column_guide() for column in COLUMNS)


@pytest.mark.parametrize(
    ("reading", "column", "text"),
    [
        (("ir_le", "250", "kohm"), "ir_live_earth_Mohm", "0.250"),
        (("ir_le", ">500", "Mohm"), "ir_live_earth_Mohm", "> 500"),
        (("ir_le", "over", ""), "ir_live_earth_Mohm", "over range"),
        (("earth_leakage", "1.20", "A"), "leakage_mA", "1200"),
        (("pfc", "980", "A"), "fault_current_kA", "0.980"),
        (("polarity", "fail", ""), "polarity", "fail"),
        (("points", "9", ""), "points", "9"),
    ],
)
def test_cells_hold_figures_as_spoken_in_the_columns_unit(reading, column, text):
    quantity, figure, unit = reading
    assert table_of(sample.reading(sample.place("5"), quantity, figure, unit))["DB1/5"][column] == text


def test_a_reading_that_differs_from_the_sheet_wins_its_column():
    assert table()["DB1/5"]["device_A"] == "32"
    assert table_of(sample.reading(sample.place("5"), "device_rating", "20", "A"))["DB1/5"]["device_A"] == "20"


@pytest.mark.parametrize(
    ("quantity", "unit", "figures", "column", "shown"),
    [
        ("zs", "ohm", ("0.35", "0.41", "0.38"), "zs_ohm", "0.41"),  # the greatest of several points
        ("zs", "ohm", ("0.35", "over", "0.38"), "zs_ohm", "over range"),
        ("ir_le", "Mohm", ("200", "1.40", ">500"), "ir_live_earth_Mohm", "1.40"),  # the least
        ("ir_le", "Mohm", ("200", "over"), "ir_live_earth_Mohm", "200"),
        ("polarity", "", ("pass", "fail", "pass"), "polarity", "fail"),
    ],
)
def test_of_several_points_the_least_favourable_is_shown(quantity, unit, figures, column, shown):
    points = [
        sample.reading(sample.place("5"), quantity, f, unit if f[0] in "<>.0123456789" else "", point=f"point {n}")
        for n, f in enumerate(figures)
    ]
    row = table_of(*points)["DB1/5"]
    assert row[column] == shown
    assert row["remarks"].count("also ") == len(figures) - 1


def test_a_point_is_named_for_the_reading_in_the_cell_too():
    points = [
        sample.reading(sample.place("5"), "r2_cpc", figure, "ohm", point=point)
        for figure, point in (("0.16", "point 1: sink"), ("0.31", "point 2: radiator"))
    ]
    remarks = table_of(*points)["DB1/5"]["remarks"]
    assert "R2 shown is at point 2: radiator" in remarks and "at point 1: sink 0.16" in remarks


def test_rcd_times_find_the_column_of_their_conditions():
    where = sample.place(rcd="RCD2")
    rows = table_of(
        sample.reading(where, "rcd_time", "28.0", "ms", multiple="1", half_cycle="180"),
        sample.reading(where, "rcd_time", "14.5", "ms", multiple="5"),  # no half-cycle said: from 0 degrees
    )
    assert (rows["DB1/RCD2"]["rcd_1x_180deg_ms"], rows["DB1/RCD2"]["rcd_5x_0deg_ms"]) == ("28.0", "14.5")


@pytest.mark.parametrize("name", ["=1+1", "+44", "-2", "@here", "\tx"])
def test_text_never_becomes_a_formula(name):
    board = sample.sheet().boards[0]
    circuit = board.circuits[0].model_copy(update={"name": name})
    spoiled = sample.sheet().model_copy(update={"boards": (board.model_copy(update={"circuits": (circuit,)}),)})
    assert table(schedule_of(spoiled, ()))["DB1/1"]["name"] == f"'{name}"


def test_the_worst_verdict_of_a_row_is_shown():
    assert table()["DB1/8"]["worst_verdict"] == "outside limit"
    assert table()["DB1/6"]["worst_verdict"] == "near the limit"
    assert {row.outcome for row in SCHEDULE.rows[7].readings} == {Outcome.PASS, None}
