"""The training loop: flat start, CTC, sequence loss; within a budget of time, and resumable.

Time, not steps, drives the schedule: the learning rate falls as a cosine over
the budget. A moving average of the weights is what is scored and exported.
"""

import json
import math
import multiprocessing
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from voicelog.hearing.network import AcousticModel
from voicelog.hearing.phones import BLANK, OUTPUTS
from voicelog.training.assembly import Assembler, Batch
from voicelog.training.batching import Layout, Strings, batches, lay_out
from voicelog.training.corpus import Corpus, Utterance
from voicelog.training.network import Network
from voicelog.training.pronunciations import Lexicon
from voicelog.training.recipe import SHARES, Recipe
from voicelog.training.sequence_loss import log_all_paths, phone_trigram
from voicelog.training.warm_start import warm_weights

SAVED_EVERY_S = 90.0
BLANK_WEIGHT = 0.25  # of blank outputs in the flat start's cross-entropy
CROSS_ENTROPY_WEIGHT, CTC_IN_FLAT_START = 3.0, 0.1
GRADIENT_NORM = 3.0
SINGLE_WORD_WEIGHT = 0.05  # of corpora of single words in the phone trigram
LAYOUTS_AHEAD = 24
OUTPUTS_PER_PHONE = 1.05  # an utterance needs at least so many outputs of 30 ms for each phone
LONGEST_S = 16.5
STATISTICS_OF = 60  # utterances, from which a warm start takes its statistics


def usable(utterances: tuple[Utterance, ...], lexicon: Lexicon) -> tuple[Utterance, ...]:
    """Those whose words are known and whose length fits their phones."""
    rng = random.Random(0)
    chosen = []
    for utterance in utterances:
        if all(word in lexicon for word in utterance.text.split()):
            phones = len(lexicon.draw(utterance.text, utterance.british, rng))
            if phones * OUTPUTS_PER_PHONE * 480 < utterance.samples < LONGEST_S * 16_000:
                chosen.append(utterance)
    return tuple(chosen)


def trigram_of(utterances: tuple[Utterance, ...], lexicon: Lexicon) -> np.ndarray:
    rng = random.Random(0)
    return phone_trigram(
        (lexicon.draw(u.text, u.british, rng), SINGLE_WORD_WEIGHT if _single(u) else SHARES[u.corpus].weight)
        for u in utterances
    )


def _single(utterance: Utterance) -> bool:
    return SHARES[utterance.corpus].single_words


# ---------------------------------------------------------------- layouts, drawn by other processes


def endless_layouts(
    utterances: tuple[Utterance, ...], lexicon: Lexicon, seconds: float, rng: random.Random
) -> Iterator[Layout]:
    """Epoch after epoch of batches."""
    strings = Strings(utterances)
    while True:
        for group in batches(strings.epoch(rng), seconds, rng):
            yield lay_out(group, lambda u: lexicon.draw(u.text, u.british, rng), rng)


def _produce(queue, utterances: tuple[Utterance, ...], lexicon: Lexicon, seconds: float, seed: int) -> None:
    for layout in endless_layouts(utterances, lexicon, seconds, random.Random(seed)):
        queue.put(layout)


def layouts_from_processes(
    utterances: tuple[Utterance, ...], lexicon: Lexicon, seconds: float, seed: int, processes: int
) -> Iterator[Layout]:
    """The same, drawn ahead by ``processes`` others (0: drawn here). They end with this process."""
    if not processes:
        yield from endless_layouts(utterances, lexicon, seconds, random.Random(seed))
    context = multiprocessing.get_context("fork")
    queue = context.Queue(LAYOUTS_AHEAD)
    for number in range(processes):
        arguments = (queue, utterances, lexicon, seconds, seed * 1000 + number)
        context.Process(target=_produce, args=arguments, daemon=True).start()
    while True:
        yield queue.get()


# ---------------------------------------------------------------- the state that is saved


@dataclass
class State:
    """Everything that a resumed run needs."""

    network: Network
    optimiser: torch.optim.Optimizer
    average: dict[str, Tensor]
    step: int = 0
    elapsed_s: float = 0.0
    history: list[dict] = field(default_factory=list)

    def save(self, folder: Path) -> None:
        """Write ``state.pt`` (all) and ``average.pt`` (the weights to export); whole or not at all."""
        whole = {
            "network": self.network.state_dict(),
            "optimiser": self.optimiser.state_dict(),
            "average": self.average,
            "step": self.step,
            "elapsed_s": self.elapsed_s,
            "history": self.history,
        }
        _save(whole, folder / "state.pt")
        _save({name: _halved(name, value) for name, value in self.average.items()}, folder / "average.pt")
        (folder / "history.json").write_text(json.dumps(self.history, indent=1))

    def resume(self, folder: Path) -> None:
        """Go on from ``state.pt`` where there is one."""
        if not (folder / "state.pt").exists():
            return
        saved = torch.load(folder / "state.pt", map_location=next(self.network.parameters()).device)
        self.network.load_state_dict(saved["network"])
        self.optimiser.load_state_dict(saved["optimiser"])
        self.average = saved["average"]
        self.step, self.elapsed_s, self.history = saved["step"], saved["elapsed_s"], saved["history"]


