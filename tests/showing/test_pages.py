"""Every template, style sheet and script: nothing from outside, nothing against the policy, legible in any light."""

import re
from pathlib import Path

import pytest

from voicelog.showing import pages
from voicelog.showing.guard import POLICY

FOLDER = Path(pages.__file__).parent
FILES = sorted(path for path in FOLDER.iterdir() if path.suffix in (".html", ".css", ".js", ".typ"))
LEAST_CONTRAST = 4.5  # WCAG 2.2, success criterion 1.4.3 (AA) for ordinary text


def named(path):
    return path.name


def test_there_is_something_to_look_at():
    assert {path.suffix for path in FILES} == {".html", ".css", ".js", ".typ"} and len(FILES) >= 10


@pytest.mark.parametrize("path", FILES, ids=named)
def test_no_file_names_an_outside_address(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"https?:|//[a-z0-9.-]+\.[a-z]{2,}|@import|url\(|fonts\.|cdn", text)


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix == ".html"], ids=named)
def test_no_page_needs_what_the_policy_forbids(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\son[a-z]+=|\sstyle=|javascript:", text)  # handlers and styles written into the markup
    assert "|safe" not in text
    served = "/assets/" in text
    assert not (served and re.search(r"<style|<script>", text)) and ("unsafe" not in POLICY)


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix == ".html" and p.name != "macros.html"], ids=named)
def test_every_page_says_its_language_title_and_size(path):
    text = path.read_text(encoding="utf-8")
    assert '<html lang="en">' in text and "<title>" in text and "width=device-width" in text


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix == ".js"], ids=named)
def test_scripts_write_text_never_markup(path):
    text = path.read_text(encoding="utf-8")
    assert text.count('"use strict"') == 1
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(|new Function", text)


def palettes() -> list[dict[str, str]]:
    """The light and the dark colours of base.css."""
    css = (FOLDER / "base.css").read_text(encoding="utf-8")
    found = [
        dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))
        for block in re.findall(r":root \{(.*?)\}", css, re.DOTALL)
    ]
    light, dark = found
    return [light, light | dark]


def luminance(colour: str) -> float:
    """Relative luminance, as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_reckoned_as_the_guideline_does():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2: black on white is 21 to 1
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # the well-known grey that just fails


@pytest.mark.parametrize("light", [0, 1], ids=["light", "dark"])
def test_words_can_be_read_on_their_ground(light):
    colours = palettes()[light]
    pairs = [(ink, ground) for ink in ("ink", "quiet", "link") for ground in ("paper", "raised", "none-wash")]
    pairs += [(kind, f"{kind}-wash") for kind in ("good", "near", "bad", "none")]
    pairs += [("ink", f"{kind}-wash") for kind in ("good", "near", "bad")]
    pairs += [("near", "paper"), ("bad", "paper"), ("near", "none-wash")]
    poor = {pair: round(contrast(*(colours[name] for name in pair)), 2) for pair in pairs}
    assert {pair: ratio for pair, ratio in poor.items() if ratio < LEAST_CONTRAST} == {}


def test_the_log_prints_as_a_table_with_its_headings_on_every_page(browser, tmp_path):
    import base64
    import io

    import pypdf

    from tests.showing import sample
    from voicelog.showing.log_page import log_page

    (tmp_path / "log.html").write_text(log_page(sample.sheet(), sample.story()), encoding="utf-8")
    browser.get((tmp_path / "log.html").as_uri())
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    pdf = pypdf.PdfReader(io.BytesIO(base64.b64decode(printed["data"])))
    texts = [page.extract_text() for page in pdf.pages]
    assert len(texts) > 1 and all("Kept as" in text and "Verdict" in text for text in texts[:-1])
    assert "0.27 Ω" in " ".join(texts) and pdf.pages[0].mediabox.width > pdf.pages[0].mediabox.height
