"""A whole visit handed over: each document is opened by a library that did not write it and compared with the journal.

The journal is read here from its database by itself, and what stands is worked out anew: none of the program's own
reading, folding or wording has a part in what is expected.
"""

import csv
import io
import json
import sqlite3
import tomllib
from decimal import Decimal

import html5lib
import jsonschema
import openpyxl
import pdfplumber
import pypdf
import pytest
from html5lib.treebuilders import getTreeBuilder

from voicelog.handing_over import report_for, write_all, write_one
from voicelog.hearing.ear import ScriptedEar
from voicelog.keeping.job import open_job
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.showing.schedule import schema
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import run

WORDS = {"not_applicable": "N/A", "no_trip": "no trip", "no_earth": "no earth", "over_range": "over range"}


@pytest.fixture(scope="module")
def handed(tmp_path_factory):
    """The folder of a visit of 153 utterances, every document written."""
    folder, samples = tmp_path_factory.mktemp("visit"), data_folder("audio_samples")
    (folder / "job.toml").write_bytes((samples / "demo" / "job.toml").read_bytes())
    lines = tomllib.loads((samples / "visit" / "script.toml").read_text(encoding="utf-8"))["visit"]["line"]
    run(open_visit(folder), ScriptedEar([line["says"] for line in lines]), SilentMouth(), Policy.EVERY, Watcher())
    list(write_all(folder))
    for form in ("html", "xlsx"):
        write_one(open_job(folder), form, folder / f"report.{form}")
    return folder


def standing(folder) -> list[tuple[int, dict]]:
    """Entry number and reading of all that counts: answered, neither replaced nor withdrawn, the last of its kind."""
    with sqlite3.connect(folder / "journal.sqlite") as journal:
        entries = [json.loads(body) for (body,) in journal.execute("SELECT body FROM entry ORDER BY number")]
    answered = {e["refers"] for e in entries if e["kind"] in ("affirmed", "stood")}
    gone: set[int] = set()
    for entry in entries:
        if entry["kind"] in ("withdrawn", "corrected"):
            gone.add(entry["refers"])
        elif entry["kind"] == "restored":
            gone.discard(entry["refers"])
    kept = [e for e in entries if e["reading"] and e["number"] in answered - gone]
    last = {}
    for entry in kept:
        reading = entry["reading"]
        last[json.dumps([reading["place"], reading["quantity"], reading["conditions"]])] = entry
    return [(entry["number"], entry["reading"]) for entry in last.values()]


def text_of(reading: dict) -> str:
    """The figure as it must stand in every document: the digits that were spoken."""
    value = reading["value"]
    if value["kind"] != "number":
        word = value.get("word") or value["kind"]
        return WORDS.get(word, word)
    return f"{value['comparison']} {value['figure']}".removeprefix("= ")


def way_of(reading: dict) -> str:
    place = reading["place"]
    return place["circuit"] or place["rcd"] or place["board"]


def missing(folder, rows: list[list[str]]) -> list[str]:
    """Readings that stand and that no row of their place shows, in a cell of its own or among the remarks."""
    clean = [[cell.strip("✗△† ") for cell in row] for row in rows if row and row[0]]
    shown = lambda row, text: text in row or any(f" {text} " in f" {cell} " for cell in row[1:])  # noqa: E731
    return [
        f"{way_of(reading)} {reading['quantity']} {text_of(reading)}"
        for _, reading in standing(folder)
        if not any(row[0] == way_of(reading) and shown(row, text_of(reading)) for row in clean)
    ]


def test_the_visit_has_enough_to_compare(handed):
    assert len(standing(handed)) == 45


def test_csv(handed):
    text = (handed / "schedule.csv").read_bytes().decode("utf-8-sig")
    rows = [[row["number"] or row["board"], *row.values()] for row in csv.DictReader(io.StringIO(text))]
    assert missing(handed, rows) == []


