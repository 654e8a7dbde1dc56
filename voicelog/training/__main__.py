"""One command for each step of making the acoustic model: ``python -m voicelog.training STEP --help``.

synthesise   more speech by synthetic voices             (once, hours, resumable)
speak        a written script by synthetic voices        (what learning and chatter are scored on)
lexicon      pronunciations of every word in the speech  (once)
pieces       recorded strings cut at their pauses        (once there is a model to find the words with)
train        the network                                 (an accelerator, or patience)
average      of runs that began from one model           (where there are several)
export       the model folder that Vosk loads, checked
scoring-set  phrases of the trade by held-out voices     (for ``voicelog bench accuracy``)
people-set   recordings of the people held out           (for ``voicelog bench learn``)
"""

import hashlib
import json
import os
import platform
import time
from concurrent.futures import ProcessPoolExecutor
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from voicelog.hearing.nnet3 import read_model
from voicelog.training.accents import FOREIGN_SHARE
from voicelog.training.corpus import read_corpora, read_noise, read_rows, read_sound
from voicelog.training.recipe import NetworkShape, Recipe
from voicelog.training.splits import read_splits

app = typer.Typer(
    no_args_is_help=True, add_completion=False, help="The steps by which the acoustic model is made, in order."
)

Folders = Annotated[
    list[Path], typer.Option("--speech", help="A folder of speech with an index.jsonl; may be repeated.")
]


Voices = Annotated[Path, typer.Option(help="The synthesiser's voices, one .bin each.")]


class Kind(StrEnum):
    """What synthetic voices say."""

    PHRASES = "phrases"
    STRINGS = "strings"
    WORDS = "words"


WORDS_EACH = 10  # by one speaker, one after the other: they are joined into strings in training
Processes = Annotated[int, typer.Option(help="How many speak at a time.")]


@app.command()
def synthesise(
    folder: Annotated[Path, typer.Argument(help="Where the speech goes; chunks already there are kept.")],
    voices: Voices,
    chunks: Annotated[int, typer.Option(help="Chunks of 60 utterances, about three minutes each.")] = 400,
    first: Annotated[int, typer.Option(help="Number of the first chunk.")] = 0,
    kind: Annotated[Kind, typer.Option(help="Of the trade, of digits and letters, or one word each.")] = Kind.PHRASES,
    foreign: Annotated[float, typer.Option(help="Share with another first language.")] = FOREIGN_SHARE,
    processes: Processes = 1,
) -> None:
    """Make synthetic speech for training: phrases of the demonstration's grammar and others, strings, or words."""
    from voicelog.training import synthesis

    casting = synthesis.training_casting(tuple(f.stem for f in voices.glob("*.bin")), read_splits().voices, foreign)
    in_a_row = {"corpus": "synthetic-words", "each": WORDS_EACH} if kind is Kind.WORDS else {}
    studio = synthesis.Studio(voices, casting, _sampler(kind), folder, **in_a_row)
    synthesis.make_chunks(studio, range(first, first + chunks), processes)
    synthesis.join_indexes(folder)


def _sampler(kind: Kind):
    from voicelog.training.phrases import DIGITS_AND_LETTERS, GrammarSampler, PhraseSampler, single_word
    from voicelog.visiting import open_visit_or_demo

    if kind is Kind.PHRASES:
        return GrammarSampler(open_visit_or_demo(None).reader.network)
    return PhraseSampler(DIGITS_AND_LETTERS if kind is Kind.STRINGS else ((1.0, single_word),))


