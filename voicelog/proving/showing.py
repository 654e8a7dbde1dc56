"""Figures for a person or for a program: any proof's result as lines, or as one JSON object."""

import json
from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel


def as_json(found: BaseModel) -> str:
    """One JSON object; a result that has a form of its own for programs gives that."""
    own = getattr(found, "as_json", None)
    return json.dumps(own()) if own else found.model_dump_json()


def as_text(found: BaseModel) -> str:
    """One figure a line, parts indented below their name."""
    return figures_as_text(found.model_dump(mode="json"))


def figures_as_text(figures: dict[str, Any]) -> str:
    """The same for figures that came as JSON."""
    return "\n".join(_lines(figures, 0))


def _lines(value: Any, depth: int, name: str = "") -> Iterator[str]:
    indent = "  " * depth
    match value:
        case dict():
            if name:
                yield f"{indent}{name}"
            for key, inner in value.items():
                yield from _lines(inner, depth + bool(name), _spoken(key))
        case list() if any(isinstance(inner, dict) for inner in value):
            yield f"{indent}{name}"
            for inner in value:
                yield f"{indent}  {', '.join(f'{_spoken(k)} {_plain(v)}' for k, v in inner.items())}"
        case _:
            yield f"{indent}{name:32} {_plain(value)}"


def _plain(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, list):
        return ", ".join(_plain(inner) for inner in value)
    return "-" if value is None else str(value)


def _spoken(key: str) -> str:
    return key.replace("_", " ")
