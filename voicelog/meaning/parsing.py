"""Words into meaning. Trusts nobody: what is not in the grammar comes back as NotUnderstood, with the reason.

The ear may deliver anything, a typist too. The reader walks the job's network,
turns each way to read the words into a meaning, and refuses what is
incomplete, out of span, at a place that is not on the sheet, or readable in
two ways.
"""

from collections.abc import Iterator
from decimal import Decimal

from voicelog.installation import Sheet
from voicelog.meaning.grammar import Grammar, Quantity
from voicelog.meaning.names import NameFinder
from voicelog.meaning.network import Filled, Network, Parse
from voicelog.meaning.numbers import read_number
from voicelog.meaning.utterances import Utterances, plain_letters, result_fits
from voicelog.model import (
    Called,
    Choice,
    Command,
    Comparison,
    Heard,
    Hypothesis,
    Meaning,
    NotUnderstood,
    Noun,
    Number,
    OpenCircuit,
    OverRange,
    Place,
    Result,
    Understood,
    Value,
)

_VALUE_PARTS = frozenset({"number", "comparison", "result", "choice", "unit"})
_ARGUMENTS = ("item", "sequence", "code", "count", "then", "name")  # of a command, in words of their own
_OWN_KINDS = {"over_range": OverRange(), "open_circuit": OpenCircuit()}


class Context(Noun):
    """What the dialogue knows and the words leave out."""

    board: str  # the board in hand
    units: tuple[tuple[str, str], ...] = ()  # quantity and symbol: those that need not be said


class _Refused(Exception):
    """Why one way to read the words does not hold; ``called``: that way, where its value alone does not."""

    def __init__(self, why: str, called: Called | None = None) -> None:
        super().__init__(why)
        self.called = called


