"""The report as a workbook: real numbers shown with the digits that were spoken, units in every heading."""

import io
from collections.abc import Sequence
from decimal import Decimal
from textwrap import wrap

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from voicelog.model import Number, Outcome
from voicelog.showing.columns import COLUMNS, Cell, cells
from voicelog.showing.report import Report
from voicelog.showing.wording import STANDING_WORDS, VERDICT_SIGNS, VERDICT_WORDS, load_wording

PAPER_A4 = 9
WIDE, WORDS = 26, 70  # widths of columns, in characters
NARROWEST = 5
LINE_HEIGHT = 15.0  # points: one line of the usual 11 point letters
A_PAGE_WIDE = 24  # columns of the schedule that can be read on one A4 page; more go over two
KEY = 4  # the first columns of the schedule say which way a row is about
MARKED = (Outcome.FAIL, Outcome.MARGINAL)
APART = {"align": "left", "indent": 1}  # of words, from the figure that ends where they begin


class _Book:
    """A workbook under construction, and the few formats it needs."""

    def __init__(self, report: Report) -> None:
        self.out = io.BytesIO()
        options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
        self.book = Workbook(self.out, {**options, "strings_to_numbers": False})
        about = {"title": report.title, "comments": " ".join(report.cautions)}
        self.book.set_properties({**about, "created": report.written_at.replace(tzinfo=None)})
        self.head = self.book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top", **APART})
        self.upright = self.book.add_format({"bold": True, "bottom": 2, "rotation": 90, "align": "center"})
        self.plain = self.book.add_format({"valign": "top", **APART})
        self.words = self.book.add_format({"valign": "top", "text_wrap": True, **APART})
        self._values: dict[tuple[str, Outcome | None], Format] = {}

    def figure(self, decimals: int, outcome: Outcome | None) -> Format:
        """A number with so many decimals."""
        return self._value("0" + ("." + "0" * decimals if decimals else ""), outcome)

    def word(self, outcome: Outcome | None) -> Format:
        """A value that is no plain figure, "> 200" or "open circuit": it stands where figures do."""
        return self._value("@", outcome)

    def _value(self, digits: str, outcome: Outcome | None) -> Format:
        """Outside or near a limit it carries the sign as well as a weight."""
        if (digits, outcome) not in self._values:
            sign = f'"{VERDICT_SIGNS[outcome]} "' if outcome in MARKED else ""
            look = {"num_format": sign + digits, "bold": bool(sign), "valign": "top", "align": "right"}
            self._values[digits, outcome] = self.book.add_format(look)
        return self._values[digits, outcome]

    def sheet(self, name: str, heads: Sequence[str], widths: Sequence[float], title: str) -> Worksheet:
        """A sheet with headings, set up for A4 landscape with the headings on every page."""
        sheet = self.book.add_worksheet(name)
        for i, (head, width) in enumerate(zip(heads, widths, strict=True)):
            sheet.write_string(0, i, head, self.head)
            sheet.set_column(i, i, width)
        sheet.freeze_panes(1, 0)
        sheet.repeat_rows(0)
        sheet.set_landscape()
        sheet.set_paper(PAPER_A4)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{title.replace('&', '&&')}&CPage &P of &N")
        return sheet

    def say(self, sheet: Worksheet, row: int, texts: Sequence[str], widths: Sequence[float], first: int = 0) -> None:
        """Wrapped texts, and a row that is high enough for them: not every program makes it so by itself."""
        for i, text in enumerate(texts):
            sheet.write_string(row, first + i, text, self.words)
        sheet.set_row(row, LINE_HEIGHT * max(_lines(text, width) for text, width in zip(texts, widths, strict=True)))

    def close(self) -> bytes:
        self.book.close()
        return self.out.getvalue()


def _lines(text: str, width: float) -> int:
    """How many lines a text takes in a column of so many characters."""
    return len(wrap(text, int((width - 1) * 1.1))) or 1


def to_xlsx(report: Report) -> bytes:
    """The workbook's bytes: schedule, readings, observations, diagnosis, and where it comes from."""
    book = _Book(report)
    _schedule(book, report)
    _readings(book, report)
    _observations(book, report)
    _diagnosis(book, report)
    _about(book, report)
    return book.close()


