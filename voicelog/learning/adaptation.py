"""One person's speech into the network, and back out as an ordinary network of the same size.

Scales and shifts alone with a few seconds of speech, when they are all that can
be learnt safely; otherwise all weights at a small step. How much of it (a blend
with the general network) is chosen on phrases kept apart, and of two that do
about as well there the one that changes less; where nothing clearly beats the
general network, the general network it stays. What has proved itself is then done
once more with all phrases, those kept apart too.

A profile made this way holds numbers of the network and no speech: nothing that
was said can be played back from it.
"""

import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from voicelog.errors import InputError
from voicelog.hearing.filterbank import RATE_HZ, filter_banks
from voicelog.hearing.network import SUBSAMPLING, AcousticModel, Floats, log_posteriors
from voicelog.learning.adam import Adam
from voicelog.learning.alignment import Pronounce, align
from voicelog.learning.all_paths import SequenceLoss, phone_bigram
from voicelog.learning.ctc import Labels
from voicelog.learning.layers import Arrays, Name, arrays, backward, forward, with_arrays
from voicelog.learning.takes import OTHER
from voicelog.learning.variation import FOR_LEARNING, Variation, varied

BIGRAM = (60.0, 0.1)  # pseudo-counts and even share: what follows what in a few phrases says little of the rest
TRIAL = 0.45  # of the work, until it is known whether learning helps this person
TIMED_STEPS = 5  # steps after which the machine's speed is known

Sound = NDArray[np.int16]
Progress = Callable[[float], None]  # told the share done, 0 to 1


@dataclass(frozen=True, eq=False)
class Spoken:
    """A phrase somebody said, and what was said."""

    sound: Sound  # 16 kHz, mono, 16 bit
    words: tuple[str, ...]
    origin: str = ""  # the file it comes from

    @property
    def seconds(self) -> float:
        return len(self.sound) / RATE_HZ


class Kind(StrEnum):
    """What was learnt."""

    GENERAL = "general"  # nothing: the general network was not clearly beaten
    SCALES = "scales and shifts"
    WEIGHTS = "all weights"


@dataclass(frozen=True)
class Recipe:
    """The numbers of learning one person; chosen on people who are in no score."""

    batch_s: float = 12.0  # of sound in one step
    passes: float = 10.0  # how often each phrase is gone through, at most
    fewest_steps: int = 30
    most_steps: int = 75  # with much speech each phrase is gone through less often
    most_s: float = 50.0  # processor seconds in each of the two courses; a machine too slow for all steps takes fewer
    scales_rate: float = 4e-3  # relative step of scales and shifts, alone
    weights_rate: float = 3e-3  # relative step of weights, scales and shifts together
    weights_from_s: float = 15.0  # of speech; with less, scales and shifts alone
    full_rate_from_s: float = 60.0  # of speech; with less, the rates shrink with its square root
    rivals: float = 0.4  # weight of all other paths in the loss; 0: plain CTC
    level_spread: float = 0.5  # of the phrase's log energy
    misfit: float = OTHER  # nats a phone; words further than that from what is heard were hardly said, and are left out
    kept_apart: int = 4  # every fourth phrase judges and is not learnt from
    fewest_apart: int = 4  # of those; three phrases that gain by chance prove nothing
    blends: tuple[float, ...] = (0.25, 0.5, 1.0)
    clear: float = 1.0  # standard errors, over the phrases kept apart, by which a network must beat the general one
    heard_well: float = 0.07  # share of phones wrong under which there is more to lose than to gain
    least_fall: float = 0.25  # of the phones wrong: one of a few may come right by chance
    surely: float = 2.0  # standard errors of the gain that make up for a lesser fall
    enough: float = 0.95  # of the best gain: what reaches it and changes less is taken

    def with_rates_for(self, seconds: float) -> "Recipe":
        """With rates that so much speech can bear."""
        share = min(1.0, seconds / self.full_rate_from_s) ** 0.5
        return replace(self, scales_rate=self.scales_rate * share, weights_rate=self.weights_rate * share)