def _halved(name: str, value: Tensor) -> Tensor:
    """Matrices in half precision. Statistics stay whole: a variance over 65,504 would become infinite."""
    return value.half().cpu() if value.dim() > 1 else value.cpu()


def _save(content: dict, file: Path) -> None:
    partial = file.with_suffix(".partial")
    torch.save(content, partial)
    partial.replace(file)


# ---------------------------------------------------------------- the loss


def flat_start_loss(log_posteriors: Tensor, alignment: Tensor) -> Tensor:
    """Cross-entropy against the uniform alignment; (time, batch, 40), (batch, outputs)."""
    common = min(alignment.shape[1], log_posteriors.shape[0])
    weight = log_posteriors.new_ones(OUTPUTS)
    weight[BLANK] = BLANK_WEIGHT
    return functional.nll_loss(log_posteriors[:common].permute(1, 2, 0), alignment[:, :common], weight=weight)


def step_loss(log_posteriors: Tensor, batch: Batch, trigram: Tensor | None, ctc_share: float) -> Tensor:
    """Loss for each phone: plain CTC, or the sequence loss where a trigram is given."""
    lengths = batch.lengths.clamp_max(log_posteriors.shape[0])
    ctc = functional.ctc_loss(
        log_posteriors, batch.labels, lengths, batch.label_counts, reduction="none", zero_infinity=True
    )
    possible = (ctc > 0).float()
    each = ctc
    if trigram is not None:
        each = ctc * (1 + ctc_share) + log_all_paths(log_posteriors, trigram, lengths.to(ctc.device))
    loss = (each * possible).sum() / batch.label_counts.to(ctc.device).sum()
    if batch.alignment is None:
        return loss
    return CROSS_ENTROPY_WEIGHT * flat_start_loss(log_posteriors, batch.alignment) + CTC_IN_FLAT_START * loss


# ---------------------------------------------------------------- the loop


