"""The log page: everything that happened, nothing from outside, and sound only when it is the sound that was kept."""

import base64
import re
from datetime import UTC
from html.parser import HTMLParser

import pytest

from tests.showing import sample
from voicelog.errors import KeepingError
from voicelog.keeping.record import fold
from voicelog.model import EntryKind, Place
from voicelog.showing.clips import ClipShelf, shelf_for
from voicelog.showing.log_page import log_page, log_rows, summary, write_log
from voicelog.showing.pages import script_hash
from voicelog.showing.wording import load_wording

ENTRIES = sample.story()
PAGE = log_page(sample.sheet(), ENTRIES, zone=UTC)


def rows(entries=ENTRIES, shelf=None):
    return {
        row.number: row
        for row in log_rows(entries, fold(entries), sample.sheet(), shelf or ClipShelf(), UTC, load_wording())
    }


class Tags(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


def test_a_reading_tells_what_was_heard_kept_said_answered_and_judged():
    row = rows()[8]
    assert (row.time, row.heard) == ("09:30:28", "correction zero point two seven ohms")
    assert (row.place, row.quantity) == ("DB1 circuit 5, stage right sockets", "earth fault loop impedance")
    assert (row.value, row.answer) == ("0.27 Ω", "affirmed (“affirm”)")
    assert row.notes == ("in place of line 7", "because: heard wrong")
    assert row.verdict.words == "within limit" and row.verdict.sentence == sample.ZS_32
    assert row.said_back == "correction zero point two seven ohms?"


def test_what_was_replaced_or_withdrawn_stays_and_says_so():
    assert (rows()[7].value, rows()[7].answer, rows()[7].links) == ("0.72 Ω", "replaced by", (8,))
    assert rows()[23].answer == "withdrawn"
    assert (rows()[25].event, rows()[25].links) == ("Withdrawn: the line it points at does not count", (23,))


def test_silence_is_shown_as_no_answer():
    assert rows()[47].answer == "not yet answered"
    assert "1 is not yet answered." in summary(fold(ENTRIES))


def test_every_entry_is_told_once_answers_with_their_line():
    told = set(rows()) | {entry.number for entry in ENTRIES if entry.kind in (EntryKind.AFFIRMED, EntryKind.STOOD)}
    assert told == {entry.number for entry in ENTRIES}


@pytest.mark.parametrize("kind", list(EntryKind))
def test_every_kind_of_entry_has_a_row_even_when_it_refers_to_nothing(kind):
    tell = sample.Story()
    tell.add(kind, "some words", place=sample.place("5"), refers=99)
    row = rows(tell.entries)[1]
    assert row.event and row.heard == "some words"


def test_the_summary_counts_what_stands():
    assert summary(fold(ENTRIES)).startswith(
        "18 readings stand: 6 within limit, 1 near the limit, 1 outside limit, 10 no limit known."
    )
    assert summary(fold(())) == "0 readings stand. None awaits an answer."


def test_the_date_is_shown_when_it_changes():
    assert [row.day for row in rows().values()][:3] == ["2026-03-14", "", ""]


def test_words_from_the_job_cannot_become_markup():
    tell = sample.Story()
    tell.affirmed("<script>alert(1)</script>", sample.reading(Place(board="<b>DB1</b>"), "zs", "1", "ohm"))
    page = log_page(sample.sheet(), tell.entries)
    assert "<script>alert" not in page and "&lt;script&gt;alert" in page and "<b>DB1" not in page


def test_the_page_asks_for_nothing_from_outside():
    for tag, attributes in Tags(PAGE).found:
        assert not attributes.get("src") and tag not in ("link", "iframe", "img", "base")
        assert not re.match(r"https?:|//", attributes.get("href") or "")
    assert "url(" not in PAGE and "@import" not in PAGE


def test_the_policy_names_the_one_script():
    policy = next(a["content"] for t, a in Tags(PAGE).found if a.get("http-equiv") == "Content-Security-Policy")
    script = re.search(r"<script>(.*?)</script>", PAGE, re.DOTALL).group(1)
    assert "default-src 'none'" in policy and f"'{script_hash(script)}'" in policy


def test_it_carries_the_cautions_the_edition_and_the_journal_head():
    assert "the edition of the standard in force" in PAGE and "proved dead" in PAGE
    assert sample.EDITION in PAGE and ENTRIES[-1].digest in PAGE


def test_buttons_and_columns_are_labelled(tmp_path):
    entries = sample.story(tmp_path)
    page = log_page(sample.sheet(), entries, shelf_for(entries, tmp_path, tmp_path))
    buttons = [a for t, a in Tags(page).found if t == "button"]
    assert buttons and all(button.get("aria-label") for button in buttons)
    assert [a.get("scope") for t, a in Tags(page).found if t == "th"] == ["col"] * 8


# ------------------------------------------------------------------ sound


def test_small_clips_stand_inside_the_page(tmp_path):
    entries = sample.story(tmp_path)
    sound = rows(entries, shelf_for(entries, tmp_path, tmp_path))[7].sound
    kind, data = sound.src.split(",")
    assert kind == "data:audio/wav;base64" and base64.b64decode(data) == (tmp_path / "000007.wav").read_bytes()


def test_many_clips_lie_beside_the_page(tmp_path):
    entries = sample.story(tmp_path / "my clips")
    shelf = shelf_for(entries, tmp_path / "my clips", tmp_path / "out", up_to_bytes=1000)
    assert rows(entries, shelf)[7].sound.src == "../my%20clips/000007.wav"


def test_a_missing_changed_or_removed_clip_is_never_offered(tmp_path):
    entries = list(sample.story(tmp_path))
    (tmp_path / "000007.wav").unlink()
    (tmp_path / "000008.wav").write_bytes(b"another sound")
    tell = sample.Story(tmp_path)
    tell.entries = entries
    tell.add(EntryKind.REVIEWED, refers=10, detail={"action": "clip removed"})
    found = rows(tell.entries, shelf_for(tell.entries, tmp_path, tmp_path))
    assert [found[n].sound.why for n in (7, 8, 10)] == ["sound missing", "sound was changed", "sound removed"]
    assert not any(found[n].sound.src for n in (7, 8, 10))


def test_sounds_can_be_left_out_of_the_page(tmp_path):
    entries = sample.story(tmp_path / "clips")
    write_log(sample.sheet(), entries, tmp_path / "clips", tmp_path / "log.html", sounds=False)
    page = (tmp_path / "log.html").read_text(encoding="utf-8")
    assert "sound left out" in page and "data-sound" not in page and "base64," not in page


def test_a_clip_name_never_leads_out_of_the_folder(tmp_path):
    (tmp_path / "secret.wav").write_bytes(b"not for the page")
    entry = ENTRIES[1].model_copy(update={"clip": "../secret.wav"})
    assert ClipShelf(tmp_path / "clips", tmp_path).sound(entry).why == "sound missing"


def test_writing_to_nowhere_is_told_in_words(tmp_path):
    with pytest.raises(KeepingError):
        write_log(sample.sheet(), ENTRIES, None, tmp_path / "missing" / "log.html")


# ------------------------------------------------------------------ in a browser


@pytest.mark.parametrize("up_to_bytes", [10_000_000, 0])
def test_sound_is_heard_from_inside_the_page_and_from_beside_it(browser, tmp_path, up_to_bytes):
    from tests.showing.browser import complaints, requested, wait_for

    requested(browser), complaints(browser)
    entries = sample.story(tmp_path / "clips")
    shelf = shelf_for(entries, tmp_path / "clips", tmp_path, up_to_bytes)
    (tmp_path / "log.html").write_text(log_page(sample.sheet(), entries, shelf), encoding="utf-8")
    browser.get((tmp_path / "log.html").as_uri())
    button = browser.find_element("css selector", "#line-7 button.play")
    assert button.get_attribute("aria-label") == "Play the sound of line 7"
    button.click()
    wait_for(browser, "player.currentTime > 0.02 || player.ended")
    wait_for(browser, "document.querySelectorAll('[aria-pressed=true]').length === 0")  # it ends, and the button rests
    assert all(address.startswith("file://") for address in requested(browser))
    assert complaints(browser) == []


def test_on_a_phone_nothing_lies_beside_the_screen(browser, tmp_path):
    (tmp_path / "log.html").write_text(PAGE, encoding="utf-8")
    screen = {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    browser.get((tmp_path / "log.html").as_uri())
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