@dataclass(frozen=True)
class Judgement:
    """How a network does on the phrases kept apart."""

    losses: tuple[float, ...]  # nats a phone, phrase by phrase, as recorded
    wrong: float  # share of phones that the free path gets wrong, as recorded
    noisy: float  # nats a phone, in noise

    @property
    def loss(self) -> float:
        return float(np.mean(self.losses))

    def clearly_beats(self, other: "Judgement", errors: float, fall: float = 0.0, surely: float = math.inf) -> bool:
        """By so many standard errors of the mean gain, with fewer phones wrong, no worse in noise.

        They must be fewer by the share ``fall``, or the gain ``surely`` standard errors. One phrase proves nothing.
        Where no phone of those kept apart comes right that was wrong before, there is nothing to gain and something
        to lose.
        """
        gains = np.subtract(other.losses, self.losses)
        if len(gains) < 2:
            return False
        gain, spread = float(gains.mean()), float(gains.std(ddof=1) / np.sqrt(len(gains)))
        far_fewer = self.wrong <= (1 - fall) * other.wrong or gain > surely * spread
        return gain > errors * spread and self.wrong < other.wrong and far_fewer and self.noisy <= other.noisy


@dataclass(frozen=True, eq=False)
class Learnt:
    """The outcome: a network to use, and what it rests on."""

    model: AcousticModel
    kind: Kind
    blend: float  # share of the learnt network, the rest is the general one
    before: Judgement
    after: Judgement
    speech_s: float  # learnt from, phrases kept apart included
    start: AcousticModel  # what it began from
    tried: AcousticModel  # what was judged: it has not heard the phrases kept apart, as ``model`` has
    apart: tuple[Spoken, ...] = ()  # those
    computing_s: float = 0.0  # processor seconds
    steps: int = 0


def learn(
    model: AcousticModel,
    phrases: tuple[Spoken, ...],
    pronounce: Pronounce,
    recipe: Recipe | None = None,
    progress: Progress = lambda share: None,
) -> Learnt:
    """The network for the person who said ``phrases``.

    Raises InputError when fewer than three phrases can be laid over their sound,
    ModelError for a word without pronunciation.
    """
    recipe = recipe or Recipe()
    started = time.process_time()
    lessons = _lessons(model, phrases, pronounce, recipe)
    if len(lessons) < 3:
        raise InputError("too little speech to learn from: at least three whole phrases are needed.")
    kept_apart = [lesson for number, lesson in enumerate(lessons) if number % recipe.kept_apart == 1]
    learnt_from = [lesson for number, lesson in enumerate(lessons) if number % recipe.kept_apart != 1]
    seconds = sum(lesson.seconds for lesson in lessons)
    kind = Kind.WEIGHTS if seconds >= recipe.weights_from_s else Kind.SCALES
    recipe = recipe.with_rates_for(seconds)

    loss = SequenceLoss(phone_bigram(((lesson.labels, 1.0) for lesson in lessons), *BIGRAM), recipe.rivals)
    judged = partial(judge, lessons=kept_apart, of=loss)
    before = judged(model)
    unchanged = Learnt(
        model, Kind.GENERAL, 0.0, before, before, seconds, model, model, tuple(x.spoken for x in kept_apart)
    )

    def left_alone(steps: int = 0) -> Learnt:
        progress(1.0)
        return replace(unchanged, computing_s=time.process_time() - started, steps=steps)

    if before.wrong < recipe.heard_well or len(kept_apart) < recipe.fewest_apart:
        return left_alone()
    course = _Course(model, learnt_from, recipe, loss, kind)
    now = course.run(lambda share: progress(TRIAL * share))
    blends = [
        replace(unchanged, model=mixed_with(model, now, blend), kind=kind, blend=blend) for blend in recipe.blends
    ]
    chosen = _least_change([replace(blend, after=judged(blend.model)) for blend in blends], recipe)
    if chosen is None:
        return left_alone(course.steps_done)

    # What has proved itself is done once more with all phrases: those kept apart are a quarter of what there is.
    whole = _Course(model, lessons, recipe, loss, kind)
    network = mixed_with(model, whole.run(lambda share: progress(TRIAL + (1 - TRIAL) * share)), chosen.blend)
    steps, seconds = course.steps_done + whole.steps_done, time.process_time() - started
    return replace(chosen, model=network, tried=chosen.model, computing_s=seconds, steps=steps)


