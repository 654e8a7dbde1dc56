"""Who may look and who may answer: everyone else gets 403, and no page may ask anything of anyone else."""

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from voicelog.showing.guard import BODY_LIMIT_BYTES, KEY_HEADER, Guard, Key

HOST = "127.0.0.1:8000"


class Clock:
    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


CLOCK = Clock()
KEY = Key("the-key", lifetime_s=60, clock=CLOCK)


async def _hello(request):
    return PlainTextResponse("hello")


CLIENT = TestClient(
    Guard(Starlette(routes=[Route("/", _hello, methods=["GET", "POST"])]), KEY, lambda: frozenset([HOST])),
    base_url=f"http://{HOST}",
)


@pytest.fixture(autouse=True)
def _soon_after():
    CLOCK.now_s = 101.0


def test_the_key_opens_by_address_or_header():
    assert CLIENT.get("/?key=the-key").text == "hello"
    assert CLIENT.get("/", headers={KEY_HEADER: "the-key"}).text == "hello"


@pytest.mark.parametrize(
    "address", ["/", "/?key=", "/?key=wrong", "/?key=THE-KEY", "/?key=the-key2", "/?key=é", "/other"]
)
def test_no_key_or_a_wrong_one_is_refused_everywhere(address):
    response = CLIENT.get(address)
    assert response.status_code == 403 and "key" in response.json()["why"]


def test_an_expired_key_is_refused():
    CLOCK.now_s = 160.0
    response = CLIENT.get("/?key=the-key")
    assert response.status_code == 403 and "expired" in response.json()["why"]


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1:9999", "", "127.0.0.1:8000.evil.example"])
def test_a_name_pointed_at_us_is_refused(host):
    assert CLIENT.get("/?key=the-key", headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"origin": f"http://{HOST}"}, 200),
        ({"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}, 200),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": f"https://{HOST}"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
    ],
)
def test_a_change_comes_from_our_own_page(headers, status):
    assert CLIENT.post("/", content=b"{}", headers={KEY_HEADER: "the-key", **headers}).status_code == status


def test_a_change_needs_the_key_in_the_header_that_no_foreign_form_can_set():
    assert CLIENT.post("/?key=the-key", content=b"{}").status_code == 403


def test_a_long_body_or_one_of_unknown_length_is_not_read():
    headers = {KEY_HEADER: "the-key"}
    assert CLIENT.post("/", content=b"x" * (BODY_LIMIT_BYTES + 1), headers=headers).status_code == 413
    assert CLIENT.post("/", content=iter([b"x"]), headers=headers).status_code == 413
    for length in ("\xb2".encode("latin-1"), b"1" * 5000):  # digits of a kind, and no number
        assert CLIENT.post("/", content=b"", headers=[*headers.items(), ("content-length", length)]).status_code == 413


def test_every_answer_forbids_outside_requests():
    for response in (CLIENT.get("/?key=the-key"), CLIENT.get("/")):
        policy = response.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'") and "http" not in policy and "*" not in policy
        assert response.headers["referrer-policy"] == "no-referrer"
        assert response.headers["cache-control"] == "no-store"


def test_keys_differ_and_do_not_show_when_printed():
    keys = {Key().secret for _ in range(50)}
    assert len(keys) == 50 and min(map(len, keys)) >= 22  # 16 bytes as base64
    assert KEY.secret not in repr(KEY)
