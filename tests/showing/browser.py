"""A real browser for the tests, every request it makes on the record."""

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")
OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--autoplay-policy=no-user-gesture-required",
    "--mute-audio",
)


@contextmanager
def chromium(width: int = 1280, height: int = 900) -> Iterator:
    """A headless Chromium with an empty profile; skips the test when none is installed."""
    binary, driver = next(filter(None, map(shutil.which, NAMES)), None), shutil.which("chromedriver")
    if not binary or not driver:
        pytest.skip("no Chromium with chromedriver is installed: the pages cannot be tried in a browser")
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    profile = tempfile.mkdtemp(prefix="pages-")
    options = webdriver.ChromeOptions()
    options.binary_location = binary
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    for option in (*OPTIONS, f"--user-data-dir={profile}", f"--window-size={width},{height}"):
        options.add_argument(option)
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    browser.set_script_timeout(10)
    try:
        yield browser
    finally:
        browser.quit()
        shutil.rmtree(Path(profile), ignore_errors=True)


def requested(browser) -> set[str]:
    """Addresses asked for since the last look, pages' own data excepted."""
    events = (json.loads(line["message"])["message"] for line in browser.get_log("performance"))
    asked = {e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"}
    return {address for address in asked if not address.startswith(("data:", "blob:", "chrome:", "chrome-untrusted:"))}


def complaints(browser) -> list[str]:
    """What the page's console says: errors, and whatever its security policy refused."""
    return [line["message"] for line in browser.get_log("browser") if line["level"] != "INFO"]


def wait_for(browser, script: str, seconds: float = 5.0):
    """Wait until a script gives something true, and give that back."""
    from selenium.webdriver.support.ui import WebDriverWait

    return WebDriverWait(browser, seconds, poll_frequency=0.02).until(lambda b: b.execute_script(f"return {script}"))