class Trainer:
    """One run: made, resumed where it was left, trained until the budget is spent."""

    def __init__(
        self,
        recipe: Recipe,
        corpus: Corpus,
        noise: np.ndarray | None,
        lexicon: Lexicon,
        out: Path,
        start: AcousticModel | None = None,
    ) -> None:
        torch.manual_seed(recipe.seed)
        self.recipe, self.out, self.lexicon = recipe, out, lexicon
        self.utterances = usable(corpus.kept, lexicon)
        self.held_out = spread(usable(corpus.held_out, lexicon), 240)
        self.device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
        self._corpus, self._noise, self._start = corpus, noise, start

    def _prepare(self) -> None:
        """Everything on the accelerator; after the other processes have started."""
        recipe = self.recipe
        sound, noise = self._on_device(self._corpus.sound), self._on_device(self._noise)
        self.assembler = Assembler(sound, noise, random.Random(recipe.seed + 1), recipe)
        self.trigram = torch.from_numpy(trigram_of(self.utterances, self.lexicon)).to(self.device)
        network = self._network().to(self.device)
        optimiser = torch.optim.AdamW(
            network.parameters(),
            lr=recipe.learning_rate,
            weight_decay=recipe.weight_decay,
            betas=(0.9, 0.98),
            fused=self.device.type == "cuda",
        )
        average = {name: value.detach().clone() for name, value in network.state_dict().items()}
        self.state = State(network, optimiser, average)
        self.state.resume(self.out)

    def _network(self) -> Network:
        """As it begins: at random, or with the weights of the model to start from."""
        network = Network(self.recipe.network)
        if self._start is not None:
            group = [(utterance,) for utterance in spread(self.utterances, STATISTICS_OF)]
            layout = lay_out(group, lambda u: self.lexicon.draw(u.text, u.british, random.Random(0)), random.Random(0))
            banks = self.assembler.training(layout, 1.0, flat_start=False).banks.cpu()
            network.load_state_dict(warm_weights(self._start, self.recipe.network, banks))
        return network

    def _on_device(self, sound: np.ndarray | None) -> Tensor | None:
        return None if sound is None else torch.from_numpy(sound).to(self.device)

    def run(self, budget_s: float, processes: int = 0) -> None:
        """Train until ``budget_s`` seconds of training, earlier runs counted in, are spent."""
        self.out.mkdir(parents=True, exist_ok=True)
        layouts = layouts_from_processes(
            self.utterances, self.lexicon, self.recipe.seconds_per_step, self.recipe.seed + 1, processes
        )
        first = next(layouts)
        self._prepare()
        began, before = time.monotonic(), self.state.elapsed_s
        saved, losses = began, [self._step(first, before / budget_s)]
        for layout in layouts:
            now = time.monotonic()
            self.state.elapsed_s = before + now - began
            if now - saved > SAVED_EVERY_S or self.state.elapsed_s >= budget_s:
                self._report(losses)
                saved, losses = time.monotonic(), []
            if self.state.elapsed_s >= budget_s:
                return
            losses.append(self._step(layout, self.state.elapsed_s / budget_s))

    def _step(self, layout: Layout, share: float) -> Tensor:
        """One update at ``share`` (0 to 1) of the budget; gives the loss, still on the accelerator."""
        recipe, state = self.recipe, self.state
        state.network.train()
        progress = min(1.0, share / recipe.full_augmentation_from)
        batch = self.assembler.training(layout, progress, state.step < recipe.flat_start_steps)
        for group in state.optimiser.param_groups:
            group["lr"] = learning_rate(recipe, state.step, share)
        trigram = self.trigram if share > recipe.sequence_from else None
        loss = step_loss(self._log_posteriors(batch), batch, trigram, recipe.ctc_share)
        state.optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(state.network.parameters(), GRADIENT_NORM)
        for parameter in state.network.parameters():
            parameter.grad.nan_to_num_(0.0, 0.0, 0.0)
        state.optimiser.step()
        state.step += 1
        if state.step % recipe.averaged_every == 0:
            self._average()
        return loss.detach()

    def _log_posteriors(self, batch: Batch) -> Tensor:
        """(time, batch, 40)."""
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            scores = self.state.network(batch.banks)
        return scores.float().log_softmax(2).transpose(0, 1)

    def _average(self) -> None:
        decay = min(self.recipe.average_decay, (self.state.step + 10) / (self.state.step + 200))
        own, other = [], []
        for name, value in self.state.network.state_dict().items():
            if value.dtype.is_floating_point:
                own.append(self.state.average[name])
                other.append(value.detach())
            else:
                self.state.average[name].copy_(value)
        torch._foreach_lerp_(own, other, 1 - decay)

    def _report(self, losses: list[Tensor]) -> None:
        loss = float(torch.stack(losses).mean()) if losses else math.nan
        errors = self.phone_errors()
        line = {"step": self.state.step, "s": round(self.state.elapsed_s), "loss": round(loss, 4), "errors": errors}
        self.state.history.append(line)
        self.state.save(self.out)
        print(json.dumps(line), flush=True)

    @torch.no_grad()
    def phone_errors(self) -> dict[str, float]:
        """Greedy phone error of the averaged network on held-out speech, by corpus (not what training lowers)."""
        network = Network(self.recipe.network).to(self.device).eval()
        network.load_state_dict(self.state.average)
        rng, counts = random.Random(0), {}
        for start in range(0, len(self.held_out), 60):
            group = [(utterance,) for utterance in self.held_out[start : start + 60]]
            layout = lay_out(group, lambda u: self.lexicon.draw(u.text, u.british, rng), rng, varied=False)
            batch = self.assembler.plain(layout)
            best = network(batch.banks).argmax(2).cpu().numpy()
            for row, ((utterance,), labels) in enumerate(zip(group, layout.labels, strict=True)):
                wrong, total = counts.get(utterance.corpus, (0, 0))
                heard = collapsed(best[row, : batch.lengths[row]])
                counts[utterance.corpus] = (wrong + edit_distance(heard, labels), total + len(labels))
        return {corpus: round(wrong / total, 4) for corpus, (wrong, total) in counts.items()}


def learning_rate(recipe: Recipe, step: int, share: float) -> float:
    """Linear warm-up in steps, then half a cosine over the budget."""
    warm = min(1.0, step / recipe.warm_up_steps + 0.02)
    return recipe.learning_rate * warm * (0.5 * (1 + math.cos(math.pi * min(1.0, share))) + 0.003)


def spread(utterances: tuple[Utterance, ...], most: int) -> tuple[Utterance, ...]:
    """At most ``most`` of them, evenly drawn, short ones together."""
    chosen = utterances[:: max(1, len(utterances) // most)]
    return tuple(sorted(chosen, key=lambda utterance: utterance.samples))


def collapsed(outputs: np.ndarray) -> list[int]:
    """The phones of the best output each 30 ms: repeats joined, blanks dropped."""
    changes = np.r_[True, outputs[1:] != outputs[:-1]]
    return [int(phone) for phone in outputs[changes] if phone != BLANK]


def edit_distance(heard: list[int], said: tuple[int, ...]) -> int:
    """Fewest substitutions, deletions and insertions."""
    row = list(range(len(said) + 1))
    for count, phone in enumerate(heard, start=1):
        diagonal, row[0] = row[0], count
        for place, wanted in enumerate(said, start=1):
            diagonal, row[place] = row[place], min(row[place] + 1, row[place - 1] + 1, diagonal + (phone != wanted))
    return row[-1]
