"""The primitives of Kaldi's binary files: tokens, numbers, vectors and matrices, both directions.

Little-endian throughout. A matrix may be whole (``FM``, four bytes a weight)
or compressed: ``CM2`` keeps 65,536 even steps between its smallest and
largest weight (two bytes), ``CM`` keeps one byte a weight, with 64 steps up to
each column's lower quartile, 128 to the upper and 63 above it. The layouts are
those of Kaldi's ``io-funcs`` and ``compressed-matrix`` (Apache 2.0).
"""

import struct
from dataclasses import dataclass, field
from io import BytesIO
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from voicelog.errors import ModelError

Floats = NDArray[np.float32]
BytesPerWeight = Literal[1, 2, 4]

BINARY = b"\0B"
STEPS = 65535  # of a two-byte value
LOWER, UPPER, TOP = 64, 192, 255  # bytes that stand for the quartiles and the largest weight of a column
SMALLEST_COMPRESSED = 2000  # weights; below this, compression saves nothing worth its error


@dataclass
class Source:
    """Bytes being read, with the place reached; every method raises ModelError where the bytes make no sense."""

    data: bytes
    where: str
    at: int = 0

    def fail(self, why: str) -> ModelError:
        return ModelError(
            f"not an acoustic model of this program ({why}, byte {self.at}).",
            where=self.where,
            do="Copy the model again, or use the bundled one.",
        )

    def take(self, count: int) -> bytes:
        piece = self.data[self.at : self.at + count] if count >= 0 else b""
        if count < 0 or len(piece) < count:
            raise self.fail("the file ends too soon")
        self.at += count
        return piece

    def until(self, end: bytes) -> str:
        stop = self.data.find(end, self.at)
        if stop < 0:
            raise self.fail("the file ends too soon")
        piece = self.take(stop - self.at + 1)[:-1]
        try:
            return piece.decode("ascii")
        except UnicodeDecodeError:
            raise self.fail("bytes where a word was expected") from None

    def token(self) -> str:
        return self.until(b" ")

    def line(self) -> str:
        return self.until(b"\n")

    def expect(self, *tokens: str) -> None:
        for token in tokens:
            if (found := self.token()) != token:
                raise self.fail(f"{found[:40]!r} in place of {token!r}")

    def integer(self) -> int:
        if self.take(1) != b"\x04":
            raise self.fail("no four-byte number where one was expected")
        return struct.unpack("<i", self.take(4))[0]

    def real(self) -> float:
        size = self.take(1)
        if size not in (b"\x04", b"\x08"):
            raise self.fail("no real number where one was expected")
        return struct.unpack("<f" if size == b"\x04" else "<d", self.take(size[0]))[0]

    def integers(self) -> tuple[int, ...]:
        if self.take(1) != b"\x04":
            raise self.fail("no list of numbers where one was expected")
        count = struct.unpack("<i", self.take(4))[0]
        return struct.unpack(f"<{count}i", self.take(4 * count)) if count >= 0 else self.take(-1)

    def numbers(self, kind: str, count: int) -> NDArray:
        return np.frombuffer(self.take(count * np.dtype(kind).itemsize), kind)

    def vector(self) -> Floats:
        self.expect("FV")
        return self.numbers("<f4", self.integer()).astype(np.float32)

    def matrix(self) -> Floats:
        form = self.token()
        if form == "FM":
            rows, columns = self.integer(), self.integer()
            return self.numbers("<f4", rows * columns).reshape(rows, columns).astype(np.float32)
        if form not in ("CM", "CM2"):
            raise self.fail(f"matrix of unknown form {form[:40]!r}")
        low, span, rows, columns = struct.unpack("<ffii", self.take(16))
        if form == "CM2":
            steps = self.numbers("<u2", rows * columns).reshape(rows, columns)
            return (low + span * (steps.astype(np.float32) / STEPS)).astype(np.float32)
        quartiles = low + span * (self.numbers("<u2", 4 * columns).reshape(columns, 4).astype(np.float32) / STEPS)
        return _from_bytes(self.numbers("u1", rows * columns).reshape(columns, rows), quartiles).T.copy()


