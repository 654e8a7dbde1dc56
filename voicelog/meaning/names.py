"""Circuit names said nearly right: put right when one name is near, refused when two are."""

from dataclasses import dataclass

from rapidfuzz import fuzz, process

from voicelog.model import NotUnderstood

# Out of 100. A name must be this near, and this much nearer than the next: measured on the
# circuit names of the demonstration, where two different names score 80 at most (stage left, stage right).
NEAR = 82.0
APART = 10.0


@dataclass(frozen=True)
class NameFinder:
    """Finds the name that words were meant to be, among the spoken names of circuits."""

    names: tuple[str, ...]

    def put_right(self, said: tuple[str, ...]) -> list[tuple[str, ...]] | NotUnderstood:
        """The words with a near name at their beginning replaced by the name itself.

        Empty when no beginning is near a name; NotUnderstood when two names are about as near.
        """
        if not self.names or said[:1] and " ".join(said) in self.names:
            return []
        longest = max(len(name.split()) for name in self.names)
        best: tuple[float, tuple[str, ...]] | None = None
        for length in range(1, min(longest, len(said)) + 1):
            found = self._nearest(" ".join(said[:length]))
            if isinstance(found, NotUnderstood):
                return found
            if found and (best is None or found[0] > best[0]):
                best = found[0], (*found[1].split(), *said[length:])
        return [best[1]] if best else []

    def _nearest(self, words: str) -> tuple[float, str] | NotUnderstood | None:
        matches = process.extract(words, self.names, scorer=fuzz.ratio, limit=2)
        name, score, _ = matches[0]
        if score < NEAR:
            return None
        if len(matches) > 1 and score < 100 and score - matches[1][1] < APART:
            return NotUnderstood(why=f"it could be {name} or {matches[1][0]}", words=tuple(words.split()), nearly=True)
        return score, name
