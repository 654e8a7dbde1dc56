"""Templates, style sheets and scripts of the pages. No build step; nothing here names an outside address."""

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("voicelog.showing", "pages"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )


def render(template: str, **values: Any) -> str:
    """The template filled in; every value is escaped unless it is Markup. A missing value raises UndefinedError."""
    return _environment().get_template(template).render(**values)


def asset(name: str) -> str:
    """The text of a style sheet or script."""
    return files(__package__).joinpath(name).read_text(encoding="utf-8")


def inline(*names: str) -> Markup:
    """Our own style sheets or scripts, ready to stand inside a page."""
    return Markup("\n" + "\n".join(asset(name) for name in names))


def script_hash(script: str) -> str:
    """How a content security policy names an inline script: its SHA-256 in base64."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
