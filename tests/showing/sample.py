"""An invented job, small enough to know by heart: what is installed, and a journal told entry by entry."""

import hashlib
import io
import wave
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np

from voicelog.installation import (
    Board,
    Cable,
    Circuit,
    Device,
    Instrument,
    JobFacts,
    Rcd,
    Sheet,
    Supply,
)
from voicelog.keeping.chain import Head, entry_of, forge
from voicelog.model import (
    Draft,
    Entry,
    EntryKind,
    Number,
    Outcome,
    OverRange,
    Place,
    Reading,
    Result,
    Verdict,
)

EDITION = "BS 7671:2018+A2:2022+A3:2024"
START = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)


def sheet() -> Sheet:
    breaker = {"standard": "BS EN 60898", "breaking_capacity_kA": Decimal(6)}
    small = Cable(line_mm2=Decimal("1.5"), cpc_mm2=Decimal("1.0"), length_m=Decimal(31))
    large = Cable(line_mm2=Decimal("2.5"), cpc_mm2=Decimal("1.5"), length_m=Decimal(48))
    circuits = (
        ("1", "cooker", "B", 32, "RCD1", large, False),
        ("2", "kitchen sockets", "B", 32, "RCD1", large, True),
        ("3", "hall lights", "B", 6, "RCD1", small, False),
        ("4", "stage lights", "C", 16, "RCD1", large, False),
        ("5", "stage right sockets", "B", 32, "RCD2", large, True),
        ("6", "meeting room sockets", "B", 32, "RCD2", large, True),
        ("7", "outside lights", "B", 6, "RCD2", small, False),
        ("8", "water heater", "B", 16, "RCD2", large, False),
        ("9", "fire alarm panel", "B", 6, "", small, False),
    )
    ways = tuple(
        Circuit(
            number=number,
            name=name,
            device=Device(type=kind, rating_A=Decimal(rating), **breaker),
            rcd=rcd,
            cable=cable,
            ring=ring,
        )
        for number, name, kind, rating, rcd, cable, ring in circuits
    )
    rcds = tuple(
        Rcd(reference=name, rated_residual_current_mA=Decimal(30), type="A", rating_A=Decimal(63))
        for name in ("RCD1", "RCD2")
    )
    return Sheet(
        job=JobFacts(reference="HALL-7", site="Quarry Lane village hall", date=date(2026, 3, 14), kind="periodic"),
        supply=Supply(earthing="TN-C-S", main_fuse_A=Decimal(80), main_fuse_standard="BS 88-3"),
        boards=(Board(reference="DB1", name="main board", rcds=rcds, circuits=ways),),
        limits=EDITION,
        instruments=(
            Instrument(reference="tester 1", kind="multifunction", serial="0417", calibration_due=date(2026, 9, 1)),
            Instrument(reference="clamp 1", kind="leakage clamp", serial="0090", calibration_due=date(2026, 5, 1)),
        ),
    )


def place(circuit: str = "", rcd: str = "") -> Place:
    return Place(board="DB1", circuit=circuit, rcd=rcd)


def reading(where: Place, quantity: str, figure: str, unit: str = "", **conditions: str) -> Reading:
    value = {"over": OverRange(), "pass": Result(word="pass"), "fail": Result(word="fail")}.get(figure)
    comparison = figure[0] if figure[0] in "<>" else "="
    value = value or Number(figure=Decimal(figure.lstrip("<>")), comparison=comparison)
    return Reading(place=where, quantity=quantity, value=value, unit=unit, conditions=conditions)


def verdict(outcome: Outcome, sentence: str, limit: str | None = None, unit: str = "", caution: str = "") -> Verdict:
    return Verdict(
        outcome=outcome,
        sentence=sentence,
        source="computed: 230 V × 0.95 / (5 × 32 A), rounded down",
        edition=EDITION,
        limit=Decimal(limit) if limit else None,
        unit=unit,
        caution=caution,
    )


ZS_32 = "Zs at most 1.09 Ω as measured (0.8 × 1.37 Ω for a B32 at 0.4 s)"
IR_1 = "insulation resistance at least 1.00 MΩ at 500 V"


