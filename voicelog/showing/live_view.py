"""The live page: one screen at two metres, or a phone on the board; the mate may answer by hand.

    view = LiveView("HALL-7", on_tap=queue.put)
    with Served(view.app, network=True) as served:
        print(served.invitation)
        view.publish(state)                    # from any thread

Events are numbered and the last of them kept: a viewer that was away says the last one it saw, and gets
what it missed. An answer names the reading it is about; one that comes too late is refused, so a tap
never answers the next reading.
"""

import asyncio
import re
import secrets
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Literal

from pydantic import StrictInt, ValidationError
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from voicelog.model import Noun
from voicelog.showing.answers import UNKNOWN, told
from voicelog.showing.assets import asset_route
from voicelog.showing.guard import KEY_PARAMETER
from voicelog.showing.live_api import live_openapi
from voicelog.showing.live_state import LiveState
from voicelog.showing.pages import render
from voicelog.showing.wording import CAUTIONS

KEPT_EVENTS = 1000  # a phone that slept through more gets the present state instead
BEAT_S = 10.0  # a sign of life, so that a page can tell a quiet crew from a lost connection


class Tap(Noun):
    """An answer given by hand to the reading ``line``."""

    answer: Literal["affirm", "negative", "correction"]
    line: StrictInt  # "true" is no number


@dataclass(frozen=True)
class Event:
    """One state, numbered."""

    number: int
    data: str  # LiveState as JSON


class LiveView:
    """The page, its events and its answers. Everything but ``app`` may be called from any thread."""

    def __init__(self, title: str, on_tap: Callable[[Tap], None], invitation: Callable[[], str] = str) -> None:
        """``on_tap`` runs on the server's thread: let it only hand the tap over. ``invitation``: a QR code's URI."""
        self._title, self._on_tap, self._invitation = title, on_tap, invitation
        self._run = secrets.token_hex(4)  # event numbers of another run mean nothing
        self._lock = threading.Lock()
        self._events: deque[Event] = deque(maxlen=KEPT_EVENTS)
        self._state = LiveState(job=title)
        self._answered = 0  # the last reading that was answered by hand
        self._viewers: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()
        self._closed = False
        self.app = Starlette(
            routes=[
                Route("/", self._page),
                Route("/events", self._stream),
                Route("/state", self._present),
                Route("/answer", self._answer, methods=["POST"]),
                Route("/openapi.json", self._openapi),
                asset_route("base.css", "live.css", "live.js"),
            ],
            exception_handlers=UNKNOWN,
        )

    def publish(self, state: LiveState) -> int:
        """Show ``state`` to every viewer; gives back the number of the event."""
        with self._lock:
            self._state = state
            number = self._events[-1].number + 1 if self._events else 1
            self._events.append(Event(number, state.model_dump_json()))
        self._wake()
        return number

    def close(self) -> None:
        """End every stream, once its viewer has all that was published; a stream left open would hold up the server."""
        self._closed = True
        self._wake()

    def _wake(self) -> None:
        with self._lock:
            viewers = tuple(self._viewers)
        for loop, news in viewers:
            if not loop.is_closed():
                loop.call_soon_threadsafe(news.set)

    @property
    def viewers(self) -> int:
        """How many pages are connected."""
        with self._lock:
            return len(self._viewers)

    def missed(self, last_seen: str) -> tuple[Event, ...]:
        """Events after ``last_seen`` ("run-number"); the latest alone when that is unknown or too long ago."""
        with self._lock:
            events = tuple(self._events)
        run, _, number = last_seen.rpartition("-")
        known = run == self._run and re.fullmatch("[0-9]{1,9}", number)
        if not known or not events or int(number) < events[0].number - 1:
            return events[-1:]
        return tuple(event for event in events if event.number > int(number))

    # ------------------------------------------------------------ endpoints

    async def _page(self, request: Request) -> Response:
        key = request.query_params.get(KEY_PARAMETER, "")
        page = render(
            "live.html",
            title=self._title,
            key=key,
            caution=CAUTIONS[0],
            invitation=self._invitation(),
        )
        return HTMLResponse(page)

    async def _present(self, request: Request) -> Response:
        with self._lock:
            state = self._state
        return Response(state.model_dump_json(), media_type="application/json")

    async def _openapi(self, request: Request) -> Response:
        return JSONResponse(live_openapi())

    async def _stream(self, request: Request) -> Response:
        last_seen = request.headers.get("last-event-id") or request.query_params.get("after", "")
        return StreamingResponse(self._events_after(last_seen), media_type="text/event-stream")

    async def _events_after(self, last_seen: str) -> AsyncIterator[str]:
        viewer = (asyncio.get_running_loop(), asyncio.Event())
        with self._lock:
            self._viewers.add(viewer)
        try:
            yield "retry: 1000\n\n"
            while True:
                for event in self.missed(last_seen):
                    last_seen = f"{self._run}-{event.number}"
                    yield f"id: {last_seen}\ndata: {event.data}\n\n"
                if self._closed:
                    return
                yield await self._news_or_beat(viewer[1])
        finally:
            with self._lock:
                self._viewers.discard(viewer)

    async def _news_or_beat(self, news: asyncio.Event) -> str:
        try:
            await asyncio.wait_for(news.wait(), BEAT_S)
        except TimeoutError:
            return "event: beat\ndata:\n\n"
        news.clear()
        return ":\n\n"

    async def _answer(self, request: Request) -> Response:
        try:
            tap = Tap.model_validate_json(await request.body())
        except ValidationError as error:
            return told(error.errors()[0]["msg"], 422)
        with self._lock:
            in_time = tap.line == self._state.awaits != self._answered
            self._answered = tap.line if in_time else self._answered
        if not in_time:
            return told("That reading is no longer waiting for an answer.", 409)
        self._on_tap(tap)
        return JSONResponse({"taken": tap.answer, "line": tap.line}, status_code=202)