class Reader:
    """Reads utterances of one job."""

    def __init__(self, grammar: Grammar, sheet: Sheet, attention: str = "") -> None:
        self.grammar, self.sheet, self.attention = grammar, sheet, attention
        self.utterances = Utterances(grammar, sheet, attention)
        self.network: Network = self.utterances.network()
        self.names = NameFinder(self._spoken_names())
        self._names_on = {
            board.reference: {self.utterances.spoken_name(circuit.name) for circuit in board.circuits}
            for board in sheet.boards
        }

    @property
    def at_first(self) -> Context:
        """Where a visit begins: at the first board."""
        return Context(board=self.sheet.boards[0].reference)

    def _spoken_names(self) -> tuple[str, ...]:
        names = (circuit.name for board in self.sheet.boards for circuit in board.circuits if circuit.name)
        return tuple(dict.fromkeys(self.utterances.spoken_name(name) for name in names))

    # ------------------------------------------------------------ from the ear

    def understand(self, heard: Heard, context: Context) -> Understood:
        """The best meaning over all hypotheses, and the nearest different one with the cost between them."""
        best: tuple[Meaning, float, Hypothesis] | None = None
        for hypothesis in heard.hypotheses:
            meaning = self.read(hypothesis.texts, context)
            if isinstance(meaning, NotUnderstood):
                continue
            if best is None:
                best = meaning, hypothesis.cost, hypothesis
            elif meaning != best[0]:
                return Understood(meaning=best[0], words=best[2].texts, rival=meaning, margin=hypothesis.cost - best[1])
        if best is not None:
            return Understood(meaning=best[0], words=best[2].texts)
        return Understood(meaning=self.read(heard.texts, context), words=heard.texts)

    # ------------------------------------------------------------ from words

    def read(self, said: tuple[str, ...], context: Context) -> Meaning:
        """The one meaning of the words, or NotUnderstood with the reason."""
        if not said:
            return NotUnderstood(why="nothing was said")
        if figure := next((word for word in said if any(sign.isnumeric() for sign in word)), ""):
            why = f"{figure!r} is no word: figures are typed as they are said, 'two', 'nought point five'"
            return NotUnderstood(why=why, words=said, nearly=True)
        spelt, said = said, tuple(plain_letters(word) for word in said)
        parses = self.network.parses(said) or self._as_typed(said) or self._with_free_words(said, spelt)
        parses = parses or self._with_nearest_name(said)
        if isinstance(parses, NotUnderstood):
            return parses
        meanings, refused = self._meanings(parses, context)
        if len(meanings) == 1:
            return meanings[0]
        if meanings:
            return NotUnderstood(why="it can be read in two ways", words=said, nearly=True)
        if refused:
            return NotUnderstood(why=str(refused[0]), words=said, nearly=True, called=refused[0].called)
        return self._not_in_grammar(said)

    def _meanings(self, parses: list[Parse], context: Context) -> tuple[list[Meaning], list[_Refused]]:
        meanings: list[Meaning] = []
        reasons: list[_Refused] = []
        for parse in parses:
            try:
                meaning = self._meaning(parse, context)
            except _Refused as refused:
                reasons.append(refused)
                continue
            if meaning not in meanings:
                meanings.append(meaning)
        return meanings, reasons

    def _as_typed(self, said: tuple[str, ...]) -> list[Parse]:
        """Words that begin as nobody is heard to: "no nought point eight" is read as "negative nought point eight"."""
        return [
            parse
            for command in self.grammar.commands.values()
            for typed in command.typed
            if said[:1] == (typed,)
            for parse in self.network.parses((*command.before[0].split(), *said[1:]))
        ]

    def _with_free_words(self, said: tuple[str, ...], spelt: tuple[str, ...]) -> list[Parse]:
        """An order with words of its typist's own behind it: "rename circuit five stage left sockets".

        The order goes as far as it can: "circuit twenty two lights" is of circuit 22.
        """
        ways = ([*self._free_behind(said, spelt, end)] for end in range(len(said) - 1, 1, -1))
        return next(filter(None, ways), [])

    def _free_behind(self, said: tuple[str, ...], spelt: tuple[str, ...], end: int) -> Iterator[Parse]:
        for parse in self.network.parses(said[:end]):
            order = parse.first("command")
            if order and (after := self.grammar.commands[order.value].after):
                free = Filled(after, " ".join(spelt[end:]), spelt[end:], end)
                yield Parse(parse.cost, (*parse.parts, free))

    def _with_nearest_name(self, said: tuple[str, ...]) -> list[Parse] | NotUnderstood:
        """The words again with a nearly right circuit name put right; refused when two names are near."""
        nearest = self.names.put_right(said)
        if isinstance(nearest, NotUnderstood):
            return nearest
        return [parse for words in nearest for parse in self.network.parses(words)]

    def _not_in_grammar(self, said: tuple[str, ...]) -> NotUnderstood:
        """Names the first word that does not belong where it stands."""
        for index in range(len(said)):
            if said[index] not in self.network.followers(said[:index]):
                after = f" after {' '.join(said[:index])!r}" if index else ""
                return NotUnderstood(why=f"{said[index]!r} means nothing here{after}", words=said, nearly=index > 1)
        return NotUnderstood(why=f"something is missing after {' '.join(said)!r}", words=said, nearly=len(said) > 1)

    # ------------------------------------------------------------ one parse

    def _meaning(self, parse: Parse, context: Context) -> Meaning:
        parse = _after_repair(parse)
        command = parse.first("command")
        if command is None:
            return self._called(parse, context)
        return Command(
            name=command.value,
            called=self._carried(parse, context),
            arguments={name: part.value for name in _ARGUMENTS if (part := parse.first(name))},
        )

    def _carried(self, parse: Parse, context: Context) -> Called | None:
        carries = any(part.name not in ("command", *_ARGUMENTS) for part in parse.parts)
        return self._called(parse, context) if carries else None

    def _called(self, parse: Parse, context: Context) -> Called:
        quantity = self._quantity(parse)
        value, unit = self._value(parse, quantity, context)
        command = parse.first("command")
        if quantity and value is None and command is None:
            raise _Refused(f"{quantity.says}: no value was said")
        called = Called(
            place=self._place(parse, context),
            quantity=quantity.key if quantity else "",
            value=value,
            unit=unit,
            conditions=self._conditions(parse, quantity) if quantity else self._conditions_alone(parse),
            repaired=parse.first("repair") is not None,
        )
        if quantity and value is not None and command is None:  # a command's unit may come from the record
            check_value(called, quantity, self.grammar)
        return called

    def _quantity(self, parse: Parse) -> Quantity | None:
        part = parse.first("quantity")
        return self.grammar.quantities[part.value] if part else None

    def _conditions(self, parse: Parse, quantity: Quantity) -> dict[str, str]:
        found = {}
        for condition in quantity.condition:
            part = parse.first(f"condition:{condition.key}")
            kept = part.value if part else condition.default
            if not kept:
                choices = ", ".join(condition.spoken(value) for value in condition.said)
                raise _Refused(f"{quantity.says}: say which: {choices}")
            found[condition.key] = kept
        return found

    def _conditions_alone(self, parse: Parse) -> dict[str, str]:
        """What was said to tell a value from others of a quantity that was not said."""
        for quantity in self.grammar.quantities.values():
            if any(condition.alone and parse.first(f"condition:{condition.key}") for condition in quantity.condition):
                return self._conditions(parse, quantity)
        return {}

    # ------------------------------------------------------------ values

    def _value(self, parse: Parse, quantity: Quantity | None, context: Context) -> tuple[Value | None, str]:
        unit = parse.first("unit")
        symbol = unit.value if unit else ""
        if part := parse.first("number"):
            number = self._number(part, parse.first("comparison"))
            asked = dict(context.units).get(quantity.key, "") if quantity else ""
            return number, symbol or asked or _only_unit(quantity, number)
        if part := parse.first("result"):
            return _OWN_KINDS.get(part.value) or Result(word=part.value), ""
        if part := parse.first("choice"):
            return Choice(word=part.value), ""
        return None, ""

    def _number(self, part: Filled, comparison: Filled | None) -> Number:
        figure = read_number(part.words, self.grammar.numbers)
        if figure is None:
            raise _Refused(f"{' '.join(part.words)!r} is not one number")
        return Number(figure=figure, comparison=Comparison(comparison.value) if comparison else Comparison.EQUAL)

    # ------------------------------------------------------------ places

    def _place(self, parse: Parse, context: Context) -> Place | None:
        board = parse.first("board")
        where = (board.value if board else "") or context.board
        if part := parse.first("named"):
            return self._preferred(self.sheet.place_of(part.value), context)
        if part := parse.first("circuit"):
            return self._circuit(where, part, self._where(board))
        if part := parse.first("rcd"):
            return self._rcd(where, part, self._where(board))
        return Place(board=where) if board else None

    def _preferred(self, named: Place, context: Context) -> Place:
        """A name that several boards have is that of the board in hand, as a number is."""
        name = self.utterances.spoken_name(self.sheet.circuit(named).name)
        if named.board != context.board and name in self._names_on[context.board]:
            raise _Refused(f"{name} is on the board in hand too")
        return named

    def _where(self, said: Filled | None) -> str:
        """The board that a place was looked for on, as the crew would call it."""
        in_hand = "sheet" if len(self.sheet.boards) == 1 else "board in hand"
        return " ".join(said.words) if said and said.value else f"the {in_hand}"

    def _circuit(self, board: str, part: Filled, where: str) -> Place:
        if all(circuit.number != part.value for circuit in self.sheet.board(board).circuits):
            raise _Refused(f"there is no circuit {' '.join(part.words)} on {where}")
        return Place(board=board, circuit=part.value)

    def _rcd(self, board: str, part: Filled, where: str) -> Place:
        if all(rcd.reference != part.value for rcd in self.sheet.board(board).rcds):
            raise _Refused(f"there is no {' '.join(part.words)} on {where}")
        return Place(board=board, rcd=part.value)


