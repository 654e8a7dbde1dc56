"""The job sheet: ``job.toml`` read into the nouns of ``voicelog.installation``, and a first one written.

Figures stay ``Decimal`` exactly as written. Every problem of a sheet is named at once, each with the
line and the field it stands at, so that one evening of desk work mends the whole file.
"""

import datetime
import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError
from rapidfuzz import process

from voicelog.errors import SheetError
from voicelog.installation import Sheet
from voicelog.keeping.lines import Location, line_of, statement_lines
from voicelog.keeping.storage import flush_folder, make_folder, refusal
from voicelog.keeping.template import TEMPLATE
from voicelog.model import Noun

SHEET = "job.toml"
TABLES = {"boards": "board", "circuits": "circuit", "rcds": "rcd", "instruments": "instrument"}  # noun -> [[table]]
FIELDS = {table: noun for noun, table in TABLES.items()}
UNITS = {
    "A": "amperes", "mA": "milliamperes", "kA": "kiloamperes", "V": "volts", "ohm": "ohms", "m": "metres",
    "mm2": "square millimetres", "s": "seconds", "C": "degrees Celsius", "percent": "percent",
}  # fmt: skip

Problem = tuple[Location, str]  # where in the file, and what is wrong there


def load_sheet(path: Path) -> Sheet:
    """The job sheet at ``path``: the file itself, or the job folder that holds it.

    Raises SheetError naming every problem, one a row: ``line N: board DB1, circuit 5, rcd: what is wrong``.
    """
    path = path / SHEET if path.is_dir() else path
    return parse_sheet(_text(path), str(path))


def parse_sheet(text: str, where: str = SHEET) -> Sheet:
    """The same, from text already at hand."""
    raw = _toml(text, where)
    references = [*_twins(raw), *_unknown_rcds(raw), *_unknown_feeders(raw)]
    try:
        sheet = Sheet.model_validate(_as_nouns(raw))
    except ValidationError as error:
        raise _sheet_error(_problems(error, references), text, raw, where) from None
    if references:
        raise _sheet_error(references, text, raw, where)
    return sheet


def new_job(folder: Path, today: datetime.date) -> Path:
    """Make ``folder`` with a first job sheet that explains itself; give back the sheet's path.

    Nothing is ever overwritten: SheetError when a job sheet is there already, or the name holds a sign that cannot be
    printed, such as the end of a line. KeepingError when the disk refuses.
    """
    if not folder.name.isprintable():
        raise SheetError("the name holds a sign that cannot be printed.", where=repr(folder.name), do="Name another.")
    path = folder / SHEET
    text = TEMPLATE.replace("@TODAY@", today.isoformat())
    try:
        make_folder(folder)
        _write_new(path, text)
        flush_folder(folder)
    except FileExistsError:
        raise SheetError("there is something of that name already.", where=str(path), do="Name another.") from None
    except OSError as error:
        raise refusal(error, path) from None
    return path


def _write_new(path: Path, text: str) -> None:
    """A file that was not there before, whole or not at all. Raises OSError."""
    with path.open("x", encoding="utf-8", newline="\n") as file:
        try:
            file.write(text)
            file.flush()
        except OSError:
            path.unlink()
            raise


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        do = f"`voicelog new {path.parent}` writes a first one."
        raise SheetError("there is no job sheet here.", where=str(path), do=do) from None
    except OSError as error:
        raise SheetError(f"cannot be read ({error.strerror}).", where=str(path)) from None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"line {line}: byte 0x{data[error.start]:02x} is not UTF-8."
        raise SheetError(what, where=str(path), do="Save the file as UTF-8.") from None


