"""One person as a whole: how they say words, and then how they sound."""

from dataclasses import replace

from voicelog.hearing.network import AcousticModel
from voicelog.learning.adaptation import Kind, Learnt, Progress, Recipe, Spoken, learn
from voicelog.learning.alignment import Pronounce
from voicelog.learning.own_words import OwnWords, own_words, with_own


def learn_person(
    model: AcousticModel,
    phrases: tuple[Spoken, ...],
    pronounce: Pronounce,
    recipe: Recipe | None = None,
    progress: Progress = lambda share: None,
) -> tuple[Learnt, OwnWords]:
    """The network for the person who said ``phrases``, and their own pronunciations.

    The words come first: a network that was told "one" where somebody says "von" would unlearn the difference of w
    and v. They may be worth having where the network stays the general one; but whoever has words of their own is not
    left alone as one who is heard well. Raises what ``learn`` raises.
    """
    own = own_words(model, phrases, pronounce)
    recipe = recipe or Recipe()
    if own:
        recipe = replace(recipe, heard_well=0.0)
    learnt = learn(model, phrases, with_own(pronounce, own), recipe, progress)
    return learnt, own if learnt.kind is Kind.GENERAL else own_words(learnt.model, phrases, pronounce)
