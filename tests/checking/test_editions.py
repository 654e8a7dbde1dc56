"""Edition files: what ships, what a user adds, and refusals that name file, table and row."""

import shutil
from decimal import Decimal

import pytest

from tests.checking.sheets import AFTER, BEFORE, circuit, reading, sheet
from voicelog.checking.edition import Origin
from voicelog.checking.editions import load_edition, shipped_editions
from voicelog.checking.verdicts import judge
from voicelog.errors import EditionError
from voicelog.model import Noun, Outcome


def origins(noun: Noun):
    """Every row of an edition, at any depth."""
    if isinstance(noun, Origin):
        yield noun
    for name in type(noun).model_fields:
        part = getattr(noun, name)
        for each in part if isinstance(part, tuple) else (part,):
            if isinstance(each, Noun):
                yield from origins(each)


def test_two_editions_ship_with_labels():
    assert list(shipped_editions()) == ["BS 7671:2018+A2:2022+A3:2024", "BS 7671:2018 before A2"]


@pytest.mark.parametrize("edition", [AFTER, BEFORE], ids=lambda e: e.label)
def test_every_row_carries_its_source_and_mark(edition):
    rows = list(origins(edition))
    assert len(rows) > 40
    assert all(row.source and row.mark in ("page", "computed", "memory") for row in rows)
    assert all("[" in row.origin for row in rows)


@pytest.mark.parametrize("edition", [AFTER, BEFORE], ids=lambda e: e.label)
def test_each_says_that_a_later_amendment_is_in_force(edition):
    assert "A4:2026" in edition.standing


def test_the_header_says_that_a4_is_in_force_and_not_established():
    text = shipped_editions()[AFTER.label].read_text(encoding="utf-8")
    header = " ".join(line.lstrip("# ") for line in text.split("\n\n")[0].splitlines())
    assert "in force since October 2026" in header
    assert "NOT ESTABLISHED HERE" in header


def test_an_edition_is_found_by_short_name_label_and_path(tmp_path):
    path = shipped_editions()[AFTER.label]
    copy = tmp_path / "mine.toml"
    shutil.copy(path, copy)
    assert load_edition("a2-a3") == load_edition(AFTER.label) == load_edition(str(copy)) == AFTER
    assert load_edition("mine.toml", tmp_path) == AFTER


OWN = """
label = "site rules 2026"
standing = "in force on this site"
based_on = "a2-a3"

[loop]
measured_factor = "0.75"

[[insulation]]
test_voltage_V = "500"
at_least_Mohm = "2.0"
watch_Mohm = "5"
mark = "page"
source = "site rules"
"""


def test_a_user_can_add_an_edition_that_changes_only_what_differs(tmp_path):
    (tmp_path / "site.toml").write_text(OWN, encoding="utf-8")
    own = load_edition("site.toml", tmp_path)
    assert own.loop.measured_factor == Decimal("0.75") and own.loop.cmin == AFTER.loop.cmin
    assert [row.at_least_Mohm for row in own.insulation] == [2]  # rows are replaced whole
    verdict = judge(reading("ir_le", "1.5", "Mohm"), sheet(circuit()), own)
    assert (verdict.outcome, verdict.edition) == (Outcome.FAIL, "site rules 2026")
    assert judge(reading("ir_le", "1.5", "Mohm"), sheet(circuit()), AFTER).outcome is Outcome.MARGINAL


def broken(tmp_path, old: str, new: str) -> str:
    text = shipped_editions()[AFTER.label].read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "broken.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('"32" = "0.99"', '"32" = "-0.99"', r"table loop\.fuse, row 1, limits_ohm\.32"),
        ('cmin = "0.95"', 'cmin = "1.95"', r"table loop, cmin"),
        ('cmin = "0.95"', 'cmim = "0.95"', r"table loop, cm"),
        ('mark = "page"', 'mark = "sure"', r"table loop, mark"),
        ('multiple = "20"', 'multiple = "twenty"', r"table loop\.breaker, row 3, multiple"),
        ('system = "TT"', 'system = "IT"', r"table disconnection, row 4, system"),
        ('label = "BS', 'lable = "BS', r"label"),
        ('at_least_Mohm = "1.0"', 'at_least_Mohm = ""', r"table insulation, row 1, at_least_Mohm"),
    ],
)
def test_refusals_name_file_table_and_row(tmp_path, old, new, where):
    with pytest.raises(EditionError, match=where) as error:
        load_edition(broken(tmp_path, old, new))
    assert "broken.toml" in str(error.value)


def test_an_unknown_edition_lists_what_there_is():
    with pytest.raises(EditionError, match="a2-a3.*before-a2"):
        load_edition("a4")


def test_no_edition_chosen_is_refused():
    with pytest.raises(EditionError, match="no limit edition was chosen"):
        load_edition("")


@pytest.mark.parametrize("content", [b"label = ", b"\xff\xfe", b'label = "x"\nlabel = "y"'])
def test_what_is_not_toml_is_refused(tmp_path, content):
    (tmp_path / "bad.toml").write_bytes(content)
    with pytest.raises(EditionError, match=r"bad\.toml.*TOML"):
        load_edition("bad.toml", tmp_path)


def test_an_edition_based_on_itself_is_refused(tmp_path):
    (tmp_path / "a.toml").write_text('label = "a"\nbased_on = "b.toml"\n', encoding="utf-8")
    (tmp_path / "b.toml").write_text('label = "b"\nbased_on = "a.toml"\n', encoding="utf-8")
    with pytest.raises(EditionError, match="based on itself"):
        load_edition("a.toml", tmp_path)