@dataclass
class Sink:
    """Bytes being written."""

    stream: BytesIO = field(default_factory=BytesIO)

    def raw(self, data: bytes) -> None:
        self.stream.write(data)

    def token(self, *tokens: str) -> None:
        for token in tokens:
            self.raw(token.encode("ascii") + b" ")

    def integer(self, *values: int) -> None:
        for value in values:
            self.raw(b"\x04" + struct.pack("<i", value))

    def real(self, value: float) -> None:
        self.raw(b"\x04" + struct.pack("<f", value))

    def double(self, value: float) -> None:
        self.raw(b"\x08" + struct.pack("<d", value))

    def integers(self, values: tuple[int, ...]) -> None:
        self.raw(b"\x04" + struct.pack(f"<i{len(values)}i", len(values), *values))

    def vector(self, values: Floats) -> None:
        self.token("FV")
        self.integer(len(values))
        self.raw(np.asarray(values, "<f4").tobytes())

    def matrix(self, weights: Floats, bytes_per_weight: BytesPerWeight) -> None:
        if bytes_per_weight == 4 or weights.size < SMALLEST_COMPRESSED:
            self.token("FM")
            self.integer(*weights.shape)
            self.raw(np.ascontiguousarray(weights, "<f4").tobytes())
            return
        low, span = _extent(weights)
        self.token("CM" if bytes_per_weight == 1 else "CM2")
        self.raw(struct.pack("<ffii", low, span, *weights.shape))
        if bytes_per_weight == 2:
            self.raw(_steps(weights, low, span).astype("<u2").tobytes())
            return
        marks = _quartile_marks(weights, low, span)
        self.raw(marks.astype("<u2").tobytes())
        self.raw(_to_bytes(weights.T, low + span * (marks.astype(np.float32) / STEPS)).tobytes())


def _extent(weights: Floats) -> tuple[float, float]:
    low, high = float(weights.min()), float(weights.max())
    return low, (high - low) or 1.0 + abs(low)  # a constant matrix still needs a span to divide by


def _steps(weights: Floats, low: float, span: float) -> NDArray[np.int64]:
    return np.rint((weights.astype(np.float64) - low) / span * STEPS).clip(0, STEPS).astype(np.int64)


def _quartile_marks(weights: Floats, low: float, span: float) -> NDArray[np.int64]:
    """Smallest, lower quartile, upper quartile and largest of each column, as rising two-byte steps: (columns, 4)."""
    ordered = np.sort(weights, axis=0)
    quarter = len(ordered) // 4
    marks = _steps(ordered[[0, quarter, 3 * quarter, -1]].T, low, span)
    marks[:, 0] = np.minimum(marks[:, 0], STEPS - 3)
    for place in (1, 2, 3):  # strictly rising, so that no step is empty
        marks[:, place] = np.clip(marks[:, place], marks[:, place - 1] + 1, STEPS - 3 + place)
    return marks


def _to_bytes(rows: Floats, marks: Floats) -> NDArray[np.uint8]:
    """``rows`` are the columns of the matrix; ``marks`` are (columns, 4)."""
    least, lower, upper, most = (marks[:, place, None] for place in range(4))
    below = (rows - least) / (lower - least) * LOWER
    middle = LOWER + (rows - lower) / (upper - lower) * (UPPER - LOWER)
    above = UPPER + (rows - upper) / (most - upper) * (TOP - UPPER)
    return np.rint(np.where(rows < lower, below, np.where(rows < upper, middle, above))).clip(0, TOP).astype(np.uint8)


def _from_bytes(rows: NDArray[np.uint8], marks: Floats) -> Floats:
    least, lower, upper, most = (marks[:, place, None] for place in range(4))
    values = rows.astype(np.float32)
    below = least + (lower - least) * values / LOWER
    middle = lower + (upper - lower) * (values - LOWER) / (UPPER - LOWER)
    above = upper + (most - upper) * (values - UPPER) / (TOP - UPPER)
    return np.where(values <= LOWER, below, np.where(values <= UPPER, middle, above)).astype(np.float32)
