"""The documents handed over, each opened again by a library that did not write it, and its numbers compared."""

import csv
import io
import json
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from html.parser import HTMLParser
from itertools import pairwise

import jsonschema
import openpyxl
import pdfplumber
import pypdf
import pytest

from tests.showing import sample
from voicelog.errors import KeepingError
from voicelog.keeping.record import fold
from voicelog.model import EntryKind, Number, Outcome, Verdict
from voicelog.showing.columns import COLUMNS, cells
from voicelog.showing.pictures import Budget, pictures
from voicelog.showing.report import FORMATS, Part, Sentence, document, parts_of, report_of, write_report
from voicelog.showing.schedule import schedule_of, schema
from voicelog.showing.wording import CAUTIONS, load_wording

WORDS = load_wording()
STRANGE = 'Strange: #text("x") *bold* $x$ [y] _z_ @ref \\ <b>&amp; =1+1 "quoted"'


def report(entries=None, sheet=None, parts=()):
    entries, sheet = entries or sample.story(), sheet or sample.sheet()
    limits = {f"DB1/{n}": Decimal("1.37") for n in range(1, 10)}
    schedule = schedule_of(sheet, entries, limits)
    budgets = {f"DB1/RCD{n}": Budget(budget_mA=Decimal(9), floor_mA=Decimal(15)) for n in (1, 2)}
    told = parts or (Part(title="Leakage", sentences=(Sentence(text=STRANGE, origins=("entry 34",)),)),)
    return report_of(
        sheet,
        entries,
        schedule,
        WORDS,
        told,
        pictures(schedule, fold(entries), WORDS, budgets),
        "superseded: look for the edition in force",
        written_at=datetime(2026, 3, 15, 8, 0, tzinfo=UTC),
    )


REPORT = report()
PDF = document(REPORT, "pdf")


def expected():
    """Place key and every measured figure of the schedule, as printed."""
    for row in REPORT.schedule.rows:
        for name, cell in cells(row, WORDS).items():
            if cell.kept is not None:
                yield row.place.key, name, cell


@pytest.fixture(scope="module")
def pdf_pages():
    with pdfplumber.open(io.BytesIO(PDF)) as pdf:
        return [(page.width, page.height, page.extract_text(), page.extract_tables()) for page in pdf.pages]


def flat(text):
    return re.sub(r"\s+", " ", text)


# ------------------------------------------------------------------ PDF


def test_the_pdf_holds_every_figure_in_its_row(pdf_pages):
    lines = [line for _, _, text, _ in pdf_pages for line in text.splitlines()]
    for key, _, cell in expected():
        way = key.rpartition("/")[2]
        assert any(line.startswith(f"{way} ") and cell.text in line.split(" ") for line in lines), (key, cell.text)


def test_the_pdf_carries_what_a_reader_must_know(pdf_pages):
    text = flat(" ".join(page for _, _, page, _ in pdf_pages))
    for words in (*CAUTIONS, sample.EDITION, "superseded: look for the edition in force", "Not yet answered"):
        assert words in text
    assert REPORT.head_digest in text and "C1" in text and "danger is there now" in text
    assert "tester 1 multifunction 0417 2026-09-01" in text


def test_words_never_become_markup_in_the_pdf(pdf_pages):
    text = flat(" ".join(page for _, _, page, _ in pdf_pages))
    assert STRANGE in text and "[entry 34]" in text


def test_the_schedule_lies_on_wide_pages_and_the_rest_on_upright_ones(pdf_pages):
    wide = ["Schedule of test results" in text for width, height, text, _ in pdf_pages if width > height]
    assert wide and wide[0] and pdf_pages[0][0] < pdf_pages[0][1]
    assert [round(side) for side in pdf_pages[0][:2]] == [595, 842]  # A4


def test_the_pdf_is_tagged_and_its_pictures_are_vectors():
    pdf = pypdf.PdfReader(io.BytesIO(PDF))
    assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"] and pdf.metadata.title == REPORT.title
    assert not any(page.images for page in pdf.pages)


def test_the_same_report_gives_the_same_pdf():
    assert document(REPORT, "pdf") == PDF


def test_a_long_job_runs_over_many_pages_with_headings_on_each():
    tell = sample.Story()
    for n in range(150):
        tell.affirmed("words", sample.reading(sample.place(f"{n}L1"), "zs", f"0.{n:03d}", "ohm"))
    with pdfplumber.open(io.BytesIO(document(report(tell.entries), "pdf"))) as pdf:
        wide = [page.extract_text() for page in pdf.pages if page.width > page.height]
    assert len(wide) > 3 and all("Zs" in text for text in wide[1:])
    assert "0.149" in wide[-1]


# ------------------------------------------------------------------ workbook


@pytest.fixture(scope="module")
def book():
    return openpyxl.load_workbook(io.BytesIO(document(REPORT, "xlsx")))


