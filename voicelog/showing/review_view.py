"""The review page and its few endpoints.

with job.journal() as journal:
    desk = ReviewDesk(job.sheet, journal.entries(), journal.append, "A. Reviewer", judge)
    with Served(ReviewView(desk, job.clips).app) as served: ...
"""

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from voicelog.errors import KeepingError, VoicelogError
from voicelog.keeping.clips import read_clip
from voicelog.model import Entry, Noun
from voicelog.showing.answers import UNKNOWN, told
from voicelog.showing.assets import asset_route
from voicelog.showing.clips import MEDIA_TYPES, ClipShelf
from voicelog.showing.guard import KEY_PARAMETER
from voicelog.showing.log_page import job_facts, judged_by
from voicelog.showing.pages import render
from voicelog.showing.review_api import review_openapi
from voicelog.showing.review_desk import Answer, Change, ReviewDesk, SignOff, Stale, Words
from voicelog.showing.review_rows import ReviewRow
from voicelog.showing.waveform import outline
from voicelog.showing.wording import CAUTIONS

Wish = TypeVar("Wish", bound=Noun)


class ReviewList(Noun):
    """All that the page lists."""

    rows: tuple[ReviewRow, ...]
    signed_off: tuple[str, ...]
    units: dict[str, tuple[tuple[str, str], ...]]  # quantity key -> (symbol, as printed) of each unit
    head_number: int
    head_digest: str


class ReviewView:
    """The page over one desk; ``clips`` is the job's folder of sounds."""

    def __init__(self, desk: ReviewDesk, clips: Path | None) -> None:
        self._desk, self._clips = desk, clips
        self._list: tuple[int, str] = (-1, "")  # how many entries it covers, and its JSON
        self.list_json()
        wishes = {
            "/change": (Change, desk.change),
            "/answer": (Answer, desk.answer),
            "/words": (Words, desk.add_words),
            "/sign-off": (SignOff, desk.sign_off),
        }
        self.app = Starlette(
            routes=[
                Route("/", self._page),
                Route("/rows", self._rows),
                Route("/sound/{number:int}", self._sound),
                Route("/outline/{number:int}", self._outline),
                *(Route(path, self._taking(*wish), methods=["POST"]) for path, wish in wishes.items()),
                Route("/openapi.json", self._openapi),
                asset_route("base.css", "review.css", "review.js"),
            ],
            exception_handlers=UNKNOWN,
        )

    def listed(self) -> ReviewList:
        """Rows, sign-offs and the head of the journal as they are now."""
        desk = self._desk
        units = {
            key: tuple((symbol, desk.wording.unit(symbol)) for symbol in words.units)
            for key, words in desk.wording.quantities.items()
        }
        last = desk.entries[-1] if desk.entries else None
        return ReviewList(
            rows=desk.rows(),
            signed_off=desk.signed_off,
            units=units,
            head_number=last.number if last else 0,
            head_digest=last.digest if last else "",
        )

    def list_json(self) -> str:
        """The list as JSON, worked out once for each state of the journal."""
        count = len(self._desk.entries)
        if self._list[0] != count:
            self._list = (count, self.listed().model_dump_json())
        return self._list[1]

    # ------------------------------------------------------------ endpoints

    async def _page(self, request: Request) -> Response:
        sheet = self._desk.sheet
        page = render(
            "review.html",
            title=sheet.job.reference,
            key=request.query_params.get(KEY_PARAMETER, ""),
            head=job_facts(sheet, judged_by(self._desk.entries)),
            reviewer=self._desk.reviewer,
            caution_sentences=CAUTIONS[:1],
        )
        return HTMLResponse(page)

    async def _rows(self, request: Request) -> Response:
        return Response(await run_in_threadpool(self.list_json), media_type="application/json")

    async def _openapi(self, request: Request) -> Response:
        return JSONResponse(review_openapi(ReviewList))

    async def _sound(self, request: Request) -> Response:
        entry = self._desk.entry(request.path_params["number"])
        why = self._no_sound(entry)
        if why:
            return told(why, 404)
        path = self._clips / entry.clip
        kind = MEDIA_TYPES.get(path.suffix.lower(), "application/octet-stream")
        return Response(path.read_bytes(), media_type=kind, headers={"accept-ranges": "none"})

    async def _outline(self, request: Request) -> Response:
        entry = self._desk.entry(request.path_params["number"])
        why = self._no_sound(entry)
        if why:
            return told(why, 404)
        try:
            samples, rate_hz = await run_in_threadpool(read_clip, self._clips.parent, entry.clip)
        except KeepingError as error:
            return told(str(error), 404)
        return JSONResponse({"peaks": outline(samples), "seconds": round(len(samples) / rate_hz, 3)})

    def _no_sound(self, entry: Entry | None) -> str:
        """Why the sound of an entry cannot be given; empty when it can."""
        if entry is None or not entry.clip or self._clips is None:
            return "There is no sound."
        return ClipShelf(self._clips, self._clips, embed=False).sound(entry).why

    def _taking(self, noun: type[Wish], take: Callable[[Wish], int]) -> Callable:
        async def endpoint(request: Request) -> Response:
            try:
                wish = noun.model_validate_json(await request.body())
                number = await run_in_threadpool(take, wish)
            except ValidationError as error:
                return told(error.errors()[0]["msg"], 422)
            except Stale as error:
                return told(str(error), 409)
            except KeepingError as error:
                return told(f"Nothing was written: {error}", 503)
            except VoicelogError as error:
                return told(str(error), 422)
            return JSONResponse({"entry": number}, status_code=201)

        return endpoint
