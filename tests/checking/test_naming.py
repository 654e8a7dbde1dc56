"""Signs of quantities: those of the grammar, or words of its names."""

from voicelog.checking.naming import SIGNS, sign
from voicelog.meaning.grammar_files import load_grammar


def test_every_quantity_is_written_as_the_schedule_writes_it():
    quantities = load_grammar().quantities
    assert SIGNS.keys() == quantities.keys()
    assert all(SIGNS[key] == one.symbol or SIGNS[key] in one.name for key, one in quantities.items())


def test_a_quantity_of_another_kind_of_work_is_its_key_in_words():
    assert sign("outlet_temperature") == "outlet temperature"
