"""Load a limit edition by its short name, its label or its file; refuse one that breaks its rules."""

from pathlib import Path

from pydantic import ValidationError

from voicelog.checking.edition import Edition
from voicelog.errors import EditionError
from voicelog.resources import data_folder, read_toml


def load_edition(name: str, folder: Path | None = None) -> Edition:
    """The edition called ``name``: "a2-a3", its label, or the path of a file (relative to ``folder``).

    EditionError names the file, the table and the row at fault.
    """
    path = _find(name, folder)
    return _validated(_tables(path, ()), path)


def shipped_editions() -> dict[str, Path]:
    """Label of each edition that comes with the program, and its file."""
    return {_read(path)["label"]: path for path in sorted(data_folder("shared").joinpath("editions").glob("*.toml"))}


def _find(name: str, folder: Path | None) -> Path:
    shipped = shipped_editions()
    short = {path.stem: path for path in shipped.values()}
    if name in shipped or name in short:
        return shipped.get(name) or short[name]
    path = (folder or Path()) / name
    if name and path.is_file():
        return path
    known = ", ".join(f"{stem} ({label})" for label, stem in zip(shipped, short, strict=True))
    raise EditionError(
        f"there is no limit edition {name!r}." if name else "no limit edition was chosen.",
        where="limits",
        do=f"Choose one of: {known}; or give the path of your own file.",
    )


def _read(path: Path) -> dict:
    try:
        return read_toml(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise EditionError(f"not readable as TOML: {error}.", where=str(path), do="Mend the line it names.") from error
    except OSError as error:
        raise EditionError(f"cannot be opened: {error.strerror}.", where=str(path), do="Check the path.") from error


def _tables(path: Path, seen: tuple[Path, ...]) -> dict:
    """The tables of a file laid over those of the edition it is based on."""
    if path in seen:
        raise EditionError("is based on itself.", where=str(path), do="Mend based_on.")
    own = _read(path)
    base = own.pop("based_on", "")
    return _laid_over(_tables(_find(base, path.parent), (*seen, path)), own) if base else own


def _laid_over(base: dict, own: dict) -> dict:
    """Tables merge by name; rows ([[...]]) and plain values are replaced whole."""
    merged = dict(base)
    for key, value in own.items():
        both = isinstance(value, dict) and isinstance(base.get(key), dict)
        merged[key] = _laid_over(base[key], value) if both else value
    return merged


def _validated(tables: dict, path: Path) -> Edition:
    try:
        return Edition.model_validate(tables)
    except ValidationError as error:
        first = error.errors()[0]
        where = f"{path}, {_row(first['loc'])}"
        raise EditionError(f"{first['msg']}.", where=where, do="Mend that row; a2-a3.toml explains them.") from error


def _row(location: tuple[int | str, ...]) -> str:
    """``('loop', 'fuse', 2, 'limits_ohm', '32')`` as ``table loop.fuse, row 3, limits_ohm.32``."""
    table: list[str] = []
    for place, part in enumerate(location):
        if isinstance(part, int):
            field = ".".join(map(str, location[place + 1 :]))
            return f"table {'.'.join(table)}, row {part + 1}" + (f", {field}" if field else "")
        table.append(part)
    return f"table {'.'.join(table[:-1]) or '(top)'}, {table[-1]}"
