"""A real browser for the tests, every request it makes on the record."""

import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest

from voicelog.errors import DeviceError
from voicelog.proving.browser import chromium as found
from voicelog.proving.browser import wait_for

__all__ = ["chromium", "complaints", "requested", "wait_for"]


@contextmanager
def chromium(width: int = 1280, height: int = 900) -> Iterator:
    """A headless Chromium; skips the test when none is installed."""
    with ExitStack() as stack:
        try:
            browser = stack.enter_context(found(width, height))
        except DeviceError as missing:
            pytest.skip(str(missing))
        yield browser


def requested(browser) -> set[str]:
    """Addresses asked for since the last look, pages' own data excepted."""
    events = (json.loads(line["message"])["message"] for line in browser.get_log("performance"))
    asked = {e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"}
    return {address for address in asked if not address.startswith(("data:", "blob:", "chrome:", "chrome-untrusted:"))}


def complaints(browser) -> list[str]:
    """What the page's console says: errors, and whatever its security policy refused."""
    return [line["message"] for line in browser.get_log("browser") if line["level"] != "INFO"]