def _toml(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise SheetError(_syntax(str(error), text), where=where, do="Mend that line first.") from None
    except ValueError as error:  # a figure of thousands of digits
        raise SheetError(f"not TOML: {error}.", where=where) from None
    except RecursionError:
        raise SheetError("brackets are nested too deep for a job sheet.", where=where) from None


def _syntax(message: str, text: str) -> str:
    """The reader's own sentence behind its line; what is wrong at the end is placed on the last line."""
    found = re.fullmatch(r"(.*) \(at line (\d+), column \d+\)", message, re.DOTALL)
    sentence, line = (found[1], found[2]) if found else (message, max(1, len(text.splitlines())))
    return f"line {line}: not TOML: {sentence}."


# ---------------------------------------------------------------- between the file's tables and the nouns


def _as_nouns(raw: Any) -> Any:
    """The tables under the names of the nouns: ``[[board]]`` becomes ``boards``, at every depth."""
    if isinstance(raw, dict):
        return {_noun_name(key, value): _as_nouns(value) for key, value in raw.items()}
    return [_as_nouns(one) for one in raw] if isinstance(raw, list) else raw


def _noun_name(key: str, value: Any) -> str:
    """A circuit's ``rcd = "RCD1"`` is a field; a board's ``[[board.rcd]]`` is rows."""
    return key if isinstance(value, str) else FIELDS.get(key, key)


def _rows(raw: Any, table: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """The rows of ``[[table]]`` in a table, as far as they are rows at all."""
    rows = raw.get(table, []) if isinstance(raw, dict) else []
    for index, row in enumerate(rows if isinstance(rows, list) else []):
        if isinstance(row, dict):
            yield index, row


# ---------------------------------------------------------------- rules between rows


def _twins(raw: dict[str, Any]) -> Iterator[Problem]:
    yield from _double(raw, (), "board", "reference")
    for index, board in _rows(raw, "board"):
        yield from _double(board, ("board", index), "circuit", "number")
        yield from _double(board, ("board", index), "rcd", "reference")


def _double(table: dict[str, Any], location: Location, rows: str, field: str) -> Iterator[Problem]:
    seen: set[str] = set()
    for index, row in _rows(table, rows):
        name = row.get(field)
        if isinstance(name, str) and name in seen:
            yield (*location, rows, index, field), f"there is another {rows} {name!r} before this one"
        seen.add(str(name))


def _unknown_rcds(raw: dict[str, Any]) -> Iterator[Problem]:
    for index, board in _rows(raw, "board"):
        known = [str(rcd.get("reference")) for _, rcd in _rows(board, "rcd")]
        for place, circuit in _rows(board, "circuit"):
            name = circuit.get("rcd", "")
            if isinstance(name, str) and name and name not in known:
                has = f"it has {', '.join(known)}" if known else "it has none"
                yield ("board", index, "circuit", place, "rcd"), f"there is no RCD {name!r} on this board; {has}"


def _unknown_feeders(raw: dict[str, Any]) -> Iterator[Problem]:
    known = {
        f"{board.get('reference')}/{circuit.get('number')}"
        for _, board in _rows(raw, "board")
        for _, circuit in _rows(board, "circuit")
    }
    for index, board in _rows(raw, "board"):
        name = board.get("supplied_from", "")
        if isinstance(name, str) and name and name not in known:
            yield ("board", index, "supplied_from"), f"there is no circuit {name!r} on this sheet; write it as 'DB1/8'"


# ---------------------------------------------------------------- what a field does not allow, in words


def _problems(error: ValidationError, references: list[Problem]) -> list[Problem]:
    """All of them. The nouns' own check between rows is repeated by ours, which names the row."""
    found = [_problem(one) for one in error.errors() if one["type"] != "value_error"] + references
    return found or [_problem(one) for one in error.errors()]


def _problem(error: Any) -> Problem:
    location = tuple(TABLES.get(part, part) if isinstance(part, str) else part for part in error["loc"])
    return location, _sentence(error)


def _sentence(error: Any) -> str:
    kind, given, field = error["type"], _shown(error["input"]), str(error["loc"][-1]) if error["loc"] else ""
    if kind == "missing":
        return "is missing"
    if kind == "extra_forbidden":
        return _unknown_field(error["loc"])
    if kind.startswith("decimal") or kind == "finite_number":
        unit = UNITS.get(field.rpartition("_")[2], "")
        return f"{given} is not a number; write the figure alone" + (f", in {unit}" if unit else "")
    if kind == "tuple_type" and field in TABLES:
        return f"is one row of several; open it with two brackets: [[{TABLES[field]}]]"
    if kind == "tuple_type":
        return f"{given} is not a list; write it in brackets: [{given}]"
    if kind == "string_type":
        return f"{given} is not text; write it in quotes"
    if kind == "string_pattern_mismatch":
        return "is empty; a place needs a name to be called by"
    if kind.startswith("date"):
        return f"{given} is not a date; write it as year-month-day without quotes, 2026-01-31"
    if kind == "greater_than":
        return f"{given} must be above 0"
    rule = error["msg"].removeprefix("Input ").removeprefix("Value error, ")
    return f"{given} {rule}" if rule.startswith("should") else rule


def _shown(given: Any) -> str:
    text = repr(given) if isinstance(given, str) else str(given).lower() if isinstance(given, bool) else str(given)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _unknown_field(location: tuple[str | int, ...]) -> str:
    """Names the nearest field there is: a wrong unit in a name (rating_mA) is found this way too."""
    fields = [TABLES.get(name, name) for name in _noun_at(location[:-1]).model_fields]
    near = process.extractOne(str(location[-1]), fields, score_cutoff=60)
    rather = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(fields)}"
    return f"there is no such field; {rather}"


def _noun_at(location: tuple[str | int, ...]) -> type[Noun]:
    noun: type[Noun] = Sheet
    for part in location:
        if isinstance(part, str) and part in noun.model_fields:
            noun = next(_nouns_in(noun.model_fields[part].annotation), noun)
    return noun


def _nouns_in(annotation: Any) -> Iterator[type[Noun]]:
    if isinstance(annotation, type) and issubclass(annotation, Noun):
        yield annotation
    for part in get_args(annotation):
        yield from _nouns_in(part)


def _sheet_error(problems: list[Problem], text: str, raw: dict[str, Any], where: str) -> SheetError:
    lines = statement_lines(text)
    rows = sorted((line_of(location, lines), _named(location, raw), what) for location, what in problems)
    count = "one problem" if len(rows) == 1 else f"{len(rows)} problems"
    listed = "".join(f"\n  line {line}: {name}: {what}." for line, name, what in rows)
    return SheetError(f"{count}.{listed}", where=where)


def _named(location: Location, raw: Any) -> str:
    """``board DB1, circuit 5, device.rating_A``: rows by the name they carry, or counted from 1."""
    words: list[str] = []
    for part in location:
        raw = _inside(raw, part)
        if isinstance(part, int):
            words[-1] += f" {_row_name(raw) or part + 1}"
        elif words and " " not in words[-1]:
            words[-1] += f".{part}"
        else:
            words.append(part)
    return ", ".join(words) or "the sheet"


def _inside(raw: Any, part: str | int) -> Any:
    try:
        return raw[part]
    except (KeyError, IndexError, TypeError):
        return None


def _row_name(row: Any) -> str:
    name = row.get("number", row.get("reference", "")) if isinstance(row, dict) else ""
    return name if isinstance(name, str) else ""
