"""Acoustic model folders: which kind one is, whether it is whole, and the folder that Vosk is given.

    bundled or personal   am/final.mdl of our own phones, conf/fbank.conf, no graph: the graph is compiled from
                          the grammar into a folder of the user's cache, which points at the same am/
    stock, graph at run   am/final.mdl, graph/HCLr.fst and graph/Gr.fst: held to a list of phrases
    stock, fixed graph    graph/HCLG.fst: it hears freely, so it is refused

Files are looked at before Vosk sees them: it reports a broken file on its
error output, or not at all. Vosk is only ever given a path, since a model
asked for by name may be sought on the network.
"""

import hashlib
import os
import shutil
import tempfile
import time
from dataclasses import asdict, dataclass
from enum import Enum
from pathlib import Path

import platformdirs

from voicelog.errors import ModelError, StorageFull
from voicelog.hearing.graph import DecodingGraph, GraphCosts, WordGraph, decoding_graph, from_phrases, with_filler
from voicelog.hearing.lexicon import FILE, Lexicon, bundled_lexicon
from voicelog.hearing.nnet3 import read_model
from voicelog.hearing.search import JUDGING, Search
from voicelog.hearing.transitions import TransitionIds
from voicelog.resources import data_folder

BUNDLED = Path(__file__).resolve().parent / "model"
ACOUSTIC = Path("am") / "final.mdl"
FEATURES = Path("conf") / "fbank.conf"
FORM = 2  # of the compiled folders; a change here compiles all of them anew
KEPT = 12  # compiled folders in the cache; the least recently used go first
IN_USE_S = 3600.0  # a folder used so lately may be about to be loaded by another program
JUDGE = GraphCosts(filler=2.2)  # so that ``Heard.filler_margin`` is above 0 for calls and below it for other talk
OPENFST_MAGIC = (2125659606).to_bytes(4, "little")


class Kind(Enum):
    """What a folder can be used for."""

    OWN = "graph compiled from the grammar"
    STOCK = "graph composed at run time from a list of phrases"


@dataclass(frozen=True)
class ModelFolder:
    """A folder that was looked at and found whole."""

    path: Path
    kind: Kind


@dataclass(frozen=True)
class Prepared:
    """A folder that Vosk can load, and for a stock model the phrases that it is held to."""

    path: Path
    phrases: tuple[str, ...] = ()


# ---------------------------------------------------------------- looking


def open_folder(path: Path = BUNDLED) -> ModelFolder:
    """Which kind of model lies in ``path``.

    Raises ModelError for a folder that is missing, broken, or hears freely.
    """
    if not path.is_dir():
        raise ModelError(
            "there is no such model folder.", where=str(path), do="Check the path, or leave the option out."
        )
    acoustic = _first(path, ACOUSTIC, Path("final.mdl"))
    if acoustic is None:
        raise _broken(path, "am/final.mdl is missing")
    _look_at_acoustics(acoustic)
    run_time = [_first(path, Path("graph") / name, Path(name)) for name in ("HCLr.fst", "Gr.fst")]
    if all(run_time):
        for fst in run_time:
            _look_at_fst(fst)
        if not _first(path, Path("conf") / "model.conf", Path("mfcc.conf")):
            raise _broken(path, "conf/model.conf is missing")
        return ModelFolder(path, Kind.STOCK)
    if _first(path, Path("graph") / "HCLG.fst", Path("HCLG.fst")):
        raise ModelError(
            "the graph of this model is fixed: it would hear anything at all, not only what the trade says.",
            where=str(path),
            do="Use the bundled model, or a stock model with graph/HCLr.fst and graph/Gr.fst.",
        )
    if any(run_time) or not (path / FEATURES).is_file():
        raise _broken(path, "graph/HCLr.fst, graph/Gr.fst or conf/fbank.conf is missing")
    return ModelFolder(path, Kind.OWN)


def _first(path: Path, *names: Path) -> Path | None:
    return next((path / name for name in names if (path / name).is_file()), None)


def _broken(path: Path, what: str) -> ModelError:
    return ModelError(f"the model folder is not whole: {what}.", where=str(path), do="Copy or unpack the model again.")


def _look_at_acoustics(file: Path) -> None:
    """A model file begins as Kaldi's do and ends with its priors, whole."""
    data = _bytes(file)
    if data.startswith(b"\0B<TransitionModel> "):
        found = data.rfind(b"<Priors> FV \4")
        count = int.from_bytes(data[found + 13 : found + 17], "little")
        whole = found > 0 and len(data) == found + 17 + 4 * count
    else:
        whole = data.startswith(b"<TransitionModel>") and data.rstrip().endswith(b"]")
    if not whole:
        raise _broken(file.parent.parent, f"{file.name} is no acoustic model, or is cut short")