def _schedule(book: _Book, report: Report) -> None:
    """Every column there is; those that hold nothing are hidden, so that what is printed can be read."""
    wording = load_wording()
    rows = [list(cells(row, wording, report.schedule.unsettled).values()) for row in report.schedule.rows]
    longest = [max((_length(row[j]) for row in rows), default=0) for j in range(len(COLUMNS))]
    widths = [min(max(length + 2, NARROWEST), WIDE) for length in longest]
    sheet = book.sheet("Schedule", [column.name for column in COLUMNS], widths, report.title)
    for j, (column, length) in enumerate(zip(COLUMNS, longest, strict=True)):
        sheet.write_string(0, j, column.name, book.upright)
        if not length:
            sheet.set_column(j, j, NARROWEST, None, {"hidden": True})
    sheet.set_row(0, 9 * LINE_HEIGHT)
    for i, row in enumerate(rows, 1):
        for j, cell in enumerate(row):
            _write(sheet, i, j, cell, book)
        sheet.set_row(i, LINE_HEIGHT * max(_lines(cell.text, width) for cell, width in zip(row, widths, strict=True)))
    sheet.freeze_panes(1, KEY)
    sheet.repeat_columns(0, KEY - 1)
    sheet.fit_to_pages(2 if sum(map(bool, longest)) > A_PAGE_WIDE else 1, 0)
    sheet.autofilter(0, 0, max(len(rows), 1), len(COLUMNS) - 1)


def _write(sheet: Worksheet, row: int, column: int, cell: Cell, book: _Book) -> None:
    outcome = cell.kept.outcome if cell.kept else None
    if cell.figure is not None:
        sheet.write_number(row, column, float(cell.figure), book.figure(_decimals(cell.figure), outcome))
    elif cell.text:
        sheet.write_string(row, column, cell.text, book.word(outcome) if cell.kept else book.words)


def _length(cell: Cell) -> int:
    """In characters, its sign among them."""
    return len(cell.text) + (len("✗ ") if cell.kept and cell.kept.outcome in MARKED else 0)


def _decimals(figure: Decimal) -> int:
    return max(-figure.as_tuple().exponent, 0)


def _readings(book: _Book, report: Report) -> None:
    """One row a reading that stands, each figure with its own unit beside it."""
    wording = load_wording()
    heads = ("line", "place", "quantity", "value", "unit", "standing", "verdict", "limit", "limit unit", "sentence")
    widths = (7, 16, 50, 11, 7, 16, 16, 10, 10, WORDS)
    sheet = book.sheet("Readings", heads, widths, report.title)
    kept = [(row, one) for row in report.schedule.rows for one in row.readings]
    for i, (row, one) in enumerate(sorted(kept, key=lambda pair: pair[1].line), 1):
        verdict = VERDICT_WORDS[one.outcome] if one.outcome else "not judged"
        sheet.write_number(i, 0, one.line, book.plain)
        plain = isinstance(one.value, Number) and one.value.comparison == "="
        figure = one.value.figure if plain else None
        text = wording.value(one.value)
        _write(sheet, i, 3, Cell(text, figure, one), book)
        for column, words in ((1, row.place.key), (2, wording.quantity(one.quantity, one.conditions))):
            sheet.write_string(i, column, words, book.plain)
        unit, limit_unit = wording.unit(one.unit), wording.unit(one.limit_unit)
        for column, words in ((4, unit), (5, STANDING_WORDS[one.standing]), (6, verdict), (8, limit_unit)):
            sheet.write_string(i, column, words, book.plain)
        book.say(sheet, i, (one.sentence,), widths[9:], first=9)
        if one.limit is not None:
            sheet.write_number(i, 7, float(one.limit), book.figure(_decimals(one.limit), None))


def _observations(book: _Book, report: Report) -> None:
    heads = ("line", "code", "place", "words as recognised, unverified", "added in review")
    widths = (7, 12, WIDE, WORDS, 40)
    sheet = book.sheet("Observations", heads, widths, report.title)
    for i, one in enumerate(report.observations, 1):
        sheet.write_number(i, 0, one.line, book.plain)
        told = (one.code or one.kind, one.place, one.words, "; ".join(one.added))
        book.say(sheet, i, told, widths[1:], first=1)


def _diagnosis(book: _Book, report: Report) -> None:
    widths = (WIDE, 90, 50)
    sheet = book.sheet("Diagnosis", ("part", "statement", "rests on"), widths, report.title)
    told = [(part.title, one.text, "; ".join(one.origins)) for part in report.parts for one in part.sentences]
    told += [("Not yet answered", f"line {u.line}: {u.place}, {u.quantity}, {u.value}", "") for u in report.unsettled]
    for i, row in enumerate(told, 1):
        book.say(sheet, i, row, widths)


def _about(book: _Book, report: Report) -> None:
    widths = (24, 100)
    sheet = book.sheet("About", ("what", "this record"), widths, report.title)
    edition = f"{report.edition} ({report.edition_standing})" if report.edition_standing else report.edition
    told = [*report.facts, ("Judged by", edition), ("Summary", report.summary)]
    told += [("Instrument", ", ".join(filter(None, row))) for row in report.instruments]
    told += [("Caution", caution) for caution in report.cautions]
    told += [("Signed off", ", ".join(report.signed_off) or "nothing"), ("Journal entry", str(report.head_number))]
    told += [("Journal head", report.head_digest), ("Written", f"{report.written_at:%Y-%m-%d %H:%M %Z}")]
    for i, row in enumerate(told, 1):
        book.say(sheet, i, row, widths)
