import re
from contextlib import suppress
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicelog.errors import KeepingError, SheetError
from voicelog.keeping.lines import line_of, statement_lines
from voicelog.keeping.sheet import load_sheet, new_job, parse_sheet
from voicelog.resources import data_folder

GOOD = """\
limits = "an edition"
[job]
reference = "J1"
date = 2026-03-02
[supply]
earthing = "TN-S"
ze_ohm = 0.80
[[board]]
reference = "DB1"
[[board.rcd]]
reference = "R1"
rated_residual_current_mA = 30
[[board.circuit]]
number = "1"
rcd = "R1"
device = { standard = "BS EN 60898", type = "B", rating_A = 32 }
[[board.circuit]]
number = "2"
cable = { line_mm2 = 2.50, cpc_mm2 = 1.5 }
"""


def refused(text: str) -> str:
    with pytest.raises(SheetError) as caught:
        parse_sheet(text)
    return str(caught.value)


def test_figures_stay_as_written():
    sheet = parse_sheet(GOOD)
    assert str(sheet.supply.ze_ohm) == "0.80"
    assert str(sheet.boards[0].circuits[1].cable.line_mm2) == "2.50"  # type: ignore[union-attr]
    assert sheet.boards[0].circuits[0].device.rating_A == Decimal(32)  # type: ignore[union-attr]


def test_a_sheet_reads_the_same_with_windows_line_ends_and_a_byte_order_mark(tmp_path: Path):
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_sheet(path) == load_sheet(path.parent) == parse_sheet(GOOD)


CRUDE = "[[instrument]]\nreference = 'T'\naccuracy_percent = 100\n"


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('reference = "J1"', "reference = 7", 3, "job.reference: 7 is not text; write it in quotes"),
        ("date = 2026-03-02", 'date = "soon"', 4, "job.date: 'soon' is not a date; write it as year-month-day"),
        ('earthing = "TN-S"', 'earthing = "TNS"', 6, "supply.earthing: 'TNS' should be 'TN-C-S', 'TN-S' or 'TT'"),
        ("ze_ohm = 0.80", 'ze_ohm = "0.80 ohm"', 7, "'0.80 ohm' is not a number; write the figure alone, in ohms"),
        ("ze_ohm = 0.80", "ze_ohm = nan", 7, "is not a number"),
        ("ze_ohm = 0.80", "ze_ohm = true", 7, "supply.ze_ohm: true is not a number"),
        ("ze_ohm = 0.80", "ze_ohm = -0.8", 7, "-0.8 must be above 0"),
        ("ze_ohm = 0.80", "ze_mohm = 800", 7, "supply.ze_mohm: there is no such field; did you mean 'ze_ohm'?"),
        ("ze_ohm = 0.80", "weather = 'wet'", 7, "there is no such field; there are earthing, phases"),
        ("rated_residual_current_mA", "rated_residual_current_A", 12, "did you mean 'rated_residual_current_mA'?"),
        ('number = "2"', 'number = "1"', 18, "circuit 1, number: there is another circuit '1' before this one"),
        ('rcd = "R1"', 'rcd = "R9"', 15, "circuit 1, rcd: there is no RCD 'R9' on this board; it has R1"),
        ("rating_A = 32", "rating_kA = 32", 16, "device.rating_kA: there is no such field; did you mean 'rating_A'?"),
        ("line_mm2 = 2.50, ", "", 19, "circuit 2, cable.line_mm2: is missing"),
        ('number = "2"', "points = -1", 18, "points: -1 should be greater than or equal to 0"),
        ('number = "2"\n', "", 17, "circuit 2, number: is missing"),
        ("[[board]]", f"{CRUDE}[[board]]", 10, "instrument T, accuracy_percent: 100 should be less than 100"),
        ('number = "2"', 'number = ""', 18, "circuit 2, number: is empty; a place needs a name to be called by"),
        ('reference = "DB1"', 'reference = " "', 9, "reference: is empty"),
        (
            'number = "2"',
            'number = "2"\nitems = "urn"',
            19,
            "items: 'urn' is not a list; write it in brackets: ['urn']",
        ),
        ("[[board]]", "[board]", 8, "board: is one row of several; open it with two brackets: [[board]]"),
        ("[supply]", "[supply", 5, "not TOML"),
        ('reference = "DB1"', 'reference = "DB1', 9, "not TOML"),
    ],
)
def test_a_problem_is_named_with_its_line_and_field(old: str, new: str, line: int, words: str):
    assert old in GOOD
    message = refused(GOOD.replace(old, new, 1))
    assert f"line {line}: " in message or f"line {line + 1}: not TOML" in message
    assert words in message


def test_every_problem_is_listed_at_once_in_the_order_of_the_lines():
    text = GOOD.replace("ze_ohm = 0.80", "ze_ohm = -1").replace('"R1"\ndevice', '"R9"\ndevice')
    message = refused(text.replace('reference = "J1"', "").replace('number = "2"', 'number = "1"'))
    lines = [int(row.split()[1].rstrip(":")) for row in message.splitlines()[1:]]
    assert lines == [2, 7, 15, 18]
    assert "4 problems" in message


