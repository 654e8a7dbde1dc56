"""A real browser, headless and with an empty profile: the pages are tried and pictured in it."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from voicelog.errors import DeviceError

if TYPE_CHECKING:
    from selenium.webdriver import Chrome

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
    "--hide-scrollbars",
)


@contextmanager
def chromium(width: int = 1280, height: int = 900) -> Iterator["Chrome"]:
    """Chromium with a window of so many pixels, its requests and complaints on record.

    DeviceError when Chromium, its driver or selenium is not installed.
    """
    binary, driver = next(filter(None, map(shutil.which, NAMES)), None), shutil.which("chromedriver")
    try:
        from selenium import webdriver
    except ImportError:
        webdriver = None
    if not (binary and driver and webdriver):
        raise DeviceError(
            "there is no browser to show the pages in.", do="Install Chromium with chromedriver, and selenium."
        )
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
        shutil.rmtree(profile, ignore_errors=True)


def wait_for(browser: "Chrome", script: str, seconds: float = 5.0) -> object:
    """Wait until a script gives something true, and give that back; selenium's TimeoutException when it never does."""
    from selenium.webdriver.support.ui import WebDriverWait

    return WebDriverWait(browser, seconds, poll_frequency=0.02).until(lambda b: b.execute_script(f"return {script}"))
