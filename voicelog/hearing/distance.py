"""How far apart two words sound: phones compared by how and where they are made.

A substitution costs the share of articulatory features that differ, an
insertion or deletion one; so distances count phones. Features after the usual
chart of English consonants and vowels (common phonetic knowledge).
"""

from collections.abc import Iterable
from functools import cache

from voicelog.hearing.phones import VOWELS, Pronunciation

# Consonants: place of articulation (front 0 .. back 5), manner, voiced.
CONSONANTS = {
    "P": (0, "stop", 0), "B": (0, "stop", 1), "M": (0, "nasal", 1), "W": (0, "glide", 1), "F": (1, "fricative", 0),
    "V": (1, "fricative", 1), "TH": (2, "fricative", 0), "DH": (2, "fricative", 1), "T": (2, "stop", 0),
    "D": (2, "stop", 1), "N": (2, "nasal", 1), "S": (2, "sibilant", 0), "Z": (2, "sibilant", 1), "L": (2, "liquid", 1),
    "R": (3, "liquid", 1), "SH": (3, "sibilant", 0), "ZH": (3, "sibilant", 1), "CH": (3, "affricate", 0),
    "JH": (3, "affricate", 1), "Y": (3, "glide", 1), "K": (4, "stop", 0), "G": (4, "stop", 1), "NG": (4, "nasal", 1),
    "HH": (5, "fricative", 0),
}  # fmt: skip
# Vowels: height (high 0 .. low 3), backness (front 0 .. back 2), where they glide to.
VOWEL_SOUNDS = {
    "IY": (0, 0, ""), "IH": (0.5, 0, ""), "EY": (1, 0, "i"), "EH": (1.5, 0, ""), "AE": (2.5, 0, ""), "AA": (3, 2, ""),
    "AO": (2, 2, ""), "OW": (1.5, 2, "u"), "UH": (0.5, 2, ""), "UW": (0, 2, ""), "AH": (2, 1, ""), "ER": (1.5, 1, ""),
    "AY": (3, 1, "i"), "AW": (3, 1, "u"), "OY": (2, 2, "i"),
}  # fmt: skip


def phone_distance(one: str, other: str) -> float:
    """0 for the same phone, 1 for a vowel and a consonant, between them for phones of one kind."""
    if one == other:
        return 0.0
    if (one in VOWELS) != (other in VOWELS):
        return 1.0
    return _vowels(one, other) if one in VOWELS else _consonants(one, other)


def _consonants(one: str, other: str) -> float:
    (place, manner, voice), (place2, manner2, voice2) = CONSONANTS[one], CONSONANTS[other]
    return min(1.0, 0.2 * abs(place - place2) + 0.5 * (manner != manner2) + 0.3 * (voice != voice2))


def _vowels(one: str, other: str) -> float:
    (height, back, glide), (height2, back2, glide2) = VOWEL_SOUNDS[one], VOWEL_SOUNDS[other]
    return min(1.0, 0.25 * abs(height - height2) + 0.25 * abs(back - back2) + 0.3 * (glide != glide2))


def distance(one: Pronunciation, other: Pronunciation) -> float:
    """The cheapest way from one pronunciation to the other, in phones."""

    @cache
    def cost(left: int, right: int) -> float:
        if not left or not right:
            return float(left + right)
        return min(
            cost(left - 1, right) + 1,
            cost(left, right - 1) + 1,
            cost(left - 1, right - 1) + phone_distance(one[left - 1], other[right - 1]),
        )

    return cost(len(one), len(other))


def nearest(ones: Iterable[Pronunciation], others: Iterable[Pronunciation]) -> float:
    """The distance of the two pronunciations that lie nearest."""
    return min(distance(one, other) for one in ones for other in tuple(others))
