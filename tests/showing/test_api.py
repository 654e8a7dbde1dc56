"""Both servers against their own OpenAPI documents: whatever is sent, what comes back is what was promised."""

import pytest
from hypothesis import HealthCheck, settings
from starlette.applications import Starlette

from tests.showing import sample
from voicelog.keeping.record import fold
from voicelog.showing.guard import KEY_HEADER, Guard, Key
from voicelog.showing.live_state import live_state
from voicelog.showing.live_view import LiveView
from voicelog.showing.review_desk import ReviewDesk
from voicelog.showing.review_view import ReviewView
from voicelog.showing.wording import load_wording

schemathesis = pytest.importorskip("schemathesis", reason="schemathesis is not installed")
from schemathesis.specs.openapi.checks import positive_data_acceptance  # noqa: E402

HOST = "127.0.0.1:8000"
KEY = Key()
HEADERS = {KEY_HEADER: KEY.secret, "host": HOST}
FEW = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))


def guarded(app: Starlette) -> Guard:
    return Guard(app, KEY, lambda: frozenset([HOST]))


def live() -> Guard:
    view = LiveView("HALL-7", lambda tap: None)
    view.publish(live_state(sample.sheet(), fold(sample.story()[:7]), load_wording()))
    return guarded(view.app)


def review() -> Guard:
    tell = sample.Story()
    tell.entries = list(sample.story())

    def append(draft):
        number = tell.add(
            draft.kind, **{name: getattr(draft, name) for name in ("place", "reading", "refers", "detail")}
        )
        return tell.entries[number - 1]

    return guarded(ReviewView(ReviewDesk(sample.sheet(), sample.story(), append, "the reviewer"), None).app)


def described(app: Guard):
    return schemathesis.openapi.from_asgi("/openapi.json", app, headers=HEADERS)


LIVE, REVIEW = described(live()), described(review())


@LIVE.parametrize()
@FEW
def test_the_live_page_keeps_its_promises(case):
    case.call_and_validate(headers=HEADERS)


# A wish may obey the schema and yet name no line, or a value that its quantity cannot have: 422 is right then.
BEYOND_THE_SCHEMA = [positive_data_acceptance]


@REVIEW.parametrize()
@FEW
def test_the_review_keeps_its_promises(case):
    case.call_and_validate(headers=HEADERS, excluded_checks=BEYOND_THE_SCHEMA)
