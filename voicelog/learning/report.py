"""What a lesson gained, for the person: phrases kept apart heard whole before and after, and words still at risk."""

from dataclasses import dataclass

from voicelog.hearing.graph import loop
from voicelog.hearing.lexicon import Lexicon
from voicelog.hearing.network import AcousticModel
from voicelog.hearing.phones import Pronunciation
from voicelog.learning.adaptation import Learnt, Spoken
from voicelog.learning.risky import Risk, risky_words
from voicelog.learning.trial import heard_by


@dataclass(frozen=True)
class Report:
    """How well a voice is heard, on phrases that were not learnt from."""

    phrases: int  # kept apart
    whole_before: int  # of them, heard without a mistake, any word after any other
    whole_after: int
    risky: tuple[Risk, ...]

    @property
    def sentence(self) -> str:
        """For the person, in words."""
        heard = (
            f"Of {self.phrases} phrases kept apart, heard without the grammar, {self.whole_before} came through "
            f"whole before and {self.whole_after} do now."
        )
        if not self.risky:
            return heard + " No word of yours is close to another."
        return heard + f" Words to watch: {'; '.join(map(str, self.risky))}."


def report_on(
    learnt: Learnt, phrases: tuple[Spoken, ...], own: dict[str, tuple[Pronunciation, ...]], lexicon: Lexicon
) -> Report:
    """Hears the phrases kept apart over all words of ``phrases``, with networks that have not learnt from them."""
    words = {word for phrase in phrases for word in phrase.words}

    def whole(model: AcousticModel) -> int:
        heard = heard_by(model, learnt.apart, loop(words), lexicon)
        return sum(phrase.words == found for phrase, found in zip(learnt.apart, heard, strict=True))

    return Report(
        phrases=len(learnt.apart),
        whole_before=whole(learnt.start),
        whole_after=whole(learnt.tried),
        risky=risky_words(learnt.model, phrases, lexicon.with_own(own).pronounce),
    )