def test_json_holds_every_reading_exactly(handed):
    told = json.loads((handed / "schedule.json").read_text(encoding="utf-8"))
    jsonschema.validate(told, schema())
    kept = {one["line"]: one for row in told["rows"] for one in row["readings"]}
    assert set(kept) == {number for number, _ in standing(handed)}
    for number, reading in standing(handed):
        same = ("quantity", "value", "unit", "conditions")
        assert {key: kept[number][key] for key in same} == {key: reading[key] for key in same}


def test_workbook(handed):
    book = openpyxl.load_workbook(handed / "report.xlsx")
    heads = [cell.value for cell in book["Readings"][1]]
    rows = {row[0].value: dict(zip(heads, row, strict=True)) for row in book["Readings"].iter_rows(min_row=2)}
    assert set(rows) == {number for number, _ in standing(handed)}
    for number, reading in standing(handed):
        cell, value = rows[number]["value"], reading["value"]
        if value["kind"] == "number" and value["comparison"] == "=":
            assert cell.data_type == "n" and Decimal(str(cell.value)) == Decimal(value["figure"]), reading
            decimals = value["figure"].partition(".")[2]
            assert cell.number_format.endswith("0" + ("." + "0" * len(decimals) if decimals else ""))
        else:
            assert str(cell.value).startswith(text_of(reading)), reading


@pytest.mark.parametrize("name", ["report.html", "log.html"])
def test_html_has_no_error_that_a_strict_reader_finds(handed, name):
    html5lib.HTMLParser(tree=getTreeBuilder("etree"), strict=True).parse((handed / name).read_text(encoding="utf-8"))


def test_html(handed):
    page = html5lib.parse((handed / "report.html").read_text(encoding="utf-8"), namespaceHTMLElements=False)
    tables = [table for table in page.iter("table") if table.get("class") == "schedule"]
    rows = [["".join(cell.itertext()) for cell in row.iter("td")] for table in tables for row in table.iter("tr")]
    assert missing(handed, rows) == []


def test_every_reading_is_a_line_of_the_log(handed):
    page = html5lib.parse((handed / "log.html").read_text(encoding="utf-8"), namespaceHTMLElements=False)
    lines = {row.get("id"): row for row in page.iter("tr")}
    for number, reading in standing(handed):
        value = next(n for n in lines[f"line-{number}"].iter("span") if n.get("class") == "value")
        assert "".join(value.itertext()).startswith(text_of(reading))


def test_pdf(handed):
    with pdfplumber.open(handed / "report.pdf") as pdf:
        tables = [table for page in pdf.pages for table in page.extract_tables({"vertical_strategy": "text"})]
        text = "\n".join(page.extract_text() for page in pdf.pages if page.width > page.height)
    assert tables
    rows = [[line.split(" ")[0], line, *line.split(" ")] for line in text.splitlines()]
    assert missing(handed, rows) == []


def _structure(node, found):
    """Every element of the structure tree, depth first."""
    node = node.get_object()
    for child in kids if isinstance(kids := node.get("/K", []), list) else [kids]:
        child = child.get_object() if hasattr(child, "get_object") else child
        if isinstance(child, dict) and "/S" in child:
            found.append(child)
            _structure(child, found)
    return found


def test_the_pdf_says_language_title_and_structure_to_a_screen_reader(handed):
    """What PDF/UA-1 (ISO 14289-1) asks and a program can see."""
    pdf = pypdf.PdfReader(handed / "report.pdf")
    root = pdf.trailer["/Root"]
    assert root["/Lang"] == "en-GB" and root["/MarkInfo"]["/Marked"] and root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data()
    assert pdf.metadata.title == pdf.xmp_metadata.dc_title["x-default"] == "Inspection and test record of DEMO-1"
    elements = _structure(root["/StructTreeRoot"], [])
    kinds = [element["/S"] for element in elements]
    levels = [int(kind[2:]) for kind in kinds if kind[:2] == "/H" and kind[2:].isdigit()]
    assert levels[0] == 1 and all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))
    figures = [element for element in elements if element["/S"] == "/Figure"]
    assert len(figures) >= 6 and all(len(figure["/Alt"]) > 20 for figure in figures)
    assert kinds.count("/Table") >= 5 and {"/TH", "/TD", "/TR", "/L", "/LI"} <= set(kinds)
    for page in pdf.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            font = font.get_object()
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(inner["/FontDescriptor"].get_object())  # embedded