def _look_at_fst(file: Path) -> None:
    with file.open("rb") as stream:
        if stream.read(4) != OPENFST_MAGIC:
            raise _broken(file.parent.parent, f"{file.name} is no OpenFst file")


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise ModelError(f"the model cannot be read: {error.strerror}.", where=str(file)) from None


# ---------------------------------------------------------------- compiling


def prepared(
    folder: ModelFolder,
    graph: WordGraph,
    lexicon: Lexicon | None = None,
    costs: GraphCosts | None = None,
    search: Search | None = None,
    cache: Path | None = None,
) -> Prepared:
    """The folder for Vosk that hears what ``graph`` says, compiled now or found in the cache.

    Raises ModelError when the model is a stock one, is broken, or a word has no pronunciation.
    """
    if folder.kind is not Kind.OWN:
        raise ModelError(
            "a stock model cannot take this grammar.", where=str(folder.path), do="Give it phrases instead."
        )
    costs, search = costs or GraphCosts(), search or Search()
    acoustic, features = folder.path / ACOUSTIC, folder.path / FEATURES
    key = _key(_bytes(acoustic), _bytes(features), graph, lexicon, costs, search)
    target = _usable(cache or platformdirs.user_cache_path("voicelog") / "graphs") / key
    if not ((target / "complete").is_file() and (target / ACOUSTIC).is_file()):
        read_model(acoustic)  # says what is wrong with it before Vosk would fail on it
        compiled = decoding_graph(graph, (lexicon or bundled_lexicon()).pronounce, costs)
        try:
            _write(target, folder, compiled, search)
        except OSError as error:
            raise StorageFull(f"the compiled grammar cannot be kept: {error.strerror}.", where=str(target)) from None
        _forget_old(target.parent)
    os.utime(target)
    return Prepared(target)


def prepared_judge(folder: ModelFolder, cache: Path | None = None) -> Prepared:
    """The graph that any talk fits, for a recogniser's ``judge``."""
    return prepared(folder, with_filler(from_phrases(())), Lexicon({}), JUDGE, JUDGING, cache)


def _key(
    acoustic: bytes, features: bytes, graph: WordGraph, lexicon: Lexicon | None, costs: GraphCosts, search: Search
) -> str:
    """A name that changes with anything that the compiled folder depends on."""
    words = lexicon.digest() if lexicon else hashlib.sha256((data_folder("grammars") / FILE).read_bytes()).hexdigest()
    digest = hashlib.sha256(f"{FORM} {words} {asdict(costs)} {asdict(search)}".encode())
    digest.update(repr((graph.arcs, sorted(graph.finals.items()), graph.states)).encode())
    for data in (acoustic, features):
        digest.update(hashlib.sha256(data).digest())
    return digest.hexdigest()[:24]


def _write(target: Path, folder: ModelFolder, graph: DecodingGraph, search: Search) -> None:
    """Written beside its place and moved there whole, so that two programs at once do no harm."""
    shutil.rmtree(target, ignore_errors=True)
    partial = Path(tempfile.mkdtemp(prefix="partial-", dir=target.parent))
    for inner in ("am", "conf", "graph/phones"):
        (partial / inner).mkdir(parents=True)
    _point_at((folder.path / ACOUSTIC).resolve(), partial / ACOUSTIC)
    shutil.copyfile(folder.path / FEATURES, partial / FEATURES)
    (partial / "conf" / "model.conf").write_text(search.conf())
    (partial / "graph" / "HCLG.fst").write_bytes(graph.hclg)
    (partial / "graph" / "words.txt").write_text(graph.words_txt, encoding="utf-8")
    (partial / "graph" / "phones" / "word_boundary.int").write_text(TransitionIds().word_boundaries())
    (partial / "complete").touch()
    try:
        partial.rename(target)
    except OSError:  # another program was quicker
        shutil.rmtree(partial)


def _point_at(file: Path, name: Path) -> None:
    try:
        name.symlink_to(file)
    except OSError:  # Windows gives links only to some
        shutil.copyfile(file, name)


def _forget_old(cache: Path) -> None:
    used = {path: path.stat().st_mtime for path in cache.iterdir() if path.is_dir()}
    for path in sorted(used, key=used.get)[:-KEPT]:
        if used[path] < time.time() - IN_USE_S:
            shutil.rmtree(path, ignore_errors=True)


def _usable(cache: Path) -> Path:
    """The cache, or a temporary folder of this user where it cannot be written."""
    try:
        cache.mkdir(parents=True, exist_ok=True)
        if os.access(cache, os.W_OK):
            return cache
    except OSError:
        pass
    fallback = Path(tempfile.gettempdir()) / f"voicelog-graphs-{os.getuid() if hasattr(os, 'getuid') else 'user'}"
    fallback.mkdir(exist_ok=True)
    return fallback
