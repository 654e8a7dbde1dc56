"""What is got ready is what is said: every clause of a read-back but its figure."""

import random

import pytest

from voicelog.proving.readings import round_of, said
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.talking.clauses import clauses
from voicelog.talking.conversation import Policy
from voicelog.talking.known import FIXED, known_prompts
from voicelog.talking.phrasing import Phrasing


@pytest.fixture(scope="module")
def stage(grammar, sheet):
    return Stage(grammar, sheet)


def test_only_the_figure_of_a_read_back_is_not_known(grammar, sheet, stage):
    phrasing = Phrasing(grammar, sheet)
    known = {clause.text for text in known_prompts(phrasing) for clause in clauses(text)}
    draw = random.Random(1)
    for reading in draw.sample(round_of(sheet, draw), 12):
        (spoken,) = Rehearsal(stage, Policy.EVERY).say(said(reading, phrasing, draw).words)
        new = [clause.text for clause in clauses(spoken.text) if clause.text not in known]
        assert len(new) <= 1 or "limit" in spoken.text or "?" in spoken.text, spoken.text


def test_the_first_clause_of_a_read_back_is_always_known(grammar, sheet):
    phrasing = Phrasing(grammar, sheet)
    known = {clause.text for text in known_prompts(phrasing) for clause in clauses(text)}
    for reading in round_of(sheet, random.Random(2)):
        for with_name in (True, False):
            assert clauses(phrasing.reading(reading, with_name))[0].text in known


def test_each_is_given_once(grammar, sheet):
    known = known_prompts(Phrasing(grammar, sheet))
    assert len(known) == len(set(known)) > len(FIXED) + 40
