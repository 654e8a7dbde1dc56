"""Who may look and who may answer: one key, one host, no foreign page. For every server of this room.

    no key, a wrong one, one that has expired            403
    a Host that is not ours (a name pointed at us)       403
    a change asked for by a page of another origin       403
    a body longer than a form needs                      413

Every response forbids the browser to ask anything of anyone else.
"""

import json
import re
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders, QueryParams
from starlette.types import ASGIApp, Message, Receive, Scope, Send

KEY_BYTES = 16  # 128 bits: not to be guessed
KEY_HEADER = "x-voicelog-key"
KEY_PARAMETER = "key"  # an event stream and an address in a QR code cannot carry a header
LIFETIME_S = 12 * 3600  # a long working day
BODY_LIMIT_BYTES = 64 * 1024
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "media-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True)
class Key:
    """A secret made for one session, with an end. ``clock`` counts seconds and never goes back."""

    secret: str = field(default_factory=lambda: secrets.token_urlsafe(KEY_BYTES), repr=False)
    lifetime_s: float = LIFETIME_S
    clock: Callable[[], float] = time.monotonic
    made_at_s: float | None = None

    def __post_init__(self) -> None:
        if self.made_at_s is None:
            object.__setattr__(self, "made_at_s", self.clock())

    @property
    def expired(self) -> bool:
        return self.clock() - self.made_at_s >= self.lifetime_s

    def refusal(self, offered: str) -> str:
        """Why the offered secret opens nothing; empty when it opens."""
        if not offered:
            return "This address needs the key that the program shows."
        if not secrets.compare_digest(offered.encode(), self.secret.encode()):
            return "The key is not the one of this session."
        return "The key has expired: start the page again." if self.expired else ""


class Guard:
    """ASGI middleware: lets nothing through without the key, whatever the address asked for."""

    def __init__(self, app: ASGIApp, key: Key, hosts: Callable[[], frozenset[str]]) -> None:
        self.app, self.key, self.hosts = app, key, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refused = self._refused(scope)
        if refused:
            await _refuse(send, *refused)
            return
        await self.app(scope, receive, _with_headers(send))

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers, query = Headers(scope=scope), QueryParams(scope["query_string"])
        host = headers.get("host", "")
        if host.lower() not in self.hosts():
            return 403, "That is not an address of this program."
        if why := self.key.refusal(headers.get(KEY_HEADER) or query.get(KEY_PARAMETER, "")):
            return 403, why
        if scope["method"] not in ("GET", "HEAD"):
            return _refused_change(headers, host)
        return None


def _refused_change(headers: Headers, host: str) -> tuple[int, str] | None:
    """A change comes from our own page, with the key in a header that no foreign page may set."""
    if headers.get("origin", f"http://{host}") != f"http://{host}":
        return 403, "A page of another origin cannot answer here."
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return 403, "A page of another origin cannot answer here."
    if not headers.get(KEY_HEADER):
        return 403, f"A change needs the key in the header {KEY_HEADER}."
    length = headers.get("content-length", "")
    if not re.fullmatch("[0-9]{1,9}", length) or int(length) > BODY_LIMIT_BYTES:
        return 413, f"A change says its length, at most {BODY_LIMIT_BYTES} bytes."
    return None


async def _refuse(send: Send, status: int, why: str) -> None:
    body = json.dumps({"why": why}).encode()
    headers = MutableHeaders({**HEADERS, "content-type": "application/json", "content-length": str(len(body))})
    await send({"type": "http.response.start", "status": status, "headers": headers.raw})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
        await send(message)

    return guarded
