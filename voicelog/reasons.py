"""Why a reading was taken again or otherwise: one way to write it on the record, and to read it there."""

from collections.abc import Iterable

RETEST = "retest"  # of a reading taken again for which no other reason was named
_UNPLUGGED, _NEXT = "unplugged ", "; "


def having_unplugged(items: Iterable[str]) -> str:
    """ "unplugged tea urn; fridge"; empty where nothing is."""
    named = _NEXT.join(items)
    return f"{_UNPLUGGED}{named}" if named else ""


def unplugged_by(reason: str) -> tuple[str, ...]:
    """What was unplugged, by the reason that stands on the record; nothing where it is another reason."""
    before, _, items = reason.partition(_UNPLUGGED)
    return () if before or not items else tuple(item.strip() for item in items.split(_NEXT.strip()))