def check_value(called: Called, quantity: Quantity, grammar: Grammar) -> None:
    """Refuse what no instrument shows for this quantity: a missing unit, a foreign one, a figure out of span."""
    try:
        refuse_value(called, quantity, grammar)
    except ValueError as reason:
        raise _Refused(str(reason), called) from reason


def refuse_value(called: Called, quantity: Quantity, grammar: Grammar) -> None:
    """Raise ValueError with the reason when the value cannot be one of this quantity."""
    match called.value:
        case Number():
            _refuse_figure(called, quantity, grammar)
        case Result(word=word):
            if quantity.value == "number" and word in ("pass", "fail"):
                raise ValueError(f"{quantity.says}: a figure is needed, not {word}")
            if not _result_allowed(quantity, word, grammar):
                raise ValueError(f"{quantity.says} cannot be {word.replace('_', ' ')}")
        case OverRange():
            if not quantity.over_range:
                raise ValueError(f"{quantity.says} cannot be over range")
        case OpenCircuit():
            if not quantity.open_circuit:
                raise ValueError(f"{quantity.says} cannot be open circuit")
        case Choice(word=word):
            if word not in quantity.choices:
                raise ValueError(f"{quantity.says} cannot be {word}")


def _result_allowed(quantity: Quantity, word: str, grammar: Grammar) -> bool:
    return result_fits(quantity, grammar.results[word].for_)


def _refuse_figure(called: Called, quantity: Quantity, grammar: Grammar) -> None:
    if quantity.value != "number":
        raise ValueError(f"{quantity.says} is not a figure")
    if quantity.exact and called.value.comparison is not Comparison.EQUAL:
        raise ValueError(f"{quantity.says}: say the figure itself")
    if called.unit not in quantity.units:
        units = " or ".join(grammar.units[unit].spoken for unit in quantity.units if unit)
        if not called.unit:
            raise ValueError(f"{quantity.says}: say the unit: {units}")
        raise ValueError(f"{quantity.says} is not measured in {grammar.units[called.unit].spoken}")
    if -called.value.figure.as_tuple().exponent > quantity.decimals:
        raise ValueError(f"{quantity.says}: no instrument shows {called.value.figure}")
    if _in_first_unit(called, quantity, grammar) > quantity.greatest:
        raise ValueError(f"{quantity.says}: {called.value.figure} is beyond anything that can be measured")


def _in_first_unit(called: Called, quantity: Quantity, grammar: Grammar) -> Decimal:
    if called.unit == quantity.units[0]:
        return called.value.figure
    units = grammar.units
    return called.value.figure * units[called.unit].factor / units[quantity.units[0]].factor


def _only_unit(quantity: Quantity | None, number: Number) -> str:
    """A quantity measured in one unit alone does not need it said, unless the figure is as short as "zed e five".

    Instruments of quantities with decimals show them; so bare a figure is heard out of ordinary talk.
    """
    if quantity is None or quantity.unit_must_be_said:
        return ""
    bare = quantity.decimals > 0 and number.figure.as_tuple().exponent == 0
    return "" if bare else quantity.units[0]


def _after_repair(parse: Parse) -> Parse:
    """Only the last value of "seven, no wait, seven point two" counts."""
    repairs = parse.all("repair")
    if not repairs:
        return parse
    last = repairs[-1].start
    kept = (part for part in parse.parts if part.name not in _VALUE_PARTS or part.start > last)
    return Parse(parse.cost, tuple(kept))
