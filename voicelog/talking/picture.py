"""The dialogue's table drawn as Markdown, for DEVELOPERS.md."""

from voicelog.talking.conversation import Mode
from voicelog.talking.dialogue import ANYWHERE, BEGINNING, TABLE

_SHOWN = (Mode.LISTENING, Mode.CONFIRMING, Mode.CHOOSING, Mode.NAMING, Mode.DICTATING, Mode.STANDING_BY)
_GROUPS = {"questions and settings": tuple(ANYWHERE), "orders that begin something": tuple(BEGINNING)}


def table() -> str:
    """Kinds of utterance down, modes across; a dot is "changes nothing"."""
    grouped = {kind for kinds in _GROUPS.values() for kind in kinds}
    kinds = dict.fromkeys(kind for mode in _SHOWN for kind in TABLE[mode])
    rows = [_row(kind, kind) for kind in kinds if kind not in grouped]
    rows += [_row(name, members[0]) for name, members in _GROUPS.items()]
    head = ["", *(mode.value for mode in _SHOWN)]
    return "\n".join([_line(head), _line(["---"] * len(head)), *rows])


def _row(name: str, kind: str) -> str:
    return _line([name, *(_move(mode, kind) for mode in _SHOWN)])


def _move(mode: Mode, kind: str) -> str:
    move = TABLE[mode].get(kind)
    if move is None:
        return "·"
    if kind in BEGINNING:
        return "begins" if mode is Mode.LISTENING else "lets stand, begins"
    return "answers" if kind in ANYWHERE and mode is not Mode.STANDING_BY else _spoken(move.__name__)


def _spoken(name: str) -> str:
    return name.strip("_").replace("_", " ")


def _line(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"
