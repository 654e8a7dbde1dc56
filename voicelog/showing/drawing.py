"""Vector pictures from a few shapes. Lengths are picture units (1 is about 1/96 inch on a screen).

Meaning is carried by shape, hatch and words; colour only helps. The hatches stay apart in black and
white print and to colour-blind eyes.
"""

from collections.abc import Sequence
from xml.etree import ElementTree

SVG = "http://www.w3.org/2000/svg"
INK, QUIET, RULE, PAPER = "#1b2327", "#525d64", "#b9c0bf", "#ffffff"
BAD, NEAR, GOOD, BLUE = "#9a1f2b", "#7a4d00", "#0a5f4e", "#14567a"
HATCHES = ("plain", "rising", "dots", "falling", "cross", "level")
TINTS = ("#c9dbe6", "#e8dcc0", "#cfe3da", "#e6d2d3", "#dcd8e8", "#e2e5e3")
FONT = "Libertinus Serif, system-ui, DejaVu Sans, sans-serif"
TEXT = 13.0  # size of ordinary text
WIDE = 0.56  # mean width of a character over its height, on the safe side for the fonts above

ElementTree.register_namespace("", SVG)


class Drawing:
    """A picture under construction; ``svg()`` gives it as text."""

    def __init__(self, width: float, height: float, title: str, description: str) -> None:
        size = {"width": _n(width), "height": _n(height), "viewBox": f"0 0 {_n(width)} {_n(height)}"}
        self.width, self.height = width, height
        self._root = ElementTree.Element(f"{{{SVG}}}svg", {**size, "role": "img", "font-family": FONT})
        self._add("title").text = title
        self._add("desc").text = description
        self._defs = self._add("defs")
        self.box(0, 0, width, height, PAPER)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = TEXT,
        anchor: str = "start",
        fill: str = INK,
        bold: bool = False,
    ) -> None:
        """Words whose baseline is at ``y``; ``anchor`` is start, middle or end."""
        weight = {"font-weight": "bold"} if bold else {}
        place = {"x": _n(x), "y": _n(y), "font-size": _n(size), "text-anchor": anchor, "fill": fill}
        self._add("text", place | weight).text = words

    def line(
        self, x1: float, y1: float, x2: float, y2: float, stroke: str = INK, width: float = 1, dash: str = ""
    ) -> None:
        dashes = {"stroke-dasharray": dash} if dash else {}
        ends = {"x1": _n(x1), "y1": _n(y1), "x2": _n(x2), "y2": _n(y2)}
        self._add("line", {**ends, "stroke": stroke, "stroke-width": _n(width), **dashes})

    def box(self, x: float, y: float, width: float, height: float, fill: str, stroke: str = "none") -> None:
        place = {"x": _n(x), "y": _n(y), "width": _n(max(width, 0)), "height": _n(max(height, 0))}
        self._add("rect", {**place, "fill": fill, "stroke": stroke})

    def hatched(self, x: float, y: float, width: float, height: float, index: int) -> None:
        """A box in the ``index``-th tint and hatch: after six the hatches begin again in other tints."""
        turn, index = divmod(index, len(HATCHES))
        kind, tint = HATCHES[index], TINTS[(index + turn) % len(TINTS)]
        fill = f"url(#{self._hatch(kind, tint)})" if _MARKS[kind] else tint
        self.box(x, y, width, height, fill, INK)

    def dot(self, x: float, y: float, radius: float = 4.5, fill: str = BLUE) -> None:
        self._add("circle", {"cx": _n(x), "cy": _n(y), "r": _n(radius), "fill": fill, "stroke": INK})

    def area(self, points: Sequence[tuple[float, float]], fill: str) -> None:
        self._add("polygon", {"points": " ".join(f"{_n(x)},{_n(y)}" for x, y in points), "fill": fill})

    def svg(self) -> str:
        """The whole picture, its own size and description included."""
        return ElementTree.tostring(self._root, encoding="unicode")

    def _add(self, tag: str, attributes: dict[str, str] | None = None) -> ElementTree.Element:
        return ElementTree.SubElement(self._root, f"{{{SVG}}}{tag}", attributes or {})

    def _hatch(self, kind: str, tint: str) -> str:
        name = f"hatch-{kind}-{tint[1:]}"
        if self._defs.find(f"*[@id='{name}']") is None:
            size = {"width": "8", "height": "8", "patternUnits": "userSpaceOnUse"}
            pattern = ElementTree.SubElement(self._defs, f"{{{SVG}}}pattern", {"id": name, **size})
            ElementTree.SubElement(pattern, f"{{{SVG}}}rect", {"width": "8", "height": "8", "fill": tint})
            for tag, attributes in _MARKS[kind]:
                ElementTree.SubElement(pattern, f"{{{SVG}}}{tag}", attributes)
        return name


def _stroke(path: str) -> tuple[str, dict[str, str]]:
    return "path", {"d": path, "stroke": INK, "stroke-width": "0.9", "fill": "none"}


_MARKS: dict[str, list[tuple[str, dict[str, str]]]] = {
    "plain": [],
    "rising": [_stroke("M-2 2L2 -2M0 8L8 0M6 10L10 6")],
    "falling": [_stroke("M-2 6L2 10M0 0L8 8M6 -2L10 2")],
    "dots": [("circle", {"cx": "4", "cy": "4", "r": "1.3", "fill": INK})],
    "cross": [_stroke("M-2 2L2 -2M0 8L8 0M6 10L10 6M-2 6L2 10M0 0L8 8M6 -2L10 2")],
    "level": [_stroke("M0 4H8")],
}


def width_of(words: str, size: float = TEXT) -> float:
    """About how wide words will be, on the safe side."""
    return len(words) * size * WIDE


def shortened(words: str, width: float, size: float = TEXT) -> str:
    """The words, cut with an ellipsis where they would not fit."""
    fits = int(width / (size * WIDE))
    return words if len(words) <= fits else f"{words[: max(fits - 1, 1)].rstrip()}…"


def _n(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")