@app.command()
def speak(
    script: Annotated[Path, typer.Argument(help="Rows of JSON: file, text, voices, dialect, speed, perhaps foreign.")],
    folder: Annotated[Path, typer.Argument(help="Where the speech goes; chunks already there are kept.")],
    voices: Voices,
    processes: Processes = 1,
) -> None:
    """Speak a written script, for scoring."""
    from voicelog.training import synthesis

    rows = tuple(json.loads(line) for line in script.read_text().splitlines())
    chunks = -(-len(rows) // synthesis.UTTERANCES_PER_CHUNK)
    synthesis.make_chunks(synthesis.Reading(voices, folder, rows), range(chunks), processes)
    synthesis.join_indexes(folder)


@app.command()
def scoring_set(
    folder: Annotated[Path, typer.Argument(help="Where the recordings go; those already there are kept.")],
    voices: Voices,
    count: Annotated[int, typer.Option(help="Recordings.")] = 300,
) -> None:
    """Speak phrases of the demonstration's job with the voices that training never hears."""
    from voicelog.training.scoring_set import write_scoring_set
    from voicelog.visiting import open_visit_or_demo

    write_scoring_set(folder, voices, open_visit_or_demo(None), count)


@app.command()
def people_set(
    folder: Annotated[Path, typer.Argument(help="Where the recordings go.")],
    speech: Annotated[Path, typer.Option(help="The folder of speech that holds them.")],
) -> None:
    """Write the recordings of the people that training never hears."""
    from voicelog.training.people_set import write_people_set

    with ProcessPoolExecutor(1) as executor:
        typer.echo(f"{write_people_set(folder, speech, read_splits(), executor)} recordings")


@app.command()
def lexicon(
    out: Annotated[Path, typer.Argument(help="The lexicon file to write.")],
    speech: Folders,
) -> None:
    """Write how each word of the speech is pronounced."""
    from voicelog.training.pronunciations import lexicon_for, write_lexicon

    write_lexicon(lexicon_for(row["text"] for folder in speech for row in read_rows(folder)), out)


@app.command()
def pieces(
    out: Annotated[Path, typer.Argument(help="Where the pieces go, with an index of their own.")],
    speech: Folders,
    corpus: Annotated[str, typer.Option(help="Which corpus of the speech is cut.")],
    lexicon: Annotated[Path, typer.Option(help="From the step before.")],
    model: Annotated[Path, typer.Option(help="A finished model folder, to find the words with.")],
) -> None:
    """Cut recorded strings at their pauses, so that training can join them in orders nobody said."""
    from voicelog.training.pieces import write_pieces
    from voicelog.training.pronunciations import read_lexicon

    with ProcessPoolExecutor(1) as executor:
        whole = read_corpora(speech, read_splits(), executor)
    network, pronounce = read_model(model / "am" / "final.mdl"), read_lexicon(lexicon).every_way
    typer.echo(f"{write_pieces(out, whole, corpus, network, pronounce)} pieces")


@app.command()
def train(
    out: Annotated[Path, typer.Argument(help="Where weights and history go; a run left there is resumed.")],
    speech: Folders,
    lexicon: Annotated[Path, typer.Option(help="From the step before.")],
    noise: Annotated[Path | None, typer.Option(help="A folder of noise recordings.")] = None,
    minutes: Annotated[float, typer.Option(help="Training time, earlier runs counted in.")] = 23.3,
    processes: Annotated[int, typer.Option(help="Others that draw batches ahead; 0: none.")] = 0,
    width: int = NetworkShape.width,
    bottleneck: int = NetworkShape.bottleneck,
    layers: int = NetworkShape.layers,
    dropout: float = NetworkShape.dropout,
    seconds: Annotated[float, typer.Option(help="Of sound for each step.")] = Recipe.seconds_per_step,
    seed: int = 0,
    start: Annotated[Path | None, typer.Option(help="A finished model folder of the same shape to go on from.")] = None,
    rate: Annotated[float | None, typer.Option(help="Learning rate, where not the recipe's.")] = None,
    masking: Annotated[float, typer.Option(help="How wide the hidden bands are, against the usual.")] = Recipe.masking,
    narrow: Annotated[float, typer.Option(help="Share sent through a telephone band.")] = Recipe.narrow,
) -> None:
    """Train the network within a budget of time."""
    from voicelog.training.loop import Trainer
    from voicelog.training.pronunciations import read_lexicon

    began = time.monotonic()
    other = {"seed": seed, "seconds_per_step": seconds, "masking": masking, "narrow": narrow}
    if rate is not None:
        other["learning_rate"] = rate
    begin = Recipe if start is None else Recipe.going_on
    recipe = begin(NetworkShape(width, bottleneck, layers, dropout=dropout), **other)
    splits = read_splits()
    with ProcessPoolExecutor(max(1, (os.cpu_count() or 1) - 1)) as executor:
        corpus = read_corpora(speech, splits, executor)
    recordings = read_noise(noise, splits)[0] if noise else None
    model = None if start is None else read_model(start / "am" / "final.mdl")
    trainer = Trainer(recipe, corpus, recordings, read_lexicon(lexicon), out, model)
    _record(out, recipe, corpus.hours, len(trainer.utterances), minutes, start)
    typer.echo(f"{len(trainer.utterances)} utterances read in {time.monotonic() - began:.0f} s")
    trainer.run(minutes * 60, processes)


@app.command()
def average(
    out: Annotated[Path, typer.Argument(help="The folder to write, in the form of a run.")],
    runs: Annotated[list[Path], typer.Argument(help="Runs of one shape that began from one model.")],
) -> None:
    """The mean of several runs' weights: one network that hears better than each where they began alike."""
    from voicelog.training.export import mean_of

    mean_of(runs, out)


@app.command()
def export(
    run: Annotated[Path, typer.Argument(help="A training run's folder.")],
    folder: Annotated[Path, typer.Argument(help="The model folder to write.")],
    sound: Annotated[Path, typer.Option(help="A recording to compare the two networks on.")],
) -> None:
    """Write the model folder, and prove it the same network."""
    from voicelog.hearing.filterbank import filter_banks
    from voicelog.training.export import export as write
    from voicelog.training.export import shape_from

    check = write(run / "average.pt", shape_from(run / "run.json"), folder, filter_banks(read_sound(sound)))
    typer.echo(check)


def _record(
    out: Path, recipe: Recipe, hours: dict[str, float], utterances: int, minutes: float, start: Path | None
) -> None:
    """``run.json``: what is being run, on what, with which numbers."""
    import torch

    out.mkdir(parents=True, exist_ok=True)
    accelerator = torch.cuda.get_device_name() if torch.cuda.is_available() else "none"
    record = {
        "recipe": recipe.record(),
        "minutes": minutes,
        "begun_from": None if start is None else hashlib.sha256((start / "am" / "final.mdl").read_bytes()).hexdigest(),
        "hours": {name: round(value, 2) for name, value in hours.items()},
        "utterances": utterances,
        "accelerator": accelerator,
        "processor": platform.processor() or platform.machine(),
        "torch": torch.__version__,
    }
    (out / "run.json").write_text(json.dumps(record, indent=1))


if __name__ == "__main__":
    app()