def _least_change(candidates: list[Learnt], recipe: Recipe) -> Learnt | None:
    """Of those that clearly beat the general network, the first (gentlest) with nearly the best gain."""
    asked = recipe.clear, recipe.least_fall, recipe.surely
    better = [item for item in candidates if item.after.clearly_beats(item.before, *asked)]
    if not better:
        return None
    most = max(item.before.loss - item.after.loss for item in better)
    return next(item for item in better if item.before.loss - item.after.loss >= recipe.enough * most)


def mixed_with(model: AcousticModel, now: Arrays, blend: float) -> AcousticModel:
    """``model`` moved by the share ``blend`` of the way to ``now``."""
    start = arrays(model)
    return with_arrays(model, {name: start[name] + np.float32(blend) * (x - start[name]) for name, x in now.items()})


# ---------------------------------------------------------------- lessons


@dataclass(frozen=True, eq=False)
class Lesson:
    """A phrase as the network meets it."""

    spoken: Spoken
    variants: tuple[Floats, ...]  # filter banks, plain first
    labels: Labels

    @property
    def seconds(self) -> float:
        return self.spoken.seconds

    @property
    def outputs(self) -> int:
        return -(-len(self.variants[0]) // SUBSAMPLING)


def _lessons(model: AcousticModel, phrases: tuple[Spoken, ...], pronounce: Pronounce, recipe: Recipe) -> list[Lesson]:
    """Phrases with the pronunciations that the network finds in them; those that do not hold their words left out."""
    found = []
    for seed, phrase in enumerate(phrases):
        variants = tuple(_banks(phrase.sound, variation, seed) for variation in FOR_LEARNING)
        if not len(variants[0]):
            continue
        alignment = align(log_posteriors(model, variants[0]), phrase.words, pronounce)
        if alignment.labels and alignment.gap <= recipe.misfit:
            found.append(Lesson(phrase, variants, alignment.labels))
    return found


def _banks(sound: Sound, variation: Variation, seed: int) -> Floats:
    return filter_banks(varied(sound, variation, seed), seed=seed)


def judge(model: AcousticModel, lessons: list[Lesson], of: SequenceLoss) -> Judgement:
    """Loss and phone errors of a network over the phrases as recorded, and its loss over their noisiest variant."""

    def loss(lesson: Lesson, scores: Floats) -> float:
        return float(of(scores[None], (lesson.labels,), (len(scores),)).losses[0]) / len(lesson.labels)

    plain = [log_posteriors(model, lesson.variants[0]) for lesson in lessons]
    wrong = sum(edits(heard_freely(scores), lesson.labels) for scores, lesson in zip(plain, lessons, strict=True))
    return Judgement(
        losses=tuple(loss(lesson, scores) for scores, lesson in zip(plain, lessons, strict=True)),
        wrong=wrong / sum(len(lesson.labels) for lesson in lessons),
        noisy=float(np.mean([loss(lesson, log_posteriors(model, lesson.variants[-1])) for lesson in lessons])),
    )


def heard_freely(scores: Floats) -> Labels:
    """The loudest output of each row, repeats and blanks removed."""
    best = scores.argmax(axis=1)
    return tuple(int(x) for before, x in zip([0, *best], best, strict=False) if x and x != before)


def edits(one: Labels, other: Labels) -> int:
    """Phones to put in, leave out or exchange to make one string the other (Levenshtein)."""
    row = list(range(len(other) + 1))
    for number, x in enumerate(one, start=1):
        corner, row[0] = row[0], number
        for place, y in enumerate(other, start=1):
            corner, row[place] = row[place], min(row[place] + 1, row[place - 1] + 1, corner + (x != y))
    return row[-1]


def _only_carries(name: Name, array: Floats) -> bool:
    """Scales of one stand for no more than a sum."""
    return name.field == "scales" and bool((array == 1).all())


# ---------------------------------------------------------------- the course


@dataclass
class _Course:
    """One run through the lessons, from the first step to the last."""

    model: AcousticModel
    lessons: list[Lesson]
    recipe: Recipe
    loss: SequenceLoss
    kind: Kind
    steps_done: int = 0
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(0))

    @cached_property
    def rates(self) -> dict[Name, float]:
        """What is learnt, and how fast. Scales of one that only carry a sum stay as they are."""
        if self.kind is Kind.WEIGHTS:
            found = dict.fromkeys(arrays(self.model), self.recipe.weights_rate)
        else:
            found = {name: self.recipe.scales_rate for name in arrays(self.model) if name.field != "weights"}
        return {name: rate for name, rate in found.items() if not _only_carries(name, arrays(self.model)[name])}

    def run(self, progress: Progress) -> Arrays:
        """The arrays after the last step."""
        now = {name: arrays(self.model)[name] for name in self.rates}
        adam, batches = Adam(now, self.rates), self._batches()
        steps, started = self.steps, time.process_time()
        while self.steps_done < steps:
            share = self.steps_done / steps
            progress(share)
            now = adam.step(now, self._slopes(next(batches), now), self._pace(share))
            self.steps_done += 1
            if self.steps_done == TIMED_STEPS:
                each = (time.process_time() - started) / TIMED_STEPS
                steps = max(TIMED_STEPS, min(steps, int(self.recipe.most_s / each)))
        progress(1.0)
        return now

    @property
    def steps(self) -> int:
        """As many as the recipe asks for; a slow machine takes fewer."""
        seconds = sum(lesson.seconds for lesson in self.lessons)
        wanted = round(self.recipe.passes * seconds / self.recipe.batch_s)
        return min(max(self.recipe.fewest_steps, wanted), self.recipe.most_steps)

    @staticmethod
    def _pace(share: float) -> float:
        """Quick start, slow end (half a cosine)."""
        return min(1.0, share / 0.05 + 0.2) * 0.5 * (1 + np.cos(np.pi * share))

    def _batches(self) -> Iterator[list[Lesson]]:
        """Phrases of like length together, shuffled anew in each pass."""
        while True:
            jitter = self.rng.uniform(0.8, 1.25, len(self.lessons))
            order = sorted(range(len(self.lessons)), key=lambda i: self.lessons[i].seconds * jitter[i])
            batches, batch = [], []
            for lesson in (self.lessons[i] for i in order):
                if batch and lesson.seconds * (len(batch) + 1) > self.recipe.batch_s:
                    batches.append(batch)
                    batch = []
                batch.append(lesson)
            batches.append(batch)
            yield from (batches[i] for i in self.rng.permutation(len(batches)))

    def _slopes(self, batch: list[Lesson], now: Arrays) -> Arrays:
        model = with_arrays(self.model, now)
        features, lengths = self._features(batch), tuple(lesson.outputs for lesson in batch)
        trace = forward(model, features)
        loss = self.loss(trace.log_posteriors, tuple(lesson.labels for lesson in batch), lengths)
        phones = sum(len(lesson.labels) for lesson in batch)
        return backward(model, trace, loss.slope / np.float32(phones), self.rates.keys())

    def _features(self, batch: list[Lesson]) -> Floats:
        """One variant of each phrase at a level of its own, the last row repeated to the longest phrase's length."""
        chosen = [lesson.variants[self.rng.integers(len(lesson.variants))] for lesson in batch]
        length = max(map(len, chosen))
        rows = [np.concatenate([banks, np.repeat(banks[-1:], length - len(banks), axis=0)]) for banks in chosen]
        levels = self.rng.normal(0, self.recipe.level_spread, (len(batch), 1, 1)).astype(np.float32)
        return np.stack(rows) + levels
