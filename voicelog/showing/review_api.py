"""The review page's few endpoints as an OpenAPI 3.1 document."""

from typing import Any

from voicelog.model import Noun
from voicelog.showing.live_api import WHY, document, operation
from voicelog.showing.review_desk import Answer, Change, SignOff, Words

KEPT = {
    "type": "object",
    "required": ["entry"],
    "properties": {"entry": {"type": "integer", "description": "number of the new journal entry"}},
}
OUTLINE = {
    "type": "object",
    "required": ["peaks", "seconds"],
    "properties": {
        "peaks": {"type": "array", "items": {"type": "integer", "minimum": 0, "maximum": 100}},
        "seconds": {"type": "number"},
    },
}
NUMBER = {"name": "number", "in": "path", "required": True, "schema": {"type": "integer", "minimum": 0}}


def review_openapi(listed: type[Noun]) -> dict[str, Any]:
    """The document itself; ``listed`` is the noun that /rows gives."""
    schemas: dict[str, Any] = {"Why": WHY, "Kept": KEPT, "Outline": OUTLINE}
    for noun in (listed, Change, Answer, Words, SignOff):
        schema = noun.model_json_schema(
            mode="serialization" if noun is listed else "validation", ref_template="#/components/schemas/{model}"
        )
        schemas |= schema.pop("$defs", {})
        schemas[noun.__name__] = schema
    sound = operation(
        "sound", "the sound of an entry", {200: ("", "the clip"), 404: ("Why", "there is none")}, "", (NUMBER,)
    )
    sound["responses"]["200"]["content"] = {"audio/flac": {}, "audio/wav": {}, "audio/ogg": {}, "audio/mpeg": {}}
    paths = {
        "/rows": {"get": operation("rows", "everything to review", {200: (listed.__name__, "the list")})},
        "/sound/{number}": {"get": sound},
        "/outline/{number}": {
            "get": operation(
                "outline",
                "how loud it is",
                {200: ("Outline", "its peaks"), 404: ("Why", "there is none")},
                "",
                (NUMBER,),
            )
        },
        "/change": {"post": _wish("change", "another value for a line", "Change")},
        "/answer": {"post": _wish("answer", "affirm or withdraw a line by hand", "Answer")},
        "/words": {"post": _wish("words", "free words about a line", "Words")},
        "/sign-off": {"post": _wish("sign_off", "answer for a place", "SignOff")},
    }
    return document("Review of a test job", paths, schemas)


def _wish(name: str, summary: str, body: str) -> dict[str, Any]:
    answers = {
        201: ("Kept", "a new entry of the journal"),
        409: ("Why", "the line is no longer what it was"),
        413: ("Why", "the body is too long or says no length"),
        422: ("Why", "it cannot be taken as it is"),
        503: ("Why", "the journal could not be written"),
    }
    return operation(name, summary, answers, body)
