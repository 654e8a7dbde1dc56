"""Two of a crew told apart, and a stranger noticed."""

from tests.learning.test_profiles import about
from tests.learning.test_voice_print import voice
from voicelog.learning.profiles import Profile
from voicelog.learning.voice_print import mean_print, voice_print
from voicelog.learning.who import Version, choose
from voicelog.model import Heard, Hypothesis, Word

LOW, HIGH = (105, (520, 1400)), (210, (700, 2100))


def profile(name, voiced=None, **facts) -> Profile:
    prints = [voice_print(voice(*voiced, seed)) for seed in range(3)] if voiced else []
    return Profile(None, 1, about(name, print=tuple(mean_print(prints)) if prints else (), **facts))


def heard(cost: float, *words: str) -> Heard:
    return Heard(hypotheses=(Hypothesis(words=tuple(Word(text=word) for word in words), cost=cost),))


GENERAL = Version(None, heard(60, "zed", "s"))
KIT, ROBIN = profile("Kit", LOW), profile("Robin", HIGH)


def test_the_network_that_fits_better_names_the_speaker():
    versions = [GENERAL, Version(KIT, heard(40, "zed", "s")), Version(ROBIN, heard(55, "said", "s"))]
    found = choose(versions, voice(*LOW, 9))
    assert (found.speaker, found.texts) == ("Kit", ("zed", "s"))


def test_equal_costs_are_settled_by_the_voice():
    for voiced, name in ((LOW, "Kit"), (HIGH, "Robin")):
        versions = [GENERAL, Version(KIT, heard(40, "zed")), Version(ROBIN, heard(40, "zed"))]
        assert choose(versions, voice(*voiced, 9)).speaker == name


def test_a_voice_that_fits_nobody_gets_the_general_network():
    stranger = (400, (1100, 3300))
    versions = [GENERAL, Version(KIT, heard(40, "zed")), Version(ROBIN, heard(41, "zed"))]
    found = choose(versions, voice(*stranger, 9))
    assert found.speaker == ""
    assert found is GENERAL.heard


def test_a_short_yes_is_settled_by_the_networks_alone():
    versions = [GENERAL, Version(KIT, heard(9, "yes")), Version(ROBIN, heard(4, "yes"))]
    assert choose(versions, voice(*LOW, 9)[:4000]).speaker == "Robin"


def test_nothing_heard_by_the_others_leaves_the_general_network():
    assert choose([GENERAL, Version(KIT, Heard(hypotheses=()))], voice(*LOW, 9)) is GENERAL.heard
