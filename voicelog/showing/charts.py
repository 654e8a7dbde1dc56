"""The pictures of a job: own vector drawings, every figure in them also written out.

All take plain values and give a ``Picture``. Figures come in as ``Decimal`` and are printed as they
came, sums without the zeros that follow; only lengths on the page are worked out in floating point.
"""

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from itertools import accumulate

from voicelog.model import Noun
from voicelog.showing.drawing import BAD, GOOD, INK, NEAR, QUIET, RULE, TEXT, Drawing, shortened, width_of

WIDTH = 720.0
LEFT = 130.0  # room for labels
NAMES = 220.0  # room for names of circuits
RIGHT = 130.0  # room for figures
SMALL = 11.0
EMPTY = "#ffffff"
BEYOND = "read at the RCD beyond its circuits"
MARGIN = 30.0  # of a column of a legend: its box, and what keeps it apart from the next


class Picture(Noun):
    """A drawing with its heading and the same in words."""

    title: str
    words: str  # what the picture says, for those who cannot see it
    svg: str


# ---------------------------------------------------------------- leakage


class LeakagePart(Noun):
    """One circuit's share."""

    circuit: str
    name: str = ""
    leakage_mA: Decimal
    position: int = 0  # on its board: picks the hatch, so that a circuit looks the same before and after


class LeakageBar(Noun):
    """One RCD: what lies behind it, and what it bears."""

    label: str  # "RCD1", "RCD1 after"
    parts: tuple[LeakagePart, ...]
    budget_mA: Decimal
    floor_mA: Decimal  # above it the most sensitive device trips
    whole_mA: Decimal = Decimal(0)  # as read at the RCD itself; 0 where it was not

    @property
    def total_mA(self) -> Decimal:
        return max(self.whole_mA, self._sum_mA)

    @property
    def beyond_mA(self) -> Decimal:
        """What was read at the RCD beyond the sum of its circuits: it counts against the budget all the same."""
        return max(self.whole_mA - self._sum_mA, Decimal(0))

    @property
    def _sum_mA(self) -> Decimal:
        return sum((part.leakage_mA for part in self.parts), Decimal(0))

    @property
    def total(self) -> str:
        """As printed: what was read at the RCD as it was spoken, a sum without zeros that nobody spoke."""
        figure = self.whole_mA if self.whole_mA >= self._sum_mA else self._sum_mA.normalize()
        return f"{figure:f} mA"