class Story:
    """A journal told entry by entry, four seconds apart, with sound for every reading."""

    def __init__(self, clips: Path | None = None) -> None:
        self.clips, self.entries = clips, []

    def add(self, kind: EntryKind, words: str = "", **fields) -> int:
        head = Head(self.entries[-1].number, self.entries[-1].digest) if self.entries else Head()
        draft = Draft(kind=kind, words=tuple(words.split()), **fields)
        self.entries.append(entry_of(forge(draft, head, START + timedelta(seconds=4 * len(self.entries)))))
        return self.entries[-1].number

    def call(self, words: str, what: Reading, said: Verdict | None = None, **fields) -> int:
        name = f"{len(self.entries) + 1:06d}.wav"
        sound = {"clip": name, "clip_sha256": _clip(self.clips / name)} if self.clips else {}
        kind = fields.pop("kind", EntryKind.CALLED)
        back = f"{words}?"
        return self.add(
            kind, words, place=what.place, reading=what, verdict=said, said_back=back, margin=21.5, **fields, **sound
        )

    def affirm(self, number: int) -> int:
        return self.add(EntryKind.AFFIRMED, "affirm", refers=number)

    def affirmed(self, words: str, what: Reading, said: Verdict | None = None, **fields) -> int:
        number = self.call(words, what, said, **fields)
        self.affirm(number)
        return number


def story(clips: Path | None = None) -> Sequence[Entry]:
    """Every kind of thing that can happen to a reading, once."""
    tell = Story(clips)
    ok, bad = (lambda s, *a: verdict(Outcome.PASS, s, *a)), (lambda s, *a: verdict(Outcome.FAIL, s, *a))
    tell.add(EntryKind.STARTED, detail={"version": "0.1", "policy": "solo"})
    tell.affirmed("zed e zero point two one ohms", reading(place(), "ze", "0.21", "ohm"), ok("Ze at most 0.35 Ω"))
    tell.affirmed("polarity pass", reading(place(), "polarity", "pass"))
    tell.add(EntryKind.MOVED, "circuit five", place=place("5"))
    wrong = tell.call("zed s zero point seven two ohms", reading(place("5"), "zs", "0.72", "ohm"), ok(ZS_32))
    right = tell.call(
        "correction zero point two seven ohms",
        reading(place("5"), "zs", "0.27", "ohm"),
        ok(ZS_32, "1.09", "ohm"),
        kind=EntryKind.CORRECTED,
        refers=wrong,
        reason="heard wrong",
    )
    tell.affirm(right)
    ir = reading(place("5"), "ir_le", "0.40", "Mohm", test_voltage_V="500")
    low = bad(IR_1, "1.00", "Mohm")
    tell.affirmed("insulation live to earth zero point four zero meg", ir, low)
    again = reading(place("5"), "ir_le", "2.50", "Mohm", test_voltage_V="500")
    tell.affirmed("retest two point five zero meg", again, ok(IR_1, "1.00", "Mohm"), reason="unplugged the tea urn")
    tell.add(EntryKind.REFUSED, "insulation live two", detail={"why": "no value was heard"})
    for number, figure in (("1", "0.31"), ("2", "0.40"), ("6", "1.02"), ("8", "1.20")):
        near = {"6": Outcome.MARGINAL, "8": Outcome.FAIL}.get(number, Outcome.PASS)
        call = f"circuit {number} zed s {figure}"
        tell.affirmed(call, reading(place(number), "zs", figure, "ohm"), verdict(near, ZS_32, "1.09", "ohm"))
    gone = tell.affirmed(
        "circuit three zed s nine point nine ohms", reading(place("3"), "zs", "9.9", "ohm"), bad(ZS_32)
    )
    tell.add(EntryKind.WITHDRAWN, "disregard that", refers=gone)
    for number, figure in enumerate(["0.42", "1.95", "0.12", "0.55", "3.20", "2.85", "0.30", "1.10", "0.05"], 1):
        call = f"circuit {number} leakage {figure} milliamps"
        tell.affirmed(call, reading(place(str(number)), "earth_leakage", figure, "mA"))
    trip = reading(place(rcd="RCD1"), "rcd_time", "24.1", "ms", multiple="1", half_cycle="0")
    tell.affirmed("r c d one times two four point one milliseconds", trip, ok("at most 300 ms at 1 × IΔn"))
    code = {"kind": "observation", "code": "C1", "words": "unverified"}
    tell.add(EntryKind.NOTED, "cover missing from the box", place=place("7"), detail=code)
    tell.call(
        "circuit seven insulation over range", reading(place("7"), "ir_le", "over", test_voltage_V="500"), ok(IR_1)
    )
    tell.add(EntryKind.STOPPED)
    return tuple(tell.entries)


def _clip(path: Path) -> str:
    """A tenth of a second of a tone; gives back its SHA-256."""
    path.parent.mkdir(parents=True, exist_ok=True)
    tone = (8000 * np.sin(np.arange(1600) * 2 * np.pi * 440 / 16000)).astype("<i2").tobytes()
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16000)
        file.writeframes(tone)
    path.write_bytes(buffer.getvalue())
    return hashlib.sha256(buffer.getvalue()).hexdigest()
