"""English with another first language, or of another part of Britain: phones changed before they are spoken.

Each way of speaking is a list of changes with the share of its speakers who
make it, after J. C. Wells, Accents of English (1982), and M. Swan, B. Smith,
Learner English (2001), both from memory. What is trained on keeps the words'
usual phones, so that the network learns that these sounds mean those words.
"""

import random
import re
from dataclasses import dataclass

VOWELS = "AIOQWYaeioəɑɒæɔɛɜɪʊʌuɚᵊᵻː"
AT_THE_END = r"(?=[ .,]|$)"
AT_THE_START = r"(?<![^ ,])"

Changes = tuple[tuple[re.Pattern, str], ...]


@dataclass(frozen=True)
class Change:
    """A pattern in the synthesiser's symbols, what it becomes, and how many of the speakers say it so."""

    pattern: str
    becomes: str
    share: float


def changes(table: str) -> tuple[Change, ...]:
    """``θ t .6`` a line: pattern, replacement ("-" for nothing), share."""
    rows = (line.split() for line in table.strip().splitlines())
    return tuple(Change(_anchored(pattern), "" if new == "-" else new, float(share)) for pattern, new, share in rows)


def _anchored(pattern: str) -> str:
    """ "d$" is a d that ends a word, "^h" an h that begins one, "V" any vowel."""
    pattern = pattern.replace("V", f"[{VOWELS}]")
    pattern = AT_THE_START + pattern[1:] if pattern.startswith("^") else pattern
    return pattern[:-1] + AT_THE_END if pattern.endswith("$") else pattern


HARDENED = "b$ p .5\nd$ t .5\nɡ$ k .5\nv$ f .5\nz$ s .6\nʤ$ ʧ .5\n"  # voiced consonants that end a word, voiceless

FOREIGN: dict[str, tuple[Change, ...]] = {
    "indian": changes("""
        θ t .8
        ð d .8
        t ʈ .6
        d ɖ .6
        [vw] ʋ .6
        ɹ ɾ .5
        [OQ] oː .7
        A eː .7
        ɜː əɾ .4
        z$ s .3
        æ ɛ .2"""),
    "polish": changes(
        HARDENED
        + """θ f .3
        θ t .4
        ð d .6
        ɹ r .8
        ɪ i .5
        ŋ$ ŋk .4
        h x .5
        [OQ] ɔ .5
        ə ɛ .25"""
    ),
    "german": changes(
        HARDENED
        + """θ s .5
        ð z .3
        ð d .3
        w v .6
        ɹ ʁ .5
        æ ɛ .7
        ʌ a .6"""
    ),
    "french": changes("""
        θ s .6
        ð z .6
        ^h - .6
        ɹ ʁ .8
        ɪ i .7
        ʧ ʃ .2
        ʤ ʒ .2
        [OQ] o .6
        A e .6
        ʌ œ .5
        ə œ .3"""),
    "spanish": changes("""
        ɪ i .7
        iː i .7
        z s .8
        v b .6
        ð d .6
        ɹ ɾ .7
        ^s(?=[ptkl]) es .5
        [ʌæ] a .7
        ʃ ʧ .3
        h x .5
        ɜː ɛɾ .4
        [OQ] o .6"""),
    "italian": changes("""
        ^h - .3
        ɪ i .6
        ð d .6
        θ t .6
        ɹ r .7
        æ ɛ .6
        ʌ a .7
        [OQ] ɔ .5
        ([tdkɡpb])$ \\1ə .3"""),
    "chinese": changes("""
        θ s .6
        ð z .3
        ð d .3
        v w .3
        ɪ i .4
        l$ ɔ .3
        [tdk]$ - .25
        z s .4
        æ ɛ .4
        n$ ŋ .15
        ɹ ɻ .4"""),
    "arabic": changes("""
        p b .5
        v f .4
        ɹ r .8
        ŋ$ ŋɡ .4
        ɪ i .3
        [OQ] o .5
        A e .5"""),
    "russian": changes(
        HARDENED
        + """w v .6
        h x .6
        θ s .5
        ð z .5
        ɹ r .8
        ɪ i .4
        ŋ$ n .4
        æ ɛ .5"""
    ),
    "nigerian": changes("""
        θ t .8
        ð d .8
        ɜː ɛ .7
        ʌ ɔ .7
        [OQ] o .8
        A e .8
        ɪ i .6
        ə a .4"""),
}

BRITISH: dict[str, tuple[Change, ...]] = {
    "london": changes("""
        ^h - .5
        θ f .6
        (?<=V)ð v .5
        (?<=V)t(?=V) ʔ .5
        (?<=V)t$ ʔ .5
        ᵊl$ ʊ .5
        (?<=V)l$ ʊ .5
        A I .4"""),
    "northern": changes("""
        ʌ ʊ .9
        A eː .6
        [OQ] oː .6
        æ a .8
        ɑː(?=[sfθn]) a .7
        ^h - .3"""),
}

EVERY_WAY = FOREIGN | BRITISH
FOREIGN_SHARE = 0.3  # of the speakers of training speech, where nothing else is asked


def draw_changes(way: str, rng: random.Random) -> Changes:
    """One speaker's changes of the way of speaking ``way``; none for "". Raises KeyError for an unknown way."""
    wanted = EVERY_WAY[way] if way else ()
    return tuple((re.compile(change.pattern), change.becomes) for change in wanted if rng.random() < change.share)


def changed(phonemes: str, made: Changes) -> str:
    """The phonemes as that speaker says them; an earlier change is not changed again by a later one."""
    if not made:
        return phonemes
    either = re.compile("|".join(f"(?P<_{number}>{pattern.pattern})" for number, (pattern, _) in enumerate(made)))

    def replaced(match: re.Match) -> str:
        pattern, new = made[int(match.lastgroup[1:])]
        return pattern.sub(new, match.group()) if "\\" in new else new

    return either.sub(replaced, phonemes)
