"""The live page: states in order to every viewer, nothing missed, and an answer only to the reading it names."""

import json
import queue
import threading
from contextlib import contextmanager
from datetime import UTC
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from tests.showing import sample
from voicelog.errors import DeviceError
from voicelog.keeping.record import fold
from voicelog.showing import live_view
from voicelog.showing.guard import KEY_HEADER, Key
from voicelog.showing.live_state import LiveState, live_state
from voicelog.showing.live_view import LiveView, Tap
from voicelog.showing.serving import LOOPBACK, Served, network_address, qr_for_page, qr_for_terminal
from voicelog.showing.wording import load_wording

ENTRIES, SHEET, WORDS = sample.story(), sample.sheet(), load_wording()


def state(upto: int, **more) -> LiveState:
    return live_state(SHEET, fold(ENTRIES[:upto]), WORDS, zone=UTC, **more)


def view() -> LiveView:
    return LiveView("HALL-7", lambda tap: None)


# ------------------------------------------------------------------ the state


def test_a_reading_that_waits_is_shown_with_its_limit_and_awaits_an_answer():
    seen = state(7)
    assert (seen.awaits, seen.awaiting) == (7, "an answer")
    now = seen.now
    assert (now.place, now.name, now.value, now.unit) == ("circuit 5", "stage right sockets", "0.72", "Ω")
    assert (now.outcome, now.sign, now.verdict, now.standing) == ("pass", "✓", "within limit", "not yet answered")
    assert now.limit == sample.ZS_32


def test_an_answered_reading_awaits_nothing():
    assert (state(9).awaits, state(9).awaiting) == (0, "a reading")
    assert state(9).now.standing == "affirmed"


def test_the_last_five_lines_stand_below_latest_first():
    assert [line.number for line in state(48).last] == [44, 42, 40, 38, 36]
    assert state(0).now is None and state(0).last == ()


def test_a_word_has_no_unit_and_an_ended_session_takes_no_answer():
    assert (state(47).now.value, state(47).now.unit) == ("over range", "")
    assert state(47, ended=True).awaits == 0


def test_a_reading_left_unanswered_takes_no_tap_while_the_session_waits_for_something_else():
    assert state(7, asks=False).awaits == 0 and state(7, asks=False).now.standing == "not yet answered"


# ------------------------------------------------------------------ nothing is missed


def test_whoever_was_away_gets_what_was_missed():
    live = view()
    for upto in (2, 4, 7, 9):
        live.publish(state(upto))
    first = f"{live._run}-1"
    assert [event.number for event in live.missed(first)] == [2, 3, 4]
    assert live.missed(f"{live._run}-4") == ()


@pytest.mark.parametrize("last_seen", ["", "nonsense", "another-1", "x" * 5000, "{run}-²", "{run}-" + "1" * 5000])
def test_whoever_is_new_gets_the_present(last_seen):
    live = view()
    live.publish(state(2))
    live.publish(state(4))
    last_seen = last_seen.replace("{run}", live._run)
    assert [event.number for event in live.missed(last_seen)] == [2]


def test_whoever_slept_too_long_gets_the_present(monkeypatch):
    monkeypatch.setattr(live_view, "KEPT_EVENTS", 3)
    live = view()
    for _ in range(10):
        live.publish(state(2))
    assert [event.number for event in live.missed(f"{live._run}-2")] == [10]
    assert [event.number for event in live.missed(f"{live._run}-7")] == [8, 9, 10]


def _states(url: str, wanted: int, after: str = "", seen=lambda: None) -> list[tuple[str, dict]]:
    """So many events from the stream, as (id, state); ``seen`` is called at each."""
    found, last = [], ""
    with httpx.stream("GET", url.replace("/?", "/events?") + after, timeout=5) as stream:
        for line in stream.iter_lines():
            if line.startswith("id: "):
                last = line[4:]
            elif line.startswith("data: "):
                found.append((last, json.loads(line[6:])))
                seen()
                if len(found) == wanted:
                    return found
    return found


def test_many_viewers_follow_and_one_that_was_cut_off_catches_up():
    live = view()
    with Served(live.app) as served:
        live.publish(state(2))
        results, arrived = queue.Queue(), threading.Semaphore(0)

        def follow():
            results.put(_states(served.url, 3, seen=arrived.release))

        viewers = [threading.Thread(target=follow) for _ in range(8)]
        for viewer in viewers:
            viewer.start()
        for _ in viewers:  # each has its first state: a viewer that comes later begins with the present one
            assert arrived.acquire(timeout=5)
        assert live.viewers == 8
        live.publish(state(7))
        live.publish(state(9))
        for viewer in viewers:
            viewer.join(5)
        seen = [results.get_nowait() for _ in viewers]
        assert all([s["now"]["number"] for _, s in got] == [2, 7, 8] for got in seen)
        first = seen[0][0][0]
        assert [s["now"]["number"] for _, s in _states(served.url, 2, f"&after={first}")] == [7, 8]


