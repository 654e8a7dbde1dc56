"""The nouns of the job sheet: what is installed, before anything is measured.

Frozen, without input or output: ``keeping`` reads them from ``job.toml``, ``checking`` judges by
them. Currents are A (mA where the name says so), lengths m, areas mm2, times s, all ``Decimal``
as written. A part that is not known is absent (None or empty), never guessed; checks that need it
say so by name.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from voicelog.errors import SheetError
from voicelog.model import Noun, Place

Positive = Annotated[Decimal, Field(gt=0)]
Reference = Annotated[str, Field(pattern=r"\S")]  # what a place is called by: never empty
Earthing = Literal["TN-C-S", "TN-S", "TT"]
RcdType = Literal["AC", "A", "F", "B"]
Load = Literal[
    "resistive",  # heaters, filament lamps: no d.c. component
    "electronic",  # rectifier inputs: computers, LED drivers, appliances with controls
    "single-phase drive",  # frequency-controlled motors on one phase: washing machines, heat pumps
    "three-phase drive",  # smooth d.c. possible
    "vehicle charging",  # smooth d.c. possible unless the charge point detects it
    "photovoltaic",  # smooth d.c. possible unless the inverter excludes it
]


class JobFacts(Noun):
    """Which job this is."""

    reference: str
    site: str = ""
    date: date
    kind: str = "periodic"  # "initial", "periodic", "fault finding" or the crew's own word


class Supply(Noun):
    """What comes in, before the first board."""

    earthing: Earthing
    phases: Literal[1, 3] = 1
    nominal_voltage_V: Positive = Decimal(230)  # line to neutral
    main_fuse_A: Positive | None = None
    main_fuse_standard: str = ""  # e.g. "BS 88-3"
    ze_ohm: Positive | None = None  # by enquiry or earlier measurement


class Device(Noun):
    """An overcurrent protective device."""

    standard: str  # "BS EN 60898", "BS EN 61009", "BS 88-2", "BS 88-3", "BS 3036", "BS 1362"
    type: str = ""  # "B", "C" or "D" for breakers; "gG" or empty for fuses
    rating_A: Positive
    breaking_capacity_kA: Positive | None = None  # the marked Icn for breakers to BS EN 60898

    @property
    def name(self) -> str:
        """As a person says it: ``B32``, ``BS 88-3 80 A``."""
        rating = f"{self.rating_A.normalize():f}"
        return f"{self.type}{rating}" if self.type in ("B", "C", "D") else f"{self.standard} {rating} A"


class Rcd(Noun):
    """A residual current device, alone or inside an RCBO."""

    reference: Reference
    rated_residual_current_mA: Positive
    type: RcdType | None = None
    delayed: bool = False  # selective, marked S
    rating_A: Positive | None = None


class Cable(Noun):
    """The conductors of a circuit: plain copper."""

    line_mm2: Positive
    cpc_mm2: Positive
    length_m: Positive | None = None  # to the furthest point; once round for a ring
    conductor_limit_C: Positive = Decimal(70)  # operating temperature of the insulation


class Circuit(Noun):
    """One way of a board."""

    number: Reference  # its designation: "5", "5L2"
    name: str = ""
    phase: Literal["L1", "L2", "L3", "3"] = "L1"  # "3" takes all three
    device: Device | None = None
    rcd: str = ""  # reference of an RCD on the same board; empty when there is none
    cable: Cable | None = None
    ring: bool = False
    points: int | None = Field(default=None, ge=0)
    sockets: bool | None = None  # True when it feeds socket-outlets; None when not known
    feeds: str = ""  # reference of the board that it supplies; empty for a final circuit
    disconnection_s: Positive | None = None  # stated by the designer; otherwise the edition's rule
    loads: tuple[Load, ...] = ()  # kinds of load that matter to the type of RCD
    items: tuple[str, ...] = ()  # things on it that can be unplugged, as they are called
    vulnerable: tuple[str, ...] = ()  # equipment that an insulation test can damage


class Board(Noun):
    """A distribution board or consumer unit."""

    reference: Reference
    name: str = ""
    supplied_from: str = ""  # key of the circuit that feeds it ("DB1/8"); empty at the origin
    rcds: tuple[Rcd, ...] = ()
    circuits: tuple[Circuit, ...] = ()

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        _no_twins(f"circuits of board {self.reference}", [c.number for c in self.circuits])
        _no_twins(f"RCDs of board {self.reference}", [r.reference for r in self.rcds])
        known = {r.reference for r in self.rcds}
        for circuit in self.circuits:
            if circuit.rcd and circuit.rcd not in known:
                raise ValueError(f"circuit {circuit.number} names RCD {circuit.rcd!r}, which the board does not have")
        return self

    def circuit(self, number: str) -> Circuit:
        """The circuit of that designation; SheetError when there is none."""
        for circuit in self.circuits:
            if circuit.number == number:
                return circuit
        raise SheetError(
            f"there is no circuit {number!r}.", where=f"board {self.reference}", do="Look at the job sheet."
        )

    def rcd(self, reference: str) -> Rcd:
        """The RCD of that reference; SheetError when there is none."""
        for rcd in self.rcds:
            if rcd.reference == reference:
                return rcd
        raise SheetError(
            f"there is no RCD {reference!r}.", where=f"board {self.reference}", do="Look at the job sheet."
        )

    def behind(self, reference: str) -> tuple[Circuit, ...]:
        """The circuits downstream of an RCD, in board order."""
        return tuple(circuit for circuit in self.circuits if circuit.rcd == reference)


class Instrument(Noun):
    """A test instrument in use on the job."""

    reference: str  # what the crew calls it
    kind: str = ""  # "multifunction", "clamp", "insulation" ...
    serial: str = ""
    calibration_due: date | None = None
    accuracy_percent: Annotated[Decimal, Field(gt=0, lt=100)] | None = (
        None  # of reading, from its own sheet; used for honest intervals
    )


class Wishes(Noun):
    """What regrouping circuits over RCDs must respect. Circuits by key ("DB1/5"), RCDs by reference."""

    together: tuple[tuple[str, ...], ...] = ()  # each group ends up on one RCD
    apart: tuple[tuple[str, ...], ...] = ()  # no two of a group share an RCD
    fixed: dict[str, str] = Field(default_factory=dict)  # circuit key -> RCD reference


class Sheet(Noun):
    """The job sheet: what is installed, by which edition it is judged, what it is compared with."""

    job: JobFacts
    supply: Supply
    boards: tuple[Board, ...]
    limits: str = ""  # label or file of the limit edition; must be chosen
    previous: str = ""  # file of a previous record; empty when there is none
    instruments: tuple[Instrument, ...] = ()
    regrouping: Wishes = Wishes()

    @model_validator(mode="after")
    def _boards_differ(self) -> Self:
        _no_twins("boards", [board.reference for board in self.boards])
        return self

    def board(self, reference: str) -> Board:
        """The board of that reference; SheetError when there is none."""
        for board in self.boards:
            if board.reference == reference:
                return board
        raise SheetError(f"there is no board {reference!r}.", where="job sheet", do="Look at [[board]] in job.toml.")

    def circuit(self, place: Place) -> Circuit | None:
        """The circuit that a place names, or None when the place is not a circuit."""
        return self.board(place.board).circuit(place.circuit) if place.circuit else None

    def rcd(self, place: Place) -> Rcd | None:
        """The RCD that a place is or lies behind, or None."""
        board = self.board(place.board)
        circuit = self.circuit(place)
        reference = place.rcd or (circuit.rcd if circuit else "")
        return board.rcd(reference) if reference else None

    def place_of(self, key: str) -> Place:
        """The circuit of a key, "DB1/8"; SheetError when there is none."""
        for board in self.boards:
            for circuit in board.circuits:
                if f"{board.reference}/{circuit.number}" == key:
                    return Place(board=board.reference, circuit=circuit.number)
        raise SheetError(f"there is no circuit {key!r}.", where="job sheet", do="Look at job.toml.")

    def feeder(self, board: Board) -> Place | None:
        """The circuit that supplies a board; None at the origin."""
        return self.place_of(board.supplied_from) if board.supplied_from else None

    def protecting_rcd(self, place: Place) -> Rcd | None:
        """The nearest RCD through which a place is supplied: its own, or one before its board."""
        where = self.place_of_protecting_rcd(place)
        return self.rcd(where) if where else None

    def place_of_protecting_rcd(self, place: Place) -> Place | None:
        """Where the nearest RCD through which a place is supplied sits."""
        on_the_way = ((there, self.rcd(there)) for there in self.supply_path(place))
        return next((Place(board=there.board, rcd=rcd.reference) for there, rcd in on_the_way if rcd), None)

    def supply_path(self, place: Place) -> Iterator[Place]:
        """A place, the circuit that feeds its board, the one that feeds that one's, and on to the origin."""
        for _ in self.boards:  # boards that feed each other have no first one
            yield place
            feeder = self.feeder(self.board(place.board))
            if feeder is None:
                return
            place = feeder


def _no_twins(what: str, names: list[str]) -> None:
    twins = [name for name, count in Counter(names).items() if count > 1]
    if twins:
        raise ValueError(f"{what}: {twins[0]!r} appears more than once")
