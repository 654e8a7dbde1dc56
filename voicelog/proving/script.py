"""How scripts and conversation files write an entry: "called #3 DB1/1 zs[...] >200 Mohm (unplugged tea urn)"."""

import re

from voicelog.keeping.watches import WATCHED
from voicelog.model import Entry, Number, Reading

_ENTRY_NUMBER = re.compile(r" #\d+")
_FREE_NAME = re.compile(r"(point \d+): .*?(?= words=|\]|$)")


def in_short(reading: Reading) -> str:
    """ "DB1/1 zs[test_voltage_V=500] >200 Mohm"."""
    conditions = ",".join(f"{key}={value}" for key, value in sorted(reading.conditions.items()))
    value = reading.value
    if isinstance(value, Number):
        figure = f"{value.comparison.value.replace('=', '')}{value.figure}"
    else:
        figure = getattr(value, "word", value.kind)
    parts = (reading.place.key, reading.quantity + (f"[{conditions}]" if conditions else ""), figure, reading.unit)
    return " ".join(part for part in parts if part)


def shown(entry: Entry) -> str:
    """Its kind, the entry it refers to, its reading, or else place and detail, and its reason; no times."""
    parts = [entry.kind.value, f"#{entry.refers}" if entry.refers else ""]
    if entry.reading:
        parts.append(in_short(entry.reading))
    elif entry.place and not entry.detail:
        parts.append(entry.place.key)
    parts += [f"{key}={value}" for key, value in sorted(entry.detail.items()) if key != WATCHED]
    if entry.reason:
        parts.append(f"({entry.reason})")
    return " ".join(part for part in parts if part)


def without_chance(text: str) -> str:
    """A shown entry less what differs between runs that agree: entry numbers, and free names as they were heard."""
    return _FREE_NAME.sub(r"\1", _ENTRY_NUMBER.sub("", text))