# ------------------------------------------------------------------ answers


def _client(live: LiveView) -> TestClient:
    return TestClient(live.app)


def test_an_answer_reaches_the_session_once():
    taps: list[Tap] = []
    live = LiveView("HALL-7", taps.append)
    live.publish(state(7))
    client = _client(live)
    assert client.post("/answer", json={"answer": "affirm", "line": 7}).status_code == 202
    late = client.post("/answer", json={"answer": "negative", "line": 7})
    assert late.status_code == 409 and "no longer waiting" in late.json()["why"]
    assert taps == [Tap(answer="affirm", line=7)]


@pytest.mark.parametrize(("upto", "line"), [(7, 6), (7, 8), (9, 8), (9, 0), (0, 0), (47, 7)])
def test_an_answer_to_another_reading_is_refused(upto, line):
    taps: list[Tap] = []
    live = LiveView("HALL-7", taps.append)
    live.publish(state(upto))
    assert _client(live).post("/answer", json={"answer": "affirm", "line": line}).status_code == 409
    assert taps == []


@pytest.mark.parametrize(
    "body", [b"", b"{}", b"[]", b"\xff", b'{"answer": "maybe", "line": 7}', b'{"answer": "affirm", "line": "x"}']
)
def test_what_is_no_answer_is_refused(body):
    live = view()
    live.publish(state(7))
    assert _client(live).post("/answer", content=body).status_code == 422


# ------------------------------------------------------------------ serving


def test_loopback_alone_unless_the_network_is_asked_for():
    with Served(view().app) as served:
        assert served.addresses == (LOOPBACK,) and served.invitation == ""
        assert httpx.get(served.url).status_code == 200
        assert httpx.get(f"http://{LOOPBACK}:{served.port}/").status_code == 403


def test_on_the_network_by_key_only():
    try:
        address = network_address()
    except DeviceError:
        pytest.skip("this computer has no address on a local network")
    with Served(view().app, network=True) as served:
        assert served.invitation == f"http://{address}:{served.port}/?key={served.key.secret}"
        assert httpx.get(served.invitation).status_code == 200
        for path in ("/", "/state", "/events", "/openapi.json", "/assets/live.js", "/nothing"):
            assert httpx.get(f"http://{address}:{served.port}{path}").status_code == 403


def test_an_open_stream_does_not_keep_the_server_alive():
    live = view()
    with Served(live.app, Key()) as served:
        with httpx.stream("GET", served.url.replace("/?", "/events?"), timeout=5) as stream:
            next(stream.iter_lines())
            served._server.should_exit = True
            served._thread.join(5)
        assert not served._thread.is_alive()


def test_a_taken_port_is_told_in_words():
    with (
        Served(view().app) as first,
        pytest.raises(DeviceError, match="another port"),
        Served(view().app, port=first.port),
    ):
        pass


def test_the_qr_code_says_the_address():
    address = "http://192.168.1.20:8765/?key=abcdefghijklmnopqrstuv"
    assert len(qr_for_terminal(address).splitlines()) > 10
    assert qr_for_page(address).startswith("data:image/svg+xml")


def test_the_openapi_document_names_every_endpoint_but_pages_and_stream():
    paths = set(_client(view()).get("/openapi.json").json()["paths"])
    routes = {route.path for route in view().app.routes}
    assert paths == routes - {"/", "/events", "/openapi.json", "/assets/{name}"}


# ------------------------------------------------------------------ in a browser