def test_boards_of_one_reference_are_refused():
    message = refused(GOOD + '[[board]]\nreference = "DB1"\n')
    assert "line 21: board DB1, reference: there is another board 'DB1' before this one" in message


def test_a_feeder_must_be_on_the_sheet():
    assert "there is no circuit 'DB9/1'" in refused(GOOD + '[[board]]\nreference = "DB2"\nsupplied_from = "DB9/1"\n')
    assert parse_sheet(GOOD + '[[board]]\nreference = "DB2"\nsupplied_from = "DB1/2"\n').boards[1].reference == "DB2"


def test_text_that_is_not_utf8_names_the_line(tmp_path: Path):
    path = tmp_path / "job.toml"
    path.write_bytes(b'limits = "a"\n# \xb5A\n')
    with pytest.raises(SheetError, match="line 2: byte 0xb5 is not UTF-8"):
        load_sheet(path)


@pytest.mark.parametrize("text", ["", "# nothing\n", "\x00", "[" * 5000, "a = " + "[" * 5000])
def test_what_is_no_sheet_is_refused(text: str):
    assert refused(text)


PIECES = ["[[board]]", "[board]", "{", "}", '"', "= ", '"""', "nan", "rcd = 5", "[supply.x]", "\n", "'a'.b = 1", "\x7f"]


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 30), st.sampled_from(PIECES)), max_size=4))
def test_a_sheet_mangled_anyhow_reads_or_is_refused_in_words(cuts: list[tuple[int, int, str]]):
    text = GOOD
    for place, length, piece in cuts:
        text = text[:place] + piece + text[place + length :]
    with suppress(SheetError):
        parse_sheet(text)


def test_a_folder_without_a_sheet_says_how_to_make_one(tmp_path: Path):
    with pytest.raises(SheetError, match="voicelog new"):
        load_sheet(tmp_path)


def test_the_first_sheet_reads_and_is_never_overwritten(tmp_path: Path):
    path = new_job(tmp_path / "J1", date(2026, 3, 2))
    before = path.read_bytes()
    assert load_sheet(path).job.date == date(2026, 3, 2)
    with pytest.raises(SheetError, match="already"):
        new_job(tmp_path / "J1", date(2027, 1, 1))
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["ha\nll", "ha\tll", "h\udce4ll"])
def test_a_folder_has_a_name_that_can_be_printed(tmp_path: Path, name: str):
    with pytest.raises(SheetError, match="cannot be printed"):
        new_job(tmp_path / name, date(2026, 3, 2))
    assert not list(tmp_path.iterdir())


def test_a_file_in_place_of_the_folder_is_told_as_such(tmp_path: Path):
    (tmp_path / "hall").write_text("x")
    with pytest.raises(KeepingError, match="a file stands where a folder is needed"):
        new_job(tmp_path / "hall", date(2026, 3, 2))


def test_the_editions_that_the_first_sheet_names_are_there(tmp_path: Path):
    text = new_job(tmp_path / "J1", date(2026, 3, 2)).read_text(encoding="utf-8")
    shipped = {path.stem for path in data_folder("shared").joinpath("editions").glob("*.toml")}
    named = re.search(r"comes with the program \(([^;]*);", text)
    assert named and set(re.findall(r'"([^"]+)"', named[1])) == shipped


def test_the_examples_in_the_first_sheet_read_too(tmp_path: Path):
    text = new_job(tmp_path / "J1", date(2026, 3, 2)).read_text(encoding="utf-8")
    lines = [_without_hash(line) for line in text.splitlines()]
    sheet = parse_sheet("\n".join(lines).replace('supplied_from = "DB0/8"', ""))
    assert sheet.instruments and sheet.regrouping.together and sheet.boards[0].circuits[0].cable


def _without_hash(line: str) -> str:
    """An example line (``# name = value`` or ``# [table]``) with its comment mark taken away."""
    example = line.startswith(("# [", "# ")) and (line[2:3] == "[" or line[2:].split(" ")[1:2] == ["="])
    return line[2:] if example and not line.startswith("# [table]") else line


def test_a_folder_that_cannot_be_written(bound: Path):
    bound.chmod(0o500)
    with pytest.raises(KeepingError, match="permission"):
        new_job(bound / "J1", date(2026, 3, 2))


def test_lines_of_every_kind_of_statement():
    text = 'a.b = 1\nc = [\n 1,\n 2]\n[t]\nx = """\ntwo\nlines"""\n[[r]]\n[[r.s]]\ny = {z = 1}\n'
    text += "[[r]]\n[[r.s]]\n[r.s.u]\nv = 1"
    lines = statement_lines(text)
    expected = {
        ("a", "b"): 1, ("c",): 2, ("c", 1): 2, ("t",): 5, ("t", "x"): 6, ("r", 0): 9, ("r", 0, "s", 0): 10,
        ("r", 0, "s", 0, "y", "z"): 11, ("r", 1): 12, ("r", 1, "s", 0): 13, ("r", 1, "s", 0, "u", "v"): 15,
    }  # fmt: skip
    assert {location: line_of(location, lines) for location in expected} == expected
    assert line_of(("r", 1, "nowhere"), lines) == 12
    assert line_of(("nowhere",), lines) == 1
