"""The report as a workbook: real numbers shown with the digits that were spoken, units in every heading."""

import io
from collections.abc import Sequence
from decimal import Decimal

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from voicelog.model import Number, Outcome
from voicelog.showing.columns import COLUMNS, Cell, cells
from voicelog.showing.report import Report
from voicelog.showing.wording import STANDING_WORDS, VERDICT_SIGNS, VERDICT_WORDS, load_wording

PAPER_A4 = 9
NARROW, WIDE, WORDS = 11, 26, 70  # widths of columns, in characters
MARKED = (Outcome.FAIL, Outcome.MARGINAL)


class _Book:
    """A workbook under construction, and the few formats it needs."""

    def __init__(self, report: Report) -> None:
        self.out = io.BytesIO()
        options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
        self.book = Workbook(self.out, {**options, "strings_to_numbers": False})
        about = {"title": report.title, "comments": " ".join(report.cautions)}
        self.book.set_properties({**about, "created": report.written_at.replace(tzinfo=None)})
        self.head = self.book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top"})
        self.plain = self.book.add_format({"valign": "top"})
        self.words = self.book.add_format({"valign": "top", "text_wrap": True})
        self._figures: dict[tuple[int, Outcome | None], Format] = {}

    def figure(self, decimals: int, outcome: Outcome | None) -> Format:
        """A number with so many decimals; outside or near a limit it carries the sign as well as a weight."""
        if (decimals, outcome) not in self._figures:
            digits = "0" + ("." + "0" * decimals if decimals else "")
            sign = f'"{VERDICT_SIGNS[outcome]} "' if outcome in MARKED else ""
            look = {"num_format": sign + digits, "bold": bool(sign), "valign": "top", "align": "right"}
            self._figures[decimals, outcome] = self.book.add_format(look)
        return self._figures[decimals, outcome]

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

    def close(self) -> bytes:
        self.book.close()
        return self.out.getvalue()


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
    wording = load_wording()
    widths = [WIDE if column.name in ("name", "device_standard", "remarks") else NARROW for column in COLUMNS]
    sheet = book.sheet("Schedule", [column.name for column in COLUMNS], widths, report.title)
    for i, row in enumerate(report.schedule.rows, 1):
        for j, cell in enumerate(cells(row, wording).values()):
            _write(sheet, i, j, cell, book)
    sheet.freeze_panes(1, 4)
    sheet.autofilter(0, 0, max(len(report.schedule.rows), 1), len(COLUMNS) - 1)


def _write(sheet: Worksheet, row: int, column: int, cell: Cell, book: _Book) -> None:
    if cell.figure is not None:
        outcome = cell.kept.outcome if cell.kept else None
        sheet.write_number(row, column, float(cell.figure), book.figure(_decimals(cell.figure), outcome))
    elif cell.text:
        sheet.write_string(row, column, cell.text, book.plain)


def _decimals(figure: Decimal) -> int:
    return max(-figure.as_tuple().exponent, 0)


def _readings(book: _Book, report: Report) -> None:
    """One row a reading that stands, each figure with its own unit beside it."""
    wording = load_wording()
    heads = ("line", "place", "quantity", "value", "unit", "standing", "verdict", "limit", "limit unit", "sentence")
    sheet = book.sheet("Readings", heads, (7, 16, 44, 11, 7, 16, 16, 10, 10, WORDS), report.title)
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
        told = ((4, unit), (5, STANDING_WORDS[one.standing]), (6, verdict), (8, limit_unit), (9, one.sentence))
        for column, words in told:
            sheet.write_string(i, column, words, book.words if column == 9 else book.plain)
        if one.limit is not None:
            sheet.write_number(i, 7, float(one.limit), book.figure(_decimals(one.limit), None))


def _observations(book: _Book, report: Report) -> None:
    heads = ("line", "code", "place", "words as recognised, unverified", "added in review")
    sheet = book.sheet("Observations", heads, (7, 12, WIDE, WORDS, 40), report.title)
    for i, one in enumerate(report.observations, 1):
        sheet.write_number(i, 0, one.line, book.plain)
        for j, words in enumerate((one.code or one.kind, one.place, one.words, "; ".join(one.added)), 1):
            sheet.write_string(i, j, words, book.words)


def _diagnosis(book: _Book, report: Report) -> None:
    sheet = book.sheet("Diagnosis", ("part", "statement", "rests on"), (WIDE, 90, 50), report.title)
    told = [(part.title, one.text, "; ".join(one.origins)) for part in report.parts for one in part.sentences]
    told += [("Not yet answered", f"line {u.line}: {u.place}, {u.quantity}, {u.value}", "") for u in report.unsettled]
    for i, row in enumerate(told, 1):
        for j, words in enumerate(row):
            sheet.write_string(i, j, words, book.words)


def _about(book: _Book, report: Report) -> None:
    sheet = book.sheet("About", ("what", "this record"), (24, 110), report.title)
    edition = f"{report.edition} ({report.edition_standing})" if report.edition_standing else report.edition
    told = [*report.facts, ("Judged by", edition), ("Summary", report.summary)]
    told += [("Instrument", ", ".join(filter(None, row))) for row in report.instruments]
    told += [("Caution", caution) for caution in report.cautions]
    told += [("Signed off", ", ".join(report.signed_off) or "nothing"), ("Journal entry", str(report.head_number))]
    told += [("Journal head", report.head_digest), ("Written", f"{report.written_at:%Y-%m-%d %H:%M %Z}")]
    for i, row in enumerate(told, 1):
        for j, words in enumerate(row):
            sheet.write_string(i, j, words, book.words)
