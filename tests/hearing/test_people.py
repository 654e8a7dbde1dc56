"""Real people whom the bundled model has never heard: the number of recordings that must come through whole.

``audio_samples/people`` holds 46 short recordings (CMU AN4 and Speech Commands, held out of training), heard here
through a loop over all their words. 42 were right when this was written; the dither of the filter banks is random,
so one or two may tip over.
"""

from voicelog.proving.strings import score
from voicelog.resources import data_folder


def test_at_least_40_of_46_recordings_are_wholly_right():
    found = score(data_folder("audio_samples") / "people")
    assert found.strings == 46
    assert found.strings - len(found.mistakes) >= 40, [(row.file, row.heard) for row in found.mistakes]
    assert found.words_wrong < 0.08
