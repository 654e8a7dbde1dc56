"""How the recogniser searches and when it takes a sentence as ended: the text of ``conf/model.conf``.

An utterance ends (Vosk, after Kaldi's ``online-endpoint``) when any one rule
holds. A trailing silence is counted in what the network has already seen, so
its look-ahead and the piece of sound in hand come on top.

    rule 1   nothing was said                                      and silence lasts ``nothing_s``
    rule 2   the sentence is whole                                 and silence lasts ``whole_s``
    rule 3   the sentence is whole but may go on                   and silence lasts ``open_s``
    rule 4   the sentence breaks off in the middle                 and silence lasts ``broken_s``
    rule 5   it has lasted ``longest_s``

"Whole" is a matter of cost: ending here must cost at most ``WHOLE`` nats more
than the best way to go on, "may go on" at most ``OPEN``. A grammar marks a
sentence that may go on by a final cost between the two.
"""

from dataclasses import dataclass, replace

WHOLE = 0.5  # nats
OPEN = 8.0
SUBSAMPLING = 3  # the network speaks every third frame of 10 ms


@dataclass(frozen=True)
class Search:
    """Widths in nats, counts of paths, times in seconds."""

    beam: float = 14.0
    # How much worse the listed alternatives may be. Talk that fits no sentence has countless ones: at 6 a minute of it
    # takes up to three times the processor time that it takes at 4.
    lattice_beam: float = 4.0
    min_active: int = 200
    max_active: int = 3000
    frames_at_once: int = 12  # network input frames of 10 ms; a multiple of three; see the foot of this file
    nothing_s: float = 5.0
    whole_s: float = 0.15
    open_s: float = 0.5
    broken_s: float = 1.0
    longest_s: float = 20.0

    def conf(self, silence_phone: int = 1) -> str:
        """The options as Vosk reads them."""
        options = {
            "beam": self.beam,
            "lattice-beam": self.lattice_beam,
            "min-active": self.min_active,
            "max-active": self.max_active,
            "acoustic-scale": 1.0,  # the network's outputs are used as they are
            "frame-subsampling-factor": SUBSAMPLING,
            "frames-per-chunk": self.frames_at_once,
            "endpoint.silence-phones": silence_phone,
            "endpoint.rule1.min-trailing-silence": self.nothing_s,
            "endpoint.rule2.min-trailing-silence": self.whole_s,
            "endpoint.rule2.max-relative-cost": WHOLE,
            "endpoint.rule3.min-trailing-silence": self.open_s,
            "endpoint.rule3.max-relative-cost": OPEN,
            "endpoint.rule4.min-trailing-silence": self.broken_s,
            "endpoint.rule5.min-utterance-length": self.longest_s,
        }
        return "".join(f"--{name}={value}\n" for name, value in options.items())


NEVER_S = 1e6
UNENDING = Search(
    lattice_beam=0.1,
    frames_at_once=60,  # nobody waits for it, and the network is cheapest in large pieces
    nothing_s=NEVER_S,
    whole_s=NEVER_S,
    open_s=NEVER_S,
    broken_s=NEVER_S,
    longest_s=NEVER_S,
)
"""For strings that are scored whole."""

JUDGING = replace(UNENDING, whole_s=0.3)
"""For the judge beside a recogniser. It tells when talk has ended, and ends nothing by itself."""

# Measured with the bundled model on 60 calls by voices that it never heard, on a slow server core shared with other
# work. "Wait" is from the last loud sound to the end of the utterance, at the median, without the time spent computing.
#
#     frames at once  whole_s  wait    processor time for a second of sound
#          9            0.3    0.56 s  0.19 s
#          9            0.2    0.44 s  0.18 s
#         15            0.2    0.48 s  0.13 s
#
# The look-ahead of the network (0.21 s) is in the wait. Each piece costs the reading of all weights, so larger pieces
# are cheaper; 12 frames and 0.15 s lie between. A short wait does no harm where a whole sentence cannot go on: what
# comes next is the next utterance.