def leakage_chart(bars: Sequence[LeakageBar], title: str = "Earth leakage against each RCD's budget") -> Picture:
    """Each RCD as one bar, a box a circuit, with its budget and where it may trip. Sums are arithmetic.

    What was read at the RCD beyond its circuits is an empty box at the end.
    """
    longest = max([*(max(bar.total_mA, bar.floor_mA) for bar in bars), Decimal(1)])
    scale = (WIDTH - LEFT - RIGHT) / float(longest)
    legend = sorted({(p.position, p.circuit, p.name) for bar in bars for p in bar.parts})
    labels = [f"{circuit}  {name}".strip() for _, circuit, name in legend]
    labels += [BEYOND] if any(bar.beyond_mA for bar in bars) else []
    columns = _columns(labels)
    rows, apart = math.ceil(len(labels) / columns), (WIDTH - 12) // columns
    words = " ".join(map(_leakage_words, bars))
    drawing = Drawing(WIDTH, 62 * len(bars) + 40 + 22 * rows + 12, title, words)
    for i, bar in enumerate(bars):
        _leakage_bar(drawing, bar, 20 + 62 * i, scale)
    _axis(drawing, 62 * len(bars) + 14, float(longest), scale, "mA")
    for i, label in enumerate(labels):
        x, y = 12 + (i % columns) * apart, 62 * len(bars) + 48 + 22 * (i // columns)
        if i < len(legend):
            drawing.hatched(x, y, 16, 13, legend[i][0])
        else:
            drawing.box(x, y, 16, 13, EMPTY, INK)
        drawing.text(x + 22, y + 11, shortened(label, apart - MARGIN, SMALL), SMALL)
    return Picture(title=title, words=words, svg=drawing.svg())


def _columns(labels: Iterable[str]) -> int:
    """As many columns of a legend, up to three, as leave its longest label whole."""
    longest = max((width_of(label, SMALL) for label in labels), default=0)
    return next((count for count in (3, 2) if longest <= (WIDTH - 12) // count - MARGIN), 1)


def _leakage_words(bar: LeakageBar) -> str:
    named = [f"circuit {p.circuit} {p.leakage_mA:f}" for p in bar.parts]
    parts = ", ".join([*named, *([f"{BEYOND} {bar.beyond_mA:f}"] if bar.beyond_mA else [])])
    share = bar.total_mA / bar.budget_mA * 100
    over = "over" if bar.total_mA > bar.budget_mA else "within"
    held = f" ({parts})" if parts else ""
    budget = f"its budget of {bar.budget_mA.normalize():f} mA"
    return f"{bar.label}: {bar.total}{held}, {share:.0f} % of {budget}, {over} it."


def _leakage_bar(drawing: Drawing, bar: LeakageBar, y: float, scale: float) -> None:
    over = bar.total_mA > bar.budget_mA
    drawing.text(LEFT - 10, y + 16, shortened(bar.label, LEFT - 20), anchor="end", bold=True)
    share = f"{bar.total_mA / bar.budget_mA * 100:.0f} % of budget"
    drawing.text(LEFT - 10, y + 31, share, SMALL, "end", BAD if over else QUIET)
    ends = list(accumulate((float(part.leakage_mA) * scale for part in bar.parts), initial=LEFT))
    for part, x, end in zip(bar.parts, ends, ends[1:], strict=False):
        drawing.hatched(x, y, end - x, 26, part.position)
    if bar.beyond_mA:
        drawing.box(ends[-1], y, float(bar.beyond_mA) * scale, 26, EMPTY, INK)
    _mark(drawing, LEFT + float(bar.budget_mA) * scale, y, f"budget {bar.budget_mA.normalize():f}", "")
    _mark(drawing, LEFT + float(bar.floor_mA) * scale, y, f"may trip {bar.floor_mA.normalize():f}", "5 3")
    for part, x, end in zip(bar.parts, ends, ends[1:], strict=False):
        half = width_of(part.circuit) / 2 + 3
        if end - x > 2 * half:
            drawing.box((x + end) / 2 - half, y + 5, 2 * half, 16, EMPTY)
            drawing.text((x + end) / 2, y + 18, part.circuit, anchor="middle")
    drawing.text(WIDTH - 10, y + 18, bar.total, anchor="end", bold=True, fill=BAD if over else INK)
    if over:
        drawing.text(WIDTH - RIGHT + 30, y + 18, "✗", fill=BAD, bold=True)


def _mark(drawing: Drawing, x: float, y: float, words: str, dash: str) -> None:
    drawing.line(x, y - 5, x, y + 34, BAD, 2, dash)
    drawing.text(x, y + 44, words, SMALL, "middle", BAD)


# ---------------------------------------------------------------- loop impedance


class Share(Noun):
    """One value against its own limit."""

    label: str
    value: str  # as printed, with its unit
    limit: str
    share: Decimal  # value over limit
    outcome: str = "pass"  # "pass", "marginal", "fail", "none"


MARKS = {"pass": ("✓", GOOD), "marginal": ("△", NEAR), "fail": ("✗", BAD), "none": ("–", QUIET)}


def share_chart(shares: Sequence[Share], title: str = "Zs against the limit of each circuit") -> Picture:
    """Each circuit's value as a share of its own limit, so that circuits of any size stand side by side."""
    most = min(max([*(s.share for s in shares), Decimal("1.2")]), Decimal(3))
    scale = (WIDTH - NAMES - RIGHT - 20) / float(most)
    words = " ".join(f"{s.label}: {s.value} of {s.limit}, {s.share * 100:.0f} %." for s in shares)
    drawing = Drawing(WIDTH, 26 * len(shares) + 46, title, words)
    for i, share in enumerate(shares):
        y, (sign, colour) = 14 + 26 * i, MARKS[share.outcome]
        drawing.text(NAMES - 10, y + 13, shortened(share.label, NAMES - 16), anchor="end")
        drawing.hatched(NAMES, y, float(min(share.share, most)) * scale, 17, 0 if share.outcome == "pass" else 1)
        drawing.text(WIDTH - RIGHT, y + 13, sign, SMALL, fill=colour, bold=True)
        drawing.text(WIDTH - RIGHT + 16, y + 13, f"{share.value} of {share.limit}", SMALL, fill=colour, bold=True)
    foot = 26 * len(shares) + 14
    drawing.line(NAMES + scale, 6, NAMES + scale, foot, BAD, 2)
    drawing.text(NAMES + scale, foot + 14, "limit (100 %)", SMALL, "middle", BAD)
    drawing.line(NAMES, 6, NAMES, foot)
    drawing.text(NAMES, foot + 14, "0 %", SMALL, "middle", QUIET)
    return Picture(title=title, words=words, svg=drawing.svg())


# ---------------------------------------------------------------- retests


class Step(Noun):
    """One reading of a chain of retests."""

    value: Decimal
    text: str  # as printed, with its unit: "0.40 MΩ"
    why: str = ""  # "unplugged the tea urn"


def chain_chart(steps: Sequence[Step], limit: Decimal | None, limit_text: str, title: str) -> Picture:
    """A chain of retests on a logarithmic scale, with the limit. Values must be above zero."""
    figures = [float(step.value) for step in steps] + ([float(limit)] if limit else [])
    low, high = math.log10(min(figures)) - 0.25, math.log10(max(figures)) + 0.25
    height, base = 250.0, 192.0
    level = lambda value: base - 22 - (math.log10(float(value)) - low) / (high - low) * (base - 44)  # noqa: E731
    gap = (WIDTH - 160) / max(len(steps), 2)
    words = "; ".join(f"{step.text}{' after ' + step.why if step.why else ''}" for step in steps) + f"; {limit_text}."
    drawing = Drawing(WIDTH, height, title, words)
    points = [(90 + gap * (i + 0.4), level(step.value)) for i, step in enumerate(steps)]
    for (x1, y1), (x2, y2) in zip(points, points[1:], strict=False):
        drawing.line(x1, y1, x2, y2, QUIET, 1.5)
    if limit:
        drawing.line(60, level(limit), WIDTH - 20, level(limit), BAD, 2, "7 4")
        drawing.text(WIDTH - 20, level(limit) - 6, limit_text, SMALL, "end", BAD)
    for i, (step, (x, y)) in enumerate(zip(steps, points, strict=True)):
        rises = i + 1 < len(steps) and steps[i + 1].value > step.value
        drawing.dot(x, y, fill=BAD if limit and step.value < limit else GOOD)
        drawing.text(x, y + 21 if rises else y - 11, step.text, anchor="middle", bold=True)
        for j, line in enumerate(_wrapped(step.why or ("taken again" if i else "first reading"), gap - 12)):
            drawing.text(x, base + 22 + 14 * j, line, SMALL, "middle", QUIET)
    drawing.line(60, base + 4, WIDTH - 20, base + 4, RULE)
    return Picture(title=title, words=words, svg=drawing.svg())


def _wrapped(words: str, width: float) -> list[str]:
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if width_of(longer, SMALL) > width and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines[:3]


# ---------------------------------------------------------------- trend


class Point(Noun):
    """One reading in time."""

    minutes: Decimal  # from the first
    value: Decimal


class Forecast(Noun):
    """How it may go on: the fitted line and its interval, per minute from ``at_end`` at the last reading."""

    at_end: float
    per_minute: float
    low: float
    high: float
    minutes: float  # how far ahead it is drawn
    reaches: str = ""  # when it reaches the limit, in words; empty where it does not clearly move there


def trend_chart(
    points: Sequence[Point], unit: str, limit: Decimal | None, forecast: Forecast | None, title: str
) -> Picture:
    """Readings over minutes, the limit, and the forecast as a band that widens."""
    last = float(points[-1].minutes)
    end = last + (forecast.minutes if forecast else 0)
    ahead = _ahead(forecast)
    values = [float(p.value) for p in points] + ([float(limit)] if limit else []) + ahead
    low, high = min(values), max(values)
    pad = (high - low or abs(high) or 1) * 0.12
    low, high, base = max(low - pad, 0 if low >= 0 else low - pad), high + pad, 196.0
    across = lambda m: 80 + m / (end or 1) * (WIDTH - 130)  # noqa: E731
    up = lambda v: base - (v - low) / (high - low) * (base - 24)  # noqa: E731
    words = _trend_words(points, unit, limit, forecast)
    drawing = Drawing(WIDTH, 236, title, words)
    for tick in _ticks(low, high):
        drawing.line(70, up(tick), WIDTH - 40, up(tick), RULE, 0.7)
        drawing.text(62, up(tick) + 4, f"{tick:g}", SMALL, "end", QUIET)
    if forecast:
        edge = [(across(end), up(v)) for v in ahead]
        drawing.area([(across(last), up(forecast.at_end)), edge[1], edge[2]], "#dfe6ea")
        drawing.line(across(last), up(forecast.at_end), *edge[0], QUIET, 1.5, "6 4")
    if limit:
        drawing.line(70, up(float(limit)), WIDTH - 40, up(float(limit)), BAD, 2, "7 4")
        drawing.text(WIDTH - 40, up(float(limit)) - 6, f"limit {limit:f} {unit}", SMALL, "end", BAD)
    for point in points:
        drawing.dot(across(float(point.minutes)), up(float(point.value)))
    drawing.line(70, base, WIDTH - 40, base)
    for tick in _ticks(0, end):
        drawing.text(across(tick), base + 18, f"{tick:g}", SMALL, "middle", QUIET)
    foot = f"minutes from the first reading; values in {unit}"
    foot += f"; {forecast.reaches}" if forecast and forecast.reaches else ""
    drawing.text((70 + WIDTH - 40) / 2, base + 34, foot, SMALL, "middle", QUIET)
    return Picture(title=title, words=words, svg=drawing.svg())


def _ahead(forecast: Forecast | None) -> list[float]:
    """The forecast's line, low and high at its end."""
    if forecast is None:
        return []
    return [forecast.at_end + rate * forecast.minutes for rate in (forecast.per_minute, forecast.low, forecast.high)]


def _trend_words(points: Sequence[Point], unit: str, limit: Decimal | None, forecast: Forecast | None) -> str:
    span = f"from {points[0].value:f} to {points[-1].value:f} {unit}"
    told = f"{len(points)} readings in {points[-1].minutes:.0f} minutes, {span}."
    told += f" The limit is {limit:f} {unit}." if limit else ""
    rate = f" It changes by {forecast.per_minute:+.3g} {unit} a minute" if forecast else ""
    told += f"{rate} ({forecast.low:+.3g} to {forecast.high:+.3g})." if forecast else ""
    return f"{told} {_capital(forecast.reaches)}." if forecast and forecast.reaches else told


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


# ---------------------------------------------------------------- what is done


class MapCell(Noun):
    """One group of tests of one circuit."""

    outcome: str = ""  # "pass", "marginal", "fail", "none" when done; empty when nothing stands
    waiting: bool = False  # something was said back there and never answered


class MapRow(Noun):
    """One circuit."""

    label: str
    cells: tuple[MapCell, ...]


def board_map(rows: Sequence[MapRow], groups: Sequence[str], title: str = "What is done") -> Picture:
    """Circuits against groups of tests: a sign where something stands, an open box where nothing does."""
    left, gap = 230.0, min(90.0, (WIDTH - 240) / max(len(groups), 1))
    words = " ".join(f"{row.label}: {_done(row, groups)}." for row in rows)
    drawing = Drawing(WIDTH, 25 * len(rows) + 74, title, words)
    for i, group in enumerate(groups):
        drawing.text(left + gap * (i + 0.5), 20, shortened(group, gap, SMALL), SMALL, "middle", QUIET)
    for j, row in enumerate(rows):
        y = 30 + 25 * j
        drawing.text(left - 10, y + 15, shortened(row.label, left - 16), anchor="end")
        for i, cell in enumerate(row.cells):
            _map_cell(drawing, left + gap * i + 3, y, gap - 6, cell)
    foot = 25 * len(rows) + 54
    key = "✓ within limit · △ near it · ✗ outside · – no limit known · ? not answered · open box: nothing yet"
    drawing.text(10, foot, key, SMALL, fill=QUIET)
    return Picture(title=title, words=words, svg=drawing.svg())


def _map_cell(drawing: Drawing, x: float, y: float, width: float, cell: MapCell) -> None:
    sign, colour = MARKS.get(cell.outcome, ("", QUIET))
    if cell.waiting:
        sign, colour = "?", NEAR
    fill = {"fail": "#f3dcdc", "marginal": "#f5ead2", "pass": "#e1efe9", "none": "#e9ecea"}.get(cell.outcome, "#ffffff")
    drawing.box(x, y, width, 21, fill, INK if sign else RULE)
    drawing.text(x + width / 2, y + 15, sign, TEXT + 1, "middle", colour, bold=True)


def _done(row: MapRow, groups: Sequence[str]) -> str:
    names = {"": "nothing yet", "pass": "within limit", "marginal": "near the limit", "fail": "outside limit"}
    told = [
        f"{group} {'not answered' if cell.waiting else names.get(cell.outcome, 'no limit known')}"
        for group, cell in zip(groups, row.cells, strict=True)
    ]
    return ", ".join(told)


# ---------------------------------------------------------------- axes


def _axis(drawing: Drawing, y: float, most: float, scale: float, unit: str) -> None:
    drawing.line(LEFT, y, LEFT + most * scale, y, QUIET)
    for tick in _ticks(0, most):
        x = LEFT + tick * scale
        drawing.line(x, y, x, y + 5, QUIET)
        drawing.text(x, y + 17, f"{tick:g}", SMALL, "middle", QUIET)
    drawing.text(LEFT + most * scale + 14, y + 17, unit, SMALL, fill=QUIET)


def _ticks(low: float, high: float) -> list[float]:
    """Round figures between two bounds, about five."""
    step = 10 ** math.floor(math.log10((high - low) / 5 or 1)) if high > low else 1.0
    step *= next(f for f in (1, 2, 5, 10) if (high - low) / (step * f) <= 6)
    first = math.ceil(low / step)
    return [round(i * step, 10) for i in range(first, math.floor(high / step) + 1)]
