"""All that can be said on a job, from the same grammar that is heard and read."""

from pathlib import Path

from voicelog.installation import Sheet
from voicelog.keeping.job import open_job
from voicelog.meaning.grammar import CommandWord, Grammar, Quantity
from voicelog.meaning.grammar_files import load_grammar
from voicelog.meaning.phrase import first_spelling, read_phrase, spellings
from voicelog.resources import data_folder
from voicelog.talking.phrasing import Phrasing


def page(job: Path | None) -> str:
    """The sheet as text: places, quantities with their units, results, orders. Raises what open_job raises."""
    grammar = load_grammar()
    sheet = open_job(job or data_folder("audio_samples") / "demo").sheet
    blocks = (
        _places(grammar, sheet),
        _quantities(grammar),
        _results(grammar),
        _orders(grammar),
        _following(grammar, sheet),
    )
    return "\n\n".join(blocks)


def _places(grammar: Grammar, sheet: Sheet) -> str:
    phrasing = Phrasing(grammar, sheet)
    rows = ["PLACES", "  tails, main switch, origin"]
    for board in sheet.boards:
        if len(sheet.boards) > 1:  # a circuit is then of the board that was named last
            rows += ["", f"  board {phrasing.reference(board.reference)}: {board.name.lower()}".rstrip(" :")]
        rows += [f"  {phrasing.reference(rcd.reference)}" for rcd in board.rcds]
        rows += [f"  circuit {circuit.number}: {circuit.name.lower()}" for circuit in board.circuits]
    return "\n".join(rows)


def _quantities(grammar: Grammar) -> str:
    return "\n".join(["READINGS", *(_quantity(quantity, grammar) for quantity in grammar.quantities.values())])


def _quantity(quantity: Quantity, grammar: Grammar) -> str:
    ways = " | ".join(_ways(quantity.said))
    conditions = "".join(
        f" [{' | '.join(condition.spoken(value) for value in condition.said)}]" for condition in quantity.condition
    )
    units = " | ".join(grammar.units[unit].spoken for unit in quantity.units if unit)
    choices = " | ".join(first_spelling(said) for said in quantity.choices.values())
    return f"  {ways}{conditions} … {units or choices or quantity.value}"


def _results(grammar: Grammar) -> str:
    return "\n".join(["RESULTS", *(f"  {' | '.join(_ways(result.said))}" for result in grammar.results.values())])


def _orders(grammar: Grammar) -> str:
    rows = (f"  {_order(command):44} {command.does}" for command in grammar.commands.values())
    return "\n".join(["ORDERS", *rows])


def _order(command: CommandWord) -> str:
    """The words of an order, and what must follow them."""
    follows = f" … {command.takes}" if command.takes not in ("nothing", "call") else ""
    return " | ".join(_ways(command.said)[:3]) + follows


def _following(grammar: Grammar, sheet: Sheet) -> str:
    """What an order may ask for beside places and readings: the sets of tests, the codes, the items of the sheet."""
    sequences = " | ".join(_ways(sequence.said)[0] for sequence in grammar.sequences.values())
    codes = " | ".join(_ways(said)[0] for said in grammar.places.codes.values())
    named = dict.fromkeys(item for b in sheet.boards for c in b.circuits for item in c.items)
    items = " | ".join((*named, *_ways(grammar.places.everything)))
    rows = (("sequence", sequences), ("code", codes), ("item", items))
    return "\n".join(["WHAT FOLLOWS AN ORDER", *(f"  {name:9} {said}" for name, said in rows if said)])


def _ways(phrases: tuple[str, ...]) -> list[str]:
    return [" ".join(way) for phrase in phrases for way in spellings(read_phrase(phrase))]
