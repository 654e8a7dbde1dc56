"""What this installation is made of: versions and licences of everything that it rests on."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution

from voicelog import __version__

# Carried inside the package rather than installed beside it.
CARRIED = (
    ("the acoustic model", "see voicelog/hearing/model/README.md", "credits in that file"),
    ("pronunciations of the trade", "grammars/pronunciations.toml", "as voicelog"),
)
# Where the package itself does not say; recalled, not confirmed.
STATED = {"espeakng-loader": "MIT; the eSpeak NG library it carries: GPL-3.0-or-later"}
_NAME = re.compile(r"^[A-Za-z0-9._-]+")


@dataclass(frozen=True)
class Part:
    """One package that the program rests on."""

    name: str
    version: str
    licence: str

    def __str__(self) -> str:
        return f"{self.name:24} {self.version:20} {self.licence}"


def lines(licences: bool) -> Iterator[str]:
    """The version; with ``licences`` each part with its own."""
    yield f"voicelog {__version__}, Apache-2.0"
    if licences:
        yield from (str(part) for part in parts())
        yield from (f"{name:24} {where:44} {licence}" for name, where, licence in CARRIED)


def parts() -> tuple[Part, ...]:
    """Every installed distribution that voicelog needs, directly or through another, by name."""
    found: dict[str, Part] = {}
    waiting = list(_needs("voicelog"))
    while waiting:
        name = waiting.pop()
        if name not in found and (installed := _installed(name)):
            found[name] = Part(installed.name, installed.version, _licence(installed))
            waiting += _needs(name)
    return tuple(found[name] for name in sorted(found))


def _installed(name: str) -> Distribution | None:
    try:
        return distribution(name)
    except PackageNotFoundError:  # needed elsewhere only: another system, another version of Python
        return None


def _needs(name: str) -> list[str]:
    """Names that a distribution requires, its extras left out."""
    installed = _installed(name)
    wanted = (installed.requires or []) if installed else []
    return [_NAME.match(text).group().lower().replace("_", "-") for text in wanted if "extra ==" not in text]


def _licence(installed: Distribution) -> str:
    if stated := STATED.get(installed.name):
        return stated
    facts = installed.metadata
    if expression := facts.get("License-Expression"):
        return expression
    classified = [line.rsplit("::", 1)[-1].strip() for line in facts.get_all("Classifier", []) if "License ::" in line]
    return ", ".join(classified) or (facts.get("License") or "not stated").splitlines()[0][:60]