@contextmanager
def foreign_site():
    """An empty page at another port, which is another origin, with no policy of its own."""

    class Page(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer((LOOPBACK, 0), Page) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://{LOOPBACK}:{server.server_port}/"
        server.shutdown()


@pytest.fixture
def live_page(browser):
    from tests.showing.browser import complaints, requested

    taps = queue.Queue()
    live = LiveView("HALL-7", taps.put)
    live.publish(state(4))
    requested(browser), complaints(browser)
    with Served(live.app) as served:
        browser.get(served.url)
        yield live, taps, served
        browser.get("about:blank")


def test_the_page_follows_and_taps_come_back(browser, live_page):
    from tests.showing.browser import complaints, requested, wait_for

    live, taps, served = live_page
    wait_for(browser, "document.getElementById('value').textContent === 'pass'")
    live.publish(state(7))
    wait_for(browser, "document.getElementById('value').textContent === '0.72'")
    card = browser.find_element("id", "now").text
    assert all(words in card for words in ("circuit 5", "stage right sockets", "Ω", "within limit", sample.ZS_32))
    browser.find_element("css selector", "[data-answer=affirm]").click()
    assert taps.get(timeout=3) == Tap(answer="affirm", line=7)
    wait_for(browser, "document.getElementById('tapped').textContent.startsWith('Sent')")
    assert all(address.startswith(f"http://{LOOPBACK}:{served.port}/") for address in requested(browser))
    assert complaints(browser) == []


def test_the_page_catches_up_after_its_connection_was_cut(browser, live_page):
    from tests.showing.browser import wait_for

    live, _, _ = live_page
    wait_for(browser, "document.getElementById('value').textContent === 'pass'")
    browser.execute_script("stream.close(); heardAt = 0")
    live.publish(state(22))
    assert browser.execute_script("return document.getElementById('value').textContent") == "pass"
    browser.execute_script("dispatchEvent(new Event('pageshow'))")  # the phone wakes
    wait_for(browser, "document.getElementById('value').textContent === '1.20'")
    assert browser.execute_script("return document.querySelectorAll('#last li').length") == 5


def test_buttons_rest_while_nothing_is_awaited(browser, live_page):
    from tests.showing.browser import wait_for

    wait_for(browser, "document.getElementById('value').textContent === 'pass'")
    live_page[0].publish(state(9))
    wait_for(browser, "document.getElementById('value').textContent === '0.27'")
    assert all(button.get_attribute("disabled") for button in browser.find_elements("css selector", "[data-answer]"))


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 720), (1440, 900)])
def test_answers_and_cautions_stay_in_sight_however_long_the_limits_sentence(browser, live_page, width, height):
    from tests.showing.browser import wait_for

    screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    now = state(7).now.model_copy(update={"limit": "At most 1.09 ohm measured. " * 12, "caution": "Isolate. " * 12})
    live_page[0].publish(state(7).model_copy(update={"now": now}))
    wait_for(browser, "!document.getElementById('caution').hidden")
    in_sight = """const box = document.querySelector(arguments[0]).getBoundingClientRect();
        return box.top >= 0 && box.bottom <= innerHeight && box.left >= 0 && box.right <= innerWidth
          && document.querySelector(arguments[0]).contains(document.elementFromPoint(box.left + 9, box.bottom - 9))"""
    for what in ("#caution", "[data-answer=affirm]", "[data-answer=correction]"):
        assert browser.execute_script(in_sight, what), what
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_on_a_phone_on_its_side_the_value_and_its_verdict_stand_above_the_answers(browser, live_page):
    """Whoever affirms by a tap must see what is affirmed, and that it is outside its limit."""
    from tests.showing.browser import wait_for

    screen = {"width": 740, "height": 360, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    now = state(7).now.model_copy(update={"caution": "Disconnect what the test can damage: tea urn."})
    live_page[0].publish(state(7).model_copy(update={"now": now}))
    wait_for(browser, "!document.getElementById('caution').hidden")
    whole = """const box = document.getElementById(arguments[0]).getBoundingClientRect();
        return box.top >= 0 && box.bottom <= document.querySelector('.waits').getBoundingClientRect().top"""
    assert all(browser.execute_script(whole, part) for part in ("place", "value", "unit", "verdict"))
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 740
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_a_foreign_page_can_neither_answer_nor_look(browser, live_page):
    live, taps, served = live_page
    live.publish(state(7))
    with foreign_site() as address:
        browser.get(address)
        told = browser.execute_async_script(
            """const [port, key, done] = arguments;
            const ask = (path, options) => fetch(`http://127.0.0.1:${port}${path}?key=${key}`, options)
              .then((r) => r.type + r.status, () => 'refused');
            const body = '{"answer": "affirm", "line": 7}';
            Promise.all([
              ask('/answer', {method: 'POST', headers: {'x-voicelog-key': key}, body}),
              ask('/answer', {method: 'POST', mode: 'no-cors', body}),
              ask('/state', {}),
              ask('/state', {mode: 'no-cors'}),
            ]).then(done)""",
            served.port,
            served.key.secret,
        )
    assert told == ["refused"] * 4  # nothing can be read
    assert taps.empty()  # and nothing was answered


def test_a_forged_origin_is_refused_even_with_the_key(live_page):
    _, taps, served = live_page
    headers = {KEY_HEADER: served.key.secret, "origin": "http://evil.example"}
    url = f"http://{LOOPBACK}:{served.port}/answer"
    assert httpx.post(url, json={"answer": "affirm", "line": 4}, headers=headers).status_code == 403
    assert taps.empty()  # and nothing was answered
