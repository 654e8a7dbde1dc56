"""All that can be said on one job, as one phrase: the grammar's words around the sheet's names.

The tags it sets, and what ``parsing`` makes of them:

    number, comparison, result, choice    a value
    unit                                  its unit
    repair                                what was said before it does not count
    quantity, condition:KEY               which quantity
    circuit, rcd, board, named            where
    command, item, sequence, code, then   what to do
"""

import re
import unicodedata
from collections.abc import Iterator

from voicelog.installation import Board, Circuit, Sheet
from voicelog.meaning.grammar import CommandWord, Condition, Grammar, Quantity
from voicelog.meaning.network import Network, compile_phrase
from voicelog.meaning.numbers import comparison_phrase, number_phrase
from voicelog.meaning.phrase import (
    Costly,
    Phrase,
    Repaired,
    Say,
    Tagged,
    one_of,
    optional,
    read_phrase,
    read_phrases,
    sequence,
    words,
)
from voicelog.model import EVERYTHING

# Nats. A bare number is welcome only as an answer or in a sweep, so the ear should prefer anything else.
BARE = 1.5
REPAIR = 2.0
MAY_GO_ON = 0.7  # what is whole but may go on: the ear then waits a little longer before it takes it as ended
WITHOUT_ACCENT = str.maketrans({"æ": "ae", "œ": "oe", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ı": "i"})
MOST_CIRCUITS = 40  # designations that can be said even when the sheet has no such circuit


class Utterances:
    """Builds the phrase of one job."""

    def __init__(self, grammar: Grammar, sheet: Sheet, attention: str = "") -> None:
        """``attention``: a word that may stand before anything said, so that talk can be told apart by it."""
        self.grammar, self.sheet, self.attention = grammar, sheet, attention

    def network(self) -> Network:
        """The network that the ear compiles and the reader walks."""
        return compile_phrase(self.phrase())

    def phrase(self) -> Phrase:
        """Anything that can be said."""
        return sequence(optional(words(self.attention)), self._anything()) if self.attention else self._anything()

    def _anything(self) -> Phrase:
        return one_of(
            [
                sequence(optional(self._prefix(), REPAIR), self._call()),
                *(self._command(command) for command in self.grammar.commands.values()),
            ]
        )

    # ------------------------------------------------------------ calls

    def _prefix(self) -> Phrase:
        """Prowords that a call may follow: correction, retest."""
        takers = [command for command in self.grammar.commands.values() if command.takes == "call"]
        return one_of(
            Tagged(read_phrases((*command.said, *command.before)), "command", command.key) for command in takers
        )

    def _call(self) -> Phrase:
        """A place, a reading, both, or a bare value."""
        reading = sequence(optional(self.place()), self._reading())
        bare = one_of([self._bare(), *self._told_apart()])
        return one_of([reading, Costly(self.place(), MAY_GO_ON), Costly(bare, BARE)])

    def _reading(self) -> Phrase:
        return one_of(self._readings_alike(alike) for alike in self._by_tail())

    def _by_tail(self) -> list[list[Quantity]]:
        """Quantities whose values are said alike share one copy of the network of numbers."""
        groups: dict[tuple, list[Quantity]] = {}
        for quantity in self.grammar.quantities.values():
            groups.setdefault(_tail_key(quantity), []).append(quantity)
        return list(groups.values())

    def _readings_alike(self, quantities: list[Quantity]) -> Phrase:
        heads = one_of(self.head(quantity) for quantity in quantities)
        return sequence(heads, self._value(quantities))

    def head(self, quantity: Quantity) -> Phrase:
        """A quantity with its conditions."""
        said = Tagged(read_phrases(quantity.said), "quantity", quantity.key)
        return sequence(said, *(self._condition(condition) for condition in quantity.condition))

    def _condition(self, condition: Condition) -> Phrase:
        return optional(self._ways(condition))  # left out where it must be said, the reader asks for it by name

    @staticmethod
    def _ways(condition: Condition) -> Phrase:
        return one_of(
            Tagged(read_phrase(phrase), f"condition:{condition.key}", value) for value, phrase in condition.said.items()
        )

    # ------------------------------------------------------------ values

    def _value(self, alike: list[Quantity]) -> Phrase:
        repair = Tagged(read_phrases(self.grammar.places.repair), "repair")
        return Repaired(self._one_value(alike), Costly(repair, REPAIR))

    def _one_value(self, alike: list[Quantity]) -> Phrase:
        """All that any of them can be; what one of them cannot be, the reader refuses by name."""
        first = alike[0]
        ways = [self._result(alike)]
        if first.value == "number":
            decimals = max(quantity.decimals for quantity in alike)
            ways.append(sequence(self._figure(decimals), self._unit(first.units)))
        if first.value == "choice":
            ways.append(one_of(Tagged(read_phrase(said), "choice", kept) for kept, said in first.choices.items()))
        return one_of(ways)

    def _figure(self, decimals: int) -> Phrase:
        comparison = comparison_phrase(self.grammar.numbers)
        return sequence(optional(comparison), number_phrase(self.grammar.numbers, decimals))

    def _unit(self, units: tuple[str, ...]) -> Phrase:
        named = [unit for unit in units if unit]
        if not named:
            return sequence()
        said = one_of(Tagged(read_phrases(self.grammar.units[unit].said), "unit", unit) for unit in named)
        return one_of([said, Costly(sequence(), MAY_GO_ON)])

    def _result(self, alike: list[Quantity]) -> Phrase:
        return one_of(
            Tagged(read_phrases(result.said), "result", result.key)
            for result in self.grammar.results.values()
            if any(result_fits(quantity, result.for_) for quantity in alike)
        )

    def _bare(self) -> Phrase:
        """A value alone: an answer, or a reading of the quantity that is being gone round."""
        repair = Tagged(read_phrases(self.grammar.places.repair), "repair")
        most = max(quantity.decimals for quantity in self.grammar.quantities.values())
        figure = sequence(self._figure(most), self._unit(tuple(self.grammar.units)))
        results = one_of(Tagged(read_phrases(r.said), "result", r.key) for r in self.grammar.results.values())
        return Repaired(one_of([figure, results]), Costly(repair, REPAIR))

    def _told_apart(self) -> Iterator[Phrase]:
        """A value behind what tells it from others of its quantity alone: "five times nine point one"."""
        for quantity in self.grammar.quantities.values():
            for condition in quantity.condition:
                if condition.alone:
                    others = (self._condition(other) for other in quantity.condition if other is not condition)
                    yield sequence(self._ways(condition), *others, self._value([quantity]))

    # ------------------------------------------------------------ places

    def place(self) -> Phrase:
        """A circuit by number or by name, an RCD, the board's tails."""
        ways = [self._numbered(), self._tails()]
        for board in self.sheet.boards:
            ways += [self._named(board, circuit) for circuit in board.circuits if self.spoken_name(circuit.name)]
            ways += self._rcds(board)
        return one_of([*ways, self._board_and_place()] if len(self.sheet.boards) > 1 else ways)

    def _tails(self) -> Phrase:
        return Tagged(read_phrases(self.grammar.places.tails), "board", "")

    def _rcds(self, board: Board) -> list[Phrase]:
        return [Tagged(self._reference(rcd.reference), "rcd", rcd.reference) for rcd in board.rcds]

    def _board_and_place(self) -> Phrase:
        """ "Board d b two, circuit one", as a place is said back where several boards have a circuit one."""
        boards = self.sheet.boards
        said = one_of(Tagged(one_of(self._board(board)), "board", board.reference) for board in boards)
        rcds = [rcd for board in boards for rcd in self._rcds(board)]
        return sequence(said, optional(one_of([self._numbered(), self._tails(), *rcds])))

    def _board(self, board: Board) -> list[Phrase]:
        """ "Board d b two", "dairy board", "board dairy"; but what is a circuit's name stays that circuit."""
        word = self.grammar.places.board[0]
        circuits = {self.spoken_name(circuit.name) for one in self.sheet.boards for circuit in one.circuits}
        name = self.spoken_name(board.name).removesuffix(word).strip()
        named = [f"{name} {word}", f"{word} {name}"] if name else []
        reference = sequence(read_phrases(self.grammar.places.board), self._reference(board.reference))
        return [reference, *(words(one) for one in named if one not in circuits)]

    def _numbered(self) -> Phrase:
        """Every designation on the sheet, and plain numbers beyond it: the reader refuses those by name."""
        plain = {str(number) for number in range(1, MOST_CIRCUITS + 1)}
        known = {circuit.number for board in self.sheet.boards for circuit in board.circuits}
        designations = one_of(
            Tagged(self._designation(number), "circuit", number) for number in sorted(plain | known, key=_by_number)
        )
        return sequence(read_phrases(self.grammar.places.circuit), designations)

    def _designation(self, number: str) -> Phrase:
        figures, phase = re.fullmatch(r"(\d+)(?:L(\d))?|.*", number).groups()
        if figures is None:
            return self._reference(number)
        said = one_of([words(self.natural(figures)), words(self._digits(figures))])
        if phase is None:
            return said
        return sequence(said, read_phrases(self.grammar.places.phase), words(self._digits(phase)))

    def _named(self, board: Board, circuit: Circuit) -> Phrase:
        name = words(self.spoken_name(circuit.name))
        return Tagged(sequence(optional(Say("circuit"), 1.0), name), "named", f"{board.reference}/{circuit.number}")

    def spoken_name(self, name: str) -> str:
        """A name from the sheet as words: letters without their accents, and digits as numbers are said."""
        parts = re.findall(r"[a-z']+|\d+", plain_letters(name))
        return " ".join(self.natural(part) if part.isdigit() else part for part in parts)

    def _reference(self, reference: str) -> Phrase:
        """ "RCD1" is said "r c d one"."""
        return words(self.spoken_reference(reference))

    def spoken_reference(self, reference: str) -> str:
        """Letters by name, digits one by one."""
        letters = self.grammar.places.letters
        said = [letters.get(sign) or self.grammar.numbers.spoken_digit.get(sign, "") for sign in reference.lower()]
        return " ".join(word for word in said if word)

    def _digits(self, figures: str) -> str:
        return " ".join(self.grammar.numbers.spoken_digit[figure] for figure in figures)

    def natural(self, figures: str) -> str:
        """Two digits or fewer as people say them; longer ones digit by digit."""
        if len(figures) > 2 or figures.startswith("0"):
            return self._digits(figures)
        numbers, value = self.grammar.numbers, int(figures)
        for table in (numbers.teens, numbers.tens):
            for word, meant in table.items():
                if meant == value:
                    return word
        if value < 10:
            return numbers.spoken_digit[figures]
        ten = next(word for word, meant in numbers.tens.items() if meant == value // 10 * 10)
        return f"{ten} {numbers.spoken_digit[figures[1]]}"

    # ------------------------------------------------------------ commands

    def _order(self, command: CommandWord) -> Phrase:
        return Tagged(read_phrases(command.said), "command", command.key)

    def _command(self, command: CommandWord) -> Phrase:
        carried = self._carried(command)
        if command.takes == "call":  # alone; with a call behind it, it is a prefix of that call
            alone = Costly(self._order(command), MAY_GO_ON)
            return one_of([alone, self._unvalued(command)]) if command.asks else alone
        if carried is None:
            return self._order(command)
        ways = [sequence(self._order(command), carried, self._then(command))]
        if command.around:
            before, after = map(read_phrase, command.around)
            ways.append(sequence(Tagged(before, "command", command.key), carried, after))
        return one_of(ways)

    def _unvalued(self, command: CommandWord) -> Phrase:
        """A quantity whose value is to be asked for: "retest insulation line to earth"."""
        heads = one_of(self.head(quantity) for quantity in self.grammar.quantities.values())
        return Costly(sequence(self._order(command), optional(self.place()), heads), MAY_GO_ON)

    def _then(self, command: CommandWord) -> Phrase:
        """Another order in the same breath: "unplugged the urn, retest"."""
        if not command.then:
            return sequence()
        return optional(Tagged(read_phrases(self.grammar.commands[command.then].said), "then", command.then))

    def _carried(self, command: CommandWord) -> Phrase | None:
        match command.takes:
            case "place":
                return self.place()
            case "quantity":
                heads = one_of(self.head(q) for q in self.grammar.quantities.values() if q.value == "number")
                return sequence(heads, optional(sequence(optional(Say("on")), self.place())))
            case "reading":
                to = read_phrases(self.grammar.places.to)
                heads = one_of(self.head(q) for q in self.grammar.quantities.values())
                return sequence(optional(self.place()), heads, to, self._bare())
            case "item":
                items = [Tagged(words(said), "item", item) for said, item in self.items().items()]
                return one_of([*items, Tagged(read_phrases(self.grammar.places.everything), "item", EVERYTHING)])
            case "sequence":
                named = self.grammar.sequences.values()
                return one_of(Tagged(read_phrases(test.said), "sequence", test.key) for test in named)
            case "code":
                named = self.grammar.places.codes.items()
                code = one_of(Tagged(read_phrases(said), "code", key) for key, said in named)
                return sequence(optional(self.place()), optional(code))
            case "number":
                numbers = map(str, range(1, MOST_CIRCUITS + 1))
                return one_of(Tagged(words(self.natural(number)), "count", number) for number in numbers)
        return None

    def items(self) -> dict[str, str]:
        """Spoken name -> name on the sheet, of all that can be unplugged."""
        names = dict.fromkeys(i for board in self.sheet.boards for circuit in board.circuits for i in circuit.items)
        return {self.spoken_name(name): name for name in names if self.spoken_name(name)}


def result_fits(quantity: Quantity, fits: str) -> bool:
    """Whether a result word can be a value of this quantity."""
    if fits == "any":
        return True
    if fits == "result":
        return quantity.value == "result"
    return bool(getattr(quantity, fits, False))


def plain_letters(name: str) -> str:
    """Small letters without accents: a letter that is dropped would leave half a word to say."""
    apart = unicodedata.normalize("NFKD", name.replace("’", "'").casefold().translate(WITHOUT_ACCENT))
    return "".join(sign for sign in apart if not unicodedata.combining(sign))


def _tail_key(quantity: Quantity) -> tuple:
    return (quantity.value, quantity.units, tuple(quantity.choices.items()))


def _by_number(designation: str) -> tuple[int, str]:
    figures = re.match(r"\d+", designation)
    return (int(figures.group()) if figures else 0, designation)