def test_the_workbook_holds_real_numbers_with_the_digits_that_were_spoken(book):
    sheet = book["Schedule"]
    heads = [cell.value for cell in sheet[1]]
    assert heads == [column.name for column in COLUMNS]
    found = {}
    for row in sheet.iter_rows(min_row=2):
        key = "/".join(filter(None, (row[0].value, row[2].value)))
        found |= {(key, head): cell for head, cell in zip(heads, row, strict=True)}
    for key, name, cell in expected():
        there = found[key, name]
        if cell.figure is None:
            assert there.value == cell.text
            continue
        assert there.data_type == "n" and Decimal(str(there.value)) == cell.figure
        decimals = len(cell.text.partition(".")[2])
        assert there.number_format.endswith("0" + ("." + "0" * decimals if decimals else ""))
    assert found["DB1/5", "ir_live_earth_Mohm"].number_format == "0.00"  # 2.50 shows as 2.50


def test_what_is_outside_its_limit_carries_a_sign_in_the_workbook(book):
    formats = {cell.number_format for row in book["Schedule"].iter_rows(min_row=2) for cell in row if cell.value == 1.2}
    assert formats == {'"✗ "0.00'}


def test_a_value_that_is_no_plain_figure_stands_where_figures_do_and_carries_its_sign():
    tell = sample.Story()
    short = sample.reading(sample.place("5"), "ir_le", "0.05", "Mohm", test_voltage_V="500")
    short = short.model_copy(update={"value": Number(figure="0.05", comparison="<")})
    tell.affirmed("words", short, Verdict(outcome=Outcome.FAIL, sentence="at least 1.0 MΩ"))
    sheets = openpyxl.load_workbook(io.BytesIO(document(report(tell.entries), "xlsx")))
    for name in ("Schedule", "Readings"):
        cell = next(cell for row in sheets[name].iter_rows() for cell in row if cell.value == "< 0.05")
        assert (cell.number_format, cell.alignment.horizontal, cell.font.bold) == ('"✗ "@', "right", True)


def test_words_beside_a_figure_do_not_touch_it(book):
    for sheet in book:
        for row in sheet.iter_rows(min_row=2):
            for figure, words in pairwise(row):
                if figure.data_type == "n" and figure.value is not None and isinstance(words.value, str):
                    look = words.alignment.horizontal, words.alignment.indent
                    assert look in (("left", 1), ("right", 0)), words.coordinate


def test_a_long_name_is_not_cut_off_in_the_workbook():
    long = "sockets of the meeting room, the passage and the old cloakroom"
    board = sample.sheet().boards[0]
    board = board.model_copy(update={"circuits": (board.circuits[0].model_copy(update={"name": long}),)})
    sheet = sample.sheet().model_copy(update={"boards": (board,)})
    shown = openpyxl.load_workbook(io.BytesIO(document(report(sheet=sheet), "xlsx")))["Schedule"]
    cell = next(cell for row in shown.iter_rows() for cell in row if cell.value == long)
    width, lines = shown.column_dimensions[cell.column_letter].width, shown.row_dimensions[cell.row].height / 15
    assert cell.alignment.wrap_text and len(long) <= width * lines


def test_the_workbook_is_set_up_to_be_printed(book):
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape" and sheet.page_setup.paperSize == 9
        assert sheet.print_title_rows == "$1:$1" and sheet.sheet_properties.pageSetUpPr.fitToPage
    assert book.sheetnames == ["Schedule", "Readings", "Observations", "Diagnosis", "About"]


def test_no_text_of_the_workbook_is_cut_off_or_lies_over_the_next(book):
    for name in ("Readings", "Observations", "Diagnosis", "About"):
        sheet = book[name]
        for row in sheet.iter_rows(min_row=2):
            lines = (row[0].row, sheet.row_dimensions[row[0].row].height or 15)
            for cell in row:
                width = sheet.column_dimensions[cell.column_letter].width
                assert len(str(cell.value or "")) <= width * lines[1] / 15 + width * 0.3, (name, cell.value)


def test_columns_that_hold_nothing_are_there_and_hidden(book):
    sheet = book["Schedule"]
    told = sheet.column_dimensions.values()  # neighbours that are alike are told of together
    hidden = {number for one in told if one.hidden for number in range(one.min, one.max + 1)}
    for column in sheet.iter_cols():
        empty = all(cell.value in (None, "") for cell in column[1:])
        assert (column[0].column in hidden) == empty, column[0].value
    assert sheet.print_title_cols == "$A:$D"


def test_every_reading_stands_in_the_workbook_with_its_unit_and_limit(book):
    rows = {row[0].value: [cell.value for cell in row] for row in book["Readings"].iter_rows(min_row=2)}
    assert set(rows) == {kept.line for row in REPORT.schedule.rows for kept in row.readings}
    assert rows[12][1:8] == [
        "DB1/5",
        "insulation resistance, live to earth, at 500 V",
        2.5,
        "MΩ",
        "affirmed",
        "within limit",
        1,
    ]


def test_text_is_never_a_formula_in_the_workbook(book):
    assert not any(cell.data_type == "f" for sheet in book for row in sheet.iter_rows() for cell in row)
    assert STRANGE in [row[1].value for row in book["Diagnosis"].iter_rows()]


# ------------------------------------------------------------------ HTML, CSV, JSON