@pytest.mark.parametrize("name", ["report.html", "log.html"])
def test_on_a_phone_nothing_lies_beside_the_screen(browser, handed, name):
    from tests.showing.browser import complaints, requested

    requested(browser), complaints(browser)
    screen = {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    browser.get((handed / name).as_uri())
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert requested(browser) == {(handed / name).as_uri()} and complaints(browser) == []


SECOND_BOARD = """
[[board]]
reference = "DB2"
rcd = [
    { reference = "RCD1", rated_residual_current_mA = 30 },
    { reference = "RCD2", rated_residual_current_mA = 30 },
    { reference = "RCD3", rated_residual_current_mA = 30 },
]
circuit = [
    { number = "1", rcd = "RCD1" },
    { number = "2", rcd = "RCD1" },
    { number = "3", rcd = "RCD1" },
]
"""


def drawn_after(folder, said, more=""):
    """What the pictures of the demonstration's job say, by title."""
    sheet = (data_folder("audio_samples") / "demo" / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(sheet + more, encoding="utf-8")
    run(open_visit(folder), ScriptedEar(said), SilentMouth(), Policy.EVERY, Watcher())
    job = open_job(folder)
    return {picture.title: picture.words for picture in report_for(job, job.entries()).pictures}


def test_each_board_is_regrouped_over_as_many_rcds_as_it_has(tmp_path):
    called = [(f"circuit {number} earth leakage two milliamps", "affirm") for number in ("one", "two", "three")]
    drawn = drawn_after(tmp_path, ["board d b two", *(words for pair in called for words in pair)], SECOND_BOARD)
    after = drawn["Earth leakage on DB2 after regrouping"]
    assert all(f"RCD{number}: 2 mA" in after for number in (1, 2, 3)) and "new 1" not in after


def test_where_no_circuit_moves_nothing_is_drawn_after_regrouping(tmp_path):
    drawn = drawn_after(tmp_path, ["tea urn earth leakage six point eight milliamps", "affirm"])
    assert "RCD1: 6.8 mA" in drawn["Earth leakage against each RCD's budget"]
    assert not [title for title in drawn if "after regrouping" in title]


def test_the_picture_after_regrouping_shows_what_the_split_was_reckoned_with(tmp_path):
    """The schedule's last reading is without the urn; a split must bear it plugged in again."""
    said = ["tea urn earth leakage six point eight milliamps", "affirm", "unplugged the tea urn"]
    said += ["retest earth leakage nought point three milliamps", "affirm"]
    drawn = drawn_after(tmp_path, said)
    after = "Earth leakage on DB1 after regrouping, everything plugged in, only what was read circuit by circuit"
    assert "6.8 mA" in drawn[after]
    assert "0.3 mA" in drawn["Earth leakage against each RCD's budget"]


@pytest.mark.parametrize(
    ("codes", "said"), [(("c two", "c three"), "Unsatisfactory: 1 C2."), (("c three",), ""), ((), "")]
)
def test_grave_observations_make_the_whole_unsatisfactory_and_no_others_make_it_sound(tmp_path, codes, said):
    """Any C1, C2 or FI does (three public pages on condition reports)."""
    (tmp_path / "job.toml").write_bytes((data_folder("audio_samples") / "demo" / "job.toml").read_bytes())
    lines = [line for code in codes for line in (f"observation {code}", "something is wrong", "end observation")]
    run(open_visit(tmp_path), ScriptedEar(lines), SilentMouth(), Policy.EVERY, Watcher())
    job = open_job(tmp_path)
    told = [part.sentences[0].text for part in report_for(job, job.entries()).parts if part.title.startswith("Overall")]
    assert len(told) == bool(said) and all(text.startswith(said) for text in told)
