"""The live page's few endpoints as an OpenAPI 3.1 document."""

from typing import Any

from voicelog.showing.guard import KEY_HEADER, KEY_PARAMETER
from voicelog.showing.live_state import LiveState

WHY = {
    "type": "object",
    "required": ["why"],
    "properties": {"why": {"type": "string", "description": "in words for a person"}},
}
TAP = {
    "type": "object",
    "required": ["answer", "line"],
    "additionalProperties": False,
    "properties": {
        "answer": {"enum": ["affirm", "negative", "correction"]},
        "line": {"type": "integer", "description": "journal entry of the reading that is answered"},
    },
}
TAKEN = {
    "type": "object",
    "required": ["taken", "line"],
    "properties": {"taken": {"type": "string"}, "line": {"type": "integer"}},
}


def live_openapi() -> dict[str, Any]:
    """The document itself."""
    state = LiveState.model_json_schema(mode="serialization", ref_template="#/components/schemas/{model}")
    schemas = {**state.pop("$defs", {}), "LiveState": state, "Why": WHY, "Tap": TAP, "Taken": TAKEN}
    return document(
        "Live page of a test session",
        {
            "/state": {"get": operation("state", "what every viewer sees now", {200: ("LiveState", "the state")})},
            "/answer": {
                "post": operation(
                    "answer",
                    "answer the reading that waits, by hand",
                    {
                        202: ("Taken", "handed to the session"),
                        409: ("Why", "that reading is no longer waiting"),
                        413: ("Why", "the body is too long or says no length"),
                        422: ("Why", "no answer"),
                    },
                    body="Tap",
                )
            },
        },
        schemas,
    )


def document(title: str, paths: dict[str, Any], schemas: dict[str, Any]) -> dict[str, Any]:
    """An OpenAPI document whose every operation needs the key."""
    return {
        "openapi": "3.1.0",
        "info": {"title": title, "version": "1"},
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": {
                "header": {"type": "apiKey", "in": "header", "name": KEY_HEADER},
                "parameter": {"type": "apiKey", "in": "query", "name": KEY_PARAMETER},
            },
        },
        "security": [{"header": []}],
    }


def operation(
    name: str, summary: str, answers: dict[int, tuple[str, str]], body: str = "", parameters: tuple[dict, ...] = ()
) -> dict[str, Any]:
    """One operation; every one of them may be refused by the guard."""
    told = {**answers, 403: ("Why", "no key, a wrong or expired one, or a foreign origin")}
    found: dict[str, Any] = {
        "operationId": name,
        "summary": summary,
        "responses": {str(status): _response(*answer) for status, answer in sorted(told.items())},
    }
    if body:
        found["requestBody"] = {"required": True, "content": _json(body)}
    if parameters:
        found["parameters"] = list(parameters)
    return found


def _response(schema: str, meaning: str) -> dict[str, Any]:
    return {"description": meaning, **({"content": _json(schema)} if schema else {})}


def _json(schema: str) -> dict[str, Any]:
    return {"application/json": {"schema": {"$ref": f"#/components/schemas/{schema}"}}}
