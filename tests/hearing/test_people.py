"""Real people whom the bundled model has never heard: the number of recordings that must come through whole.

``audio_samples/people`` holds 46 short recordings (CMU AN4 and Speech Commands, held out of training), heard here
through a loop over all their words. 43 were right when this was written; another processor may add up differently, so
one may tip over.
"""

from voicelog.proving.strings import score
from voicelog.resources import data_folder


def test_at_least_42_of_46_recordings_are_wholly_right():
    found = score(data_folder("audio_samples") / "people")
    assert found.strings == 46
    assert found.strings - len(found.mistakes) >= 42, [(row.file, row.heard) for row in found.mistakes]
    assert found.words_wrong < 0.06
