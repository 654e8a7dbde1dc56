import pytest

from tests.showing.browser import chromium


@pytest.fixture(scope="package")
def browser():
    with chromium() as found:
        yield found
