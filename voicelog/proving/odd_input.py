"""Damaged and malicious versions of good files, for Hypothesis to draw from.

Needs the package's ``test`` extra; nothing of the program itself imports this.
"""

import io
import stat
import warnings
import zipfile
from dataclasses import dataclass

from hypothesis import strategies as st

# What stands where a value should: wrong kinds, extremes, deep nesting, signs that no file should hold.
ODD_VALUES = (
    *(
        "",
        "0",
        "-1",
        "7",
        "0.5",
        "1e999",
        "-1e-999",
        "nan",
        "inf",
        "99999999999999999999999",
        "true",
        "false",
        "=",
        "#",
    ),
    *('""', '"x"', '"0"', '"-1"', '"\\u0000"', '"\\n"', '" "', '"é家"', '"a b c"', '"(a|b"', '"[a"', '"<n>"', '"a=b"'),
    *("[]", "[[]]", "[1]", '[""]', '["a", 1]', "{}", "{a = 1}", '{a = "b"}', "2026-01-01", "2026-01-01T00:00:00Z"),
    *("07:32:00", '"' + "x" * 3000 + '"', "[" * 1500 + "]" * 1500, "1" * 5000, '"../../etc/passwd"', "\x00", "\ud7ff"),
)
ODD_LINES = ("[", "[[", "[job]", "[[board]]", "[[x]]", "[a.b.c]", "x", "= 1", '"', "a.b = 1", "\t", ",,,", '"a\nb"')
ODD_NAMES = (
    *("job.toml", "../evil", "a/../../evil", "/tmp/evil", "C:\\evil", "C:evil", "\\\\host\\share", "a\\..\\..\\evil"),
    *("CON", "nul.txt", "clips/COM1", "aux.", "a.", "a ", "a:b", "a\x00b", "", ".", "..", "clips/", "a//b", "./a"),
    *("JOB.TOML", "journal.lock", "manifest.json", "x" * 300, "é", "e\u0301", "clips/1.flac", "journal.sqlite"),
)


@st.composite
def edited_lines(draw: st.DrawFn, text: str, separators: str = "=") -> str:
    """A text file with one to four of its lines changed, dropped, doubled, exchanged or added."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(0, len(lines) - 1)))
        match draw(st.sampled_from(("value", "value", "value", "drop", "double", "exchange", "add", "sign"))):
            case "value" if lines:
                lines[at] = draw(_other_value(lines[at], separators))
            case "drop" if lines:
                del lines[at]
            case "double" if lines:
                lines.insert(at, lines[at])
            case "exchange" if lines:
                other = draw(st.integers(0, len(lines) - 1))
                lines[at], lines[other] = lines[other], lines[at]
            case "add":
                lines.insert(at, draw(st.sampled_from(ODD_LINES)))
            case "sign" if lines:
                lines[at] = draw(edited_text(lines[at]))
    return "\n".join(lines)


@st.composite
def _other_value(draw: st.DrawFn, line: str, separators: str) -> str:
    """Another value behind one of the line's separators."""
    places = [index for index, sign in enumerate(line) if sign in separators]
    if not places:
        return draw(st.sampled_from(ODD_VALUES))
    at = draw(st.sampled_from(places))
    following = next((place for place in places if place > at), len(line)) if separators != "=" else len(line)
    return f"{line[: at + 1]} {draw(st.sampled_from(ODD_VALUES) | st.text(max_size=8))}{line[following:]}"


@st.composite
def edited_text(draw: st.DrawFn, text: str) -> str:
    """A few signs cut out, and others put in."""
    at = draw(st.integers(0, len(text)))
    cut = draw(st.integers(0, 6))
    return text[:at] + draw(st.text(max_size=4) | st.sampled_from(ODD_VALUES)) + text[at + cut :]


@st.composite
def edited_bytes(draw: st.DrawFn, data: bytes, within: int | None = None) -> bytes:
    """Bytes changed, cut out or put in, within the first ``within``; or the file cut short."""
    edited, reach = bytearray(data), min(len(data), within or len(data))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, reach))
        put = draw(st.binary(max_size=8) | st.sampled_from((b"\xff" * 4, b"\x00" * 4, b"\x7f\xff\xff\xff", b"\x80")))
        cut = draw(st.sampled_from((len(put), len(put), 0, 1, 64)))
        edited[at : at + cut] = put
    keep = draw(st.sampled_from((None, None, None, 0.5, 0.1)))
    return bytes(edited if keep is None else edited[: round(len(edited) * keep)])


@dataclass(frozen=True)
class Member:
    """One file of an archive, as odd as it may be."""

    name: str
    data: bytes
    mode: int = stat.S_IFREG | 0o644
    deflated: bool = True


@st.composite
def odd_members(draw: st.DrawFn, good: dict[str, bytes]) -> list[Member]:
    """The good files, some changed, left out or joined by links, devices, bombs and names that lead astray."""
    members = [Member(name, data) for name, data in good.items()]
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, max(0, len(members) - 1)))
        data = draw(st.binary(max_size=30) | st.sampled_from((b"\x00" * 3_000_000, b"../../evil", b"{}")))
        mode = draw(st.sampled_from((stat.S_IFREG | 0o644, stat.S_IFLNK | 0o777, stat.S_IFDIR | 0o755, stat.S_IFCHR)))
        odd = Member(draw(st.sampled_from(ODD_NAMES)), data, mode, draw(st.booleans()))
        match draw(st.sampled_from(("add", "drop", "change", "rename"))):
            case "add":
                members.insert(at, odd)
            case "drop" if members:
                del members[at]
            case "change" if members:
                members[at] = Member(members[at].name, draw(edited_bytes(members[at].data)), mode)
            case "rename" if members:
                members[at] = Member(odd.name, members[at].data)
    return members


def archive(members: list[Member]) -> bytes:
    """A ZIP file of them, whatever they are."""
    data = io.BytesIO()
    with warnings.catch_warnings(action="ignore"), zipfile.ZipFile(data, "w") as file:  # of two files of one name
        for member in members:
            info = zipfile.ZipInfo("x")
            info.filename = member.name  # ZipInfo itself would cut a name at its first zero byte
            info.external_attr = member.mode << 16
            info.compress_type = zipfile.ZIP_DEFLATED if member.deflated else zipfile.ZIP_STORED
            file.writestr(info, member.data)
    return data.getvalue()
