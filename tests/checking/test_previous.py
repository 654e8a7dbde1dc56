"""Previous records: this project's own schedule reads back, and what cannot be read names row and column."""

import re
from contextlib import suppress

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.checking.sheets import D
from voicelog.checking import previous
from voicelog.checking.previous import FACTS, PASSED_OVER, PLACE, READINGS, parse_previous, read_previous
from voicelog.errors import PreviousRecordError
from voicelog.model import Comparison, Number, OpenCircuit, OverRange, Place, Result
from voicelog.showing.columns import COLUMNS

HEADER = "board,kind,number,name,device_type,device_A,points,rcd_mA,main_fuse_A,r1_r2_ohm,ir_live_earth_Mohm,zs_ohm,"
CSV = f"""{HEADER}rcd_1x_0deg_ms
DB1,board,,main board,,,,,80,,,0.24,
DB1,rcd,RCD1,,,,,30,,,,,28.4
DB1,circuit,5,"sockets, kitchen",B,32,8,,,0.52,> 200,0.74,
DB1,circuit,6,lights,B,6,12,,,open circuit,over range,LIM,
"""


def test_figures_stay_as_written():
    record = parse_previous(CSV, "last.csv")
    five = Place(board="DB1", circuit="5")
    assert record.reading(five, "zs", {}).value == Number(figure="0.74")
    assert record.reading(five, "ir_le", {"test_voltage_V": "500"}).value == Number(
        figure="200", comparison=Comparison.ABOVE
    )
    assert record.fact(five, "device_A") == "32" and record.at(five).name == "sockets, kitchen"
    assert record.fact(Place(board="DB1"), "main_fuse_A") == "80"


def test_rcd_rows_and_conditions():
    record, place = parse_previous(CSV, "last.csv"), Place(board="DB1", rcd="RCD1")
    assert record.reading(place, "rcd_time", {"multiple": "1", "half_cycle": "0"}).value.figure == D("28.4")
    assert record.reading(place, "rcd_time", {"multiple": "5", "half_cycle": "0"}) is None


def test_words():
    record, six = parse_previous(CSV, "last.csv"), Place(board="DB1", circuit="6")
    assert record.reading(six, "r1_r2", {}).value == OpenCircuit()
    assert record.reading(six, "ir_le", {}).value == OverRange()
    assert record.reading(six, "zs", {}).value == Result(word="limitation")


def test_every_column_of_a_schedule_is_known():
    names = {column.name for column in COLUMNS}
    assert names <= {*PLACE, *PASSED_OVER, *FACTS, *READINGS}


def test_the_module_names_every_column_that_it_compares():
    told = re.sub(r"\s", "", previous.__doc__)
    assert [name for name in (*PLACE, *FACTS, *READINGS) if name not in told and "deg_ms" not in name] == []


def test_bytes_as_a_spreadsheet_writes_them(tmp_path):
    path = tmp_path / "last.csv"
    path.write_bytes(b"\xef\xbb\xbf" + CSV.replace("\n", "\r\n").replace("lights", "'=lights").encode())
    assert read_previous(path).at(Place(board="DB1", circuit="6")).name == "=lights"


def test_a_row_without_kind_is_a_circuit_or_the_board():
    record = parse_previous("board,number,zs_ohm\nDB1,,0.2\nDB1,3,0.9\n", "x.csv")
    assert [row.place.key for row in record.rows] == ["DB1", "DB1/3"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("number,zs_ohm\n1,2\n", "column 'board' is missing"),
        ("board,zs_omh\nDB1,2\n", r"column 2: the column 'zs_omh' is not known\. Did you mean 'zs_ohm'"),
        ("board,board\nDB1,DB1\n", "appears twice"),
        ("board,number,zs_ohm\nDB1,5,abc\n", r"row 2, column zs_ohm: 'abc' is neither"),
        ("board,number,zs_ohm\nDB1,5,NaN\n", "neither a figure"),
        ("board,number,zs_ohm\nDB1,5,1e999999999\n", "neither a figure"),
        ("board,number,zs_ohm\nDB1,5,>\n", "neither a figure"),
        ("board,number,zs_ohm\nDB1,5,-0.5\n", "neither a figure"),
        ('board,number,zs_ohm\nDB1,5,"0,5"\n', "neither a figure"),
        ("board,number,zs_ohm\nDB1,5,\u0663\n", "neither a figure"),
        ("board,number,device_A\nDB1,5,thirty\n", "column device_A"),
        ("board,number,points\nDB1,5,many\n", "column points"),
        ("board,number\nDB1,5,6\n", "row 2: has 3 cells for 2 columns"),
        ("board,number\n,5\n", "row 2, column board: the board is missing"),
        ("board,kind,number\nDB1,cupboard,5\n", "'cupboard' is not board, rcd or circuit"),
        ("board,number\nDB1,5\nDB1,5\n", "DB1/5 stands in two rows"),
        ('board,number\n"DB1,5\n', "is not CSV"),
    ],
)
def test_refusals_name_row_and_column(text, message):
    with pytest.raises(PreviousRecordError, match=message) as error:
        parse_previous(text, "last.csv")
    assert "last.csv" in str(error.value)


def test_files_that_are_not_there_or_not_text(tmp_path):
    with pytest.raises(PreviousRecordError, match="cannot be opened"):
        read_previous(tmp_path / "none.csv")
    (tmp_path / "bad.csv").write_bytes(b"board\n\xff\xfe\n")
    with pytest.raises(PreviousRecordError, match="not text in UTF-8"):
        read_previous(tmp_path / "bad.csv")


@given(st.text(max_size=200))
def test_anything_is_read_or_refused_and_never_breaks(text):
    with suppress(PreviousRecordError):
        parse_previous(text, "x.csv")


@example(["'", "'", "'"])  # what remains of a sign that keeps text from being a formula
@given(st.lists(st.text(max_size=12), min_size=3, max_size=3))
def test_any_cells_are_read_or_refused(cells):
    quoted = ",".join('"' + cell.replace('"', '""') + '"' for cell in cells)
    with suppress(PreviousRecordError):
        parse_previous(f"board,zs_ohm,device_A\n{quoted}\n", "x.csv")
