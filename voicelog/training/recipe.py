"""The numbers of one training: how much of each corpus, which network, how long each stage."""

from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class Share:
    """How one corpus takes part in an epoch."""

    weight: float = 1.0  # how many times each utterance is drawn
    joined: float = 0.0  # chance that another utterance follows at once
    single_words: bool = False  # tells nothing about the order of phones in running speech
    neighbours: int = 4  # lines of the index around one that names nobody: taken for the same person's


SHARES = {
    "mini-librispeech": Share(0.8),
    "an4-train": Share(4.0, 0.35),
    "an4-train-pieces": Share(1.5, 0.8, True, neighbours=20),
    "vctk-p239": Share(1.5),
    "speech-commands": Share(0.7, 0.75, True),
    "speech-commands-digits": Share(2.5, 0.82, True),
    "wake-words": Share(0.6, 0.4, True),
    "ljspeech": Share(0.8),
    "audiomnist": Share(2.0, 0.85, True),
    "student-digits": Share(1.5, 0.85, True),
    "librispeech-other": Share(1.0),
    "synthetic": Share(0.5, 0.2),
    "synthetic-trade": Share(0.5, 0.1),
    "synthetic-words": Share(0.7, 0.7, True),
}


@dataclass(frozen=True)
class NetworkShape:
    """A time-delay network with bottlenecks; times in output frames of 30 ms."""

    width: int = 800
    bottleneck: int = 200
    layers: int = 16
    looking_ahead: int = 6  # the first so many even layers see one output frame ahead
    dropout: float = 0.1

    def taps(self, layer: int) -> tuple[int, int, int]:
        """Which output frames layer ``layer`` reads."""
        return (-1, 0, 1) if layer % 2 == 0 and layer < 2 * self.looking_ahead else (-2, -1, 0)

    @property
    def left(self) -> int:
        """Frames of 10 ms before an output: three of the first two layers, three for each tap."""
        return 3 - 3 * sum(self.taps(i)[0] for i in range(self.layers))

    @property
    def right(self) -> int:
        """Frames of 10 ms after an output: the latency."""
        return 3 + 3 * sum(self.taps(i)[2] for i in range(self.layers))


@dataclass(frozen=True)
class Recipe:
    """One training run; the defaults are those of the first one (hearing/model/run.json holds all)."""

    network: NetworkShape = NetworkShape()
    seed: int = 0
    seconds_per_step: float = 600.0  # of sound
    learning_rate: float = 1.4e-3
    weight_decay: float = 1e-2
    warm_up_steps: int = 400
    flat_start_steps: int = 600  # frame cross-entropy against a uniform alignment
    sequence_from: float = 0.35  # share of the time after which the denominator joins
    ctc_share: float = 0.1  # plain CTC kept beside the sequence loss
    full_augmentation_from: float = 0.25  # share of the time over which augmentation grows
    average_decay: float = 0.999
    averaged_every: int = 4  # steps
    masking: float = 1.0  # how wide the hidden bands and stretches are, against the usual
    narrow: float = 0.5  # share of recordings sent through a telephone band

    @classmethod
    def going_on(cls, network: NetworkShape, **other) -> "Recipe":
        """From a finished model: no flat start, hardship and the sequence loss from the beginning, smaller steps."""
        usual = {"learning_rate": 6e-4, "flat_start_steps": 0, "sequence_from": 0.0, "full_augmentation_from": 0.01}
        return cls(network, **(usual | other))

    def record(self) -> dict:
        """The numbers as they are written beside the model."""
        return asdict(self)
