"""The chain: each entry carries the digest of the one before, so nothing changes unseen.

    body    = canonical JSON of the entry, its ``digest`` left out and ``previous`` included
    digest  = SHA-256 of the body's UTF-8 bytes, 64 hexadecimal digits
    previous of entry 1 = 64 zeros

Canonical JSON: keys sorted by code point, no blanks, no escapes beyond those JSON demands, UTF-8;
decimals are strings exactly as spoken ("2.50"); times are UTC with a trailing Z; absent is null.
The body is stored as it was digested, so a field added to the nouns later breaks no old link.
"""

import hashlib
import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from pydantic import ValidationError

from voicelog.model import Draft, Entry

GENESIS = "0" * 64

Row = tuple[int, str, str]  # number, body, digest: what the journal stores of an entry


@dataclass(frozen=True)
class Head:
    """The last link: with it, everything before is fixed. Printed on every schedule."""

    number: int = 0
    digest: str = GENESIS


class BrokenChain(Exception):
    """An entry that does not verify: its number and why."""

    def __init__(self, number: int, why: str) -> None:
        super().__init__(f"entry {number} {why}")
        self.number, self.why = number, why


def canonical(value: Any) -> str:
    """Canonical JSON, as above. Raises ValueError for what JSON cannot hold."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest_of(body: str) -> str:
    return hashlib.sha256(body.encode()).hexdigest()


def forge(draft: Draft, head: Head, at: datetime) -> Row:
    """The next link behind ``head``. A margin that is no finite number is kept as absent.

    Raises ValueError for text that UTF-8 cannot hold, and for a time without its zone.
    """
    known = draft.model_dump(mode="json")
    if draft.margin is not None and not math.isfinite(draft.margin):
        known["margin"] = None
    known |= {
        "number": head.number + 1,
        "at": in_utc(at).isoformat(timespec="microseconds").replace("+00:00", "Z"),
        "previous": head.digest,
    }
    body = canonical(known)
    return head.number + 1, body, digest_of(body)


def in_utc(at: datetime) -> datetime:
    """The same moment in UTC. Raises ValueError for a time without its zone."""
    if at.tzinfo is None:
        raise ValueError("the journal's clock must know its time zone")
    return at.astimezone(UTC)


def entry_of(row: Row) -> Entry:
    """The entry a row holds. Raises BrokenChain when the body is no entry."""
    number, body, digest = row
    try:
        return Entry.model_validate(json.loads(body) | {"digest": digest})
    except (ValueError, TypeError, ValidationError) as error:
        raise BrokenChain(number, f"cannot be read: {str(error).splitlines()[0]}") from None


def linked(rows: Iterable[Row]) -> Iterator[tuple[Row, Head]]:
    """The rows in order, each with the head after it. Raises BrokenChain at the first that does not verify."""
    head = Head()
    for row in rows:
        head = next_link(row, head)
        yield row, head


def next_link(row: Row, head: Head) -> Head:
    """The head after one more row. Raises BrokenChain when it does not follow on ``head``."""
    number, body, digest = row
    if number != head.number + 1:
        raise BrokenChain(head.number + 1, f"is missing; entry {number} follows entry {head.number}")
    if not isinstance(body, str) or digest_of(body) != digest:
        raise BrokenChain(number, "was changed: its text no longer gives its digest")
    held = _fields(number, body)
    if held.get("number") != number:
        raise BrokenChain(number, f"says of itself that it is entry {held.get('number')}")
    if held.get("previous") != head.digest:
        raise BrokenChain(number, f"does not follow from entry {head.number}, which was changed or exchanged")
    return Head(number, digest)


def _fields(number: int, body: str) -> dict[str, Any]:
    try:
        held = json.loads(body)
    except ValueError:
        raise BrokenChain(number, "is not JSON") from None
    return held if isinstance(held, dict) else {}
