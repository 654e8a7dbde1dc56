"""The phones the acoustic model knows, and the numbers they go by.

Thirty-nine phones in the spelling of the public-domain Carnegie Mellon
dictionary, without stress. Output 0 of the network is blank (no phone),
output i is ``PHONES[i - 1]``.
"""

PHONES = (
    "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH", "IH", "IY", "JH", "K",
    "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH", "UW", "V", "W", "Y", "Z", "ZH",
)  # fmt: skip
VOWELS = frozenset({"AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"})
BLANK = 0
OUTPUTS = len(PHONES) + 1  # 40
PHONE_ID = {phone: number for number, phone in enumerate(PHONES, start=1)}

Pronunciation = tuple[str, ...]


def non_rhotic(pronunciation: Pronunciation) -> Pronunciation:
    """Drop each R that no vowel follows, as most speakers in England do."""
    following = (*pronunciation[1:], "")
    return tuple(
        phone for phone, after in zip(pronunciation, following, strict=True) if phone != "R" or after in VOWELS
    )