class Cells(HTMLParser):
    def __init__(self, page):
        super().__init__()
        self.rows, self.open, self.outside = [], False, []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.outside += [v for k, v in attrs if k in ("src", "href")]
        if tag == "tr":
            self.rows.append([])
        self.open = tag in ("td", "th")
        if self.open:
            self.rows[-1].append("")

    def handle_endtag(self, tag):
        self.open = self.open and tag not in ("td", "th")

    def handle_data(self, data):
        if self.open:
            self.rows[-1][-1] += data


def test_the_html_holds_every_figure_in_its_row_and_asks_for_nothing():
    page = Cells(document(REPORT, "html").decode())
    rows = [[cell.strip() for cell in row] for row in page.rows]
    for key, _, cell in expected():
        way = key.rpartition("/")[2]
        assert any(row[0] == way and cell.text in [c.lstrip("✗△ ").rstrip("†") for c in row] for row in rows if row)
    assert page.outside == []


def test_words_never_become_markup_in_the_html():
    html = document(REPORT, "html").decode()
    assert "<b>&amp;" not in html and "&lt;b&gt;&amp;amp;" in html


def test_csv_and_json_hold_the_schedule():
    text = document(REPORT, "csv").decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert next(row["zs_ohm"] for row in rows if row["number"] == "5") == "0.27"
    told = json.loads(document(REPORT, "json"))
    jsonschema.validate(told, schema())


# ------------------------------------------------------------------ what it says


def test_what_was_not_affirmed_is_marked():
    tell = sample.Story()
    number = tell.call("words", sample.reading(sample.place("5"), "zs", "0.27", "ohm"))
    tell.add(EntryKind.STOOD, refers=number)
    assert "0.27†" in document(report(tell.entries), "html").decode()


def test_observations_come_by_the_weight_of_their_code_with_what_review_added():
    tell = sample.Story()
    for code in ("C3", "FI", "C1"):
        tell.add(
            EntryKind.NOTED, f"words {code}", place=sample.place("5"), detail={"kind": "observation", "code": code}
        )
    tell.add(EntryKind.NOTED, "counted", place=sample.place("5"), detail={"kind": "point counted", "total": "1"})
    tell.add(EntryKind.REVIEWED, refers=3, detail={"action": "words", "text": "cover missing", "by": "r"})
    shown = report(tell.entries).observations
    assert [one.code for one in shown] == ["C1", "C3", "FI"] and shown[0].added == ("cover missing",)


def test_another_name_for_a_circuit_is_told():
    tell = sample.Story()
    tell.add(EntryKind.NOTED, "choir loft lights", place=sample.place("5"), detail={"kind": "rename"})
    told = document(report(tell.entries), "html").decode()
    assert "rename" in told and "choir loft lights" in told


def test_sections_of_a_diagnosis_become_parts():
    class Thing:
        def __init__(self, **fields):
            self.__dict__.update(fields)

    sections = [Thing(title="Rings", statements=[Thing(text="All closed.", origins=("entry 3",))])]
    assert parts_of(sections) == (Part(title="Rings", sentences=(Sentence(text="All closed.", origins=("entry 3",)),)),)


def test_what_several_sentences_rest_on_is_named_once_after_the_last():
    told = [("One.", ("entry 3",)), ("Two.", ("entry 3",)), ("Three.", ("entry 4",)), ("Four.", ())]
    part = Part(title="x", sentences=tuple(Sentence(text=text, origins=origins) for text, origins in told))
    assert [one.origins for one in report(parts=(part,)).parts[0].sentences] == [(), ("entry 3",), ("entry 4",), ()]


@pytest.mark.parametrize("format", FORMATS)
def test_a_job_with_nothing_measured_can_be_handed_over(format, tmp_path):
    tell = sample.Story()
    tell.add(EntryKind.STARTED)
    empty = report(tell.entries)
    write_report(empty, format, tmp_path / f"report.{format}")
    assert (tmp_path / f"report.{format}").stat().st_size > 100
    with pytest.raises(KeepingError):
        write_report(empty, format, tmp_path / "missing" / "report")


def test_an_instrument_whose_calibration_was_over_says_so():
    """An out-of-date instrument makes its readings doubtful (common practice)."""
    sheet = sample.sheet()
    late = sheet.model_copy(update={"job": sheet.job.model_copy(update={"date": date(2026, 6, 1)})})
    due = {row[0]: row[3] for row in report(sheet=late).instruments}
    assert due == {"tester 1": "2026-09-01", "clamp 1": "2026-05-01, over before the date of the job"}


def test_the_marks_of_the_schedule_are_explained():
    assert "LIM not tested, a limitation" in report().legend


@pytest.mark.parametrize("supplied", [True, False])
def test_the_greatest_zs_of_the_schedule_is_told_from_what_a_reading_is_judged_against(supplied):
    """A schedule bears the tabulated value, and a measured one is held against 0.8 of it (two contractors' bodies)."""
    schedule = schedule_of(sample.sheet(), sample.story(), {"DB1/1": Decimal("1.37")} if supplied else None)
    told = report_of(sample.sheet(), sample.story(), schedule, load_wording()).legend
    assert ("as the edition tabulates it" in told) is supplied
