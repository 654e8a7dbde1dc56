"""Odd input: damaged, malicious and senseless files, words and requests, as many as there is time for.

    voicelog bench fuzz --minutes 5

Whatever comes, the program takes it, or refuses it with one of its own errors, and what it takes keeps its rules. What
once broke them is kept among the tests. With ``guided`` a search for code not yet reached draws the cases (atheris).
"""

import re
import subprocess
import sys
import time
import traceback

from pydantic import computed_field

from voicelog.errors import InputError
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import Noun

AT_ONCE = 500  # cases between two looks at the clock
NEEDS = InputError("this needs the packages of the tests.", do="Install them: pip install 'voicelog[test]'.")


class Fed(Noun):
    """One target: how many cases it took or refused as it should, and the smallest that broke it."""

    name: str
    cases: int
    seconds: float
    broken: str = ""  # the case, and what came of it


class Fuzzing(Noun):
    """``voicelog bench fuzz``."""

    targets: tuple[Fed, ...]

    @computed_field
    @property
    def cases(self) -> int:
        return sum(fed.cases for fed in self.targets)

    @computed_field
    @property
    def passed(self) -> bool:
        return bool(self.targets) and all(fed.cases and not fed.broken for fed in self.targets)


def bench_fuzzing(minutes: float = 1.0, only: str = "", guided: bool = False, progress: Progress = quiet) -> Fuzzing:
    """So many minutes for each target, or for that one alone.

    Raises InputError without the packages of the tests, or for a target that there is not.
    """
    try:
        from voicelog.proving.targets import TARGETS
    except ImportError:
        raise NEEDS from None
    chosen = [target for target in TARGETS if only in ("", target.name)]
    if not chosen:
        raise InputError(f"there is no target {only!r}.", do=f"One of: {', '.join(one.name for one in TARGETS)}.")
    found = []
    for number, target in enumerate(chosen, 1):
        found.append(search(target.name, 60 * minutes) if guided else feed(target, 60 * minutes))
        progress(number, len(chosen))
    return Fuzzing(targets=tuple(found))


def feed(target, seconds: float = 0.0, at_once: int = AT_ONCE, repeatable: bool = False) -> Fed:  # noqa: ANN001
    """Cases at random for so long, and at least ``at_once`` of them; ends at the first that breaks.

    ``repeatable``: the same cases each time.
    """
    from hypothesis import HealthCheck, Phase, given, settings

    count, began = 0, time.monotonic()
    usual = settings(
        max_examples=at_once, deadline=None, database=None, suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink), report_multiple_bugs=False, print_blob=False,
    )  # fmt: skip

    @usual
    @given(target.draws())
    def fed(case: object) -> None:
        nonlocal count
        count += 1
        target.holds(case)

    broken = ""
    while not broken:
        try:
            fed()
        except Exception as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            broken = f"{type(error).__name__}: {error} ({where.name}, line {where.lineno}); {_notes(error)}"
        if time.monotonic() - began >= seconds:
            break
    return Fed(name=target.name, cases=count, seconds=round(time.monotonic() - began, 1), broken=broken)


def _notes(error: Exception) -> str:
    return " ".join(getattr(error, "__notes__", ()))[:2000]


# ---------------------------------------------------------------- guided by what code is reached


def search(name: str, seconds: float) -> Fed:
    """The same target in a process of its own, its cases drawn by atheris, which looks for code not yet reached."""
    command = [sys.executable, "-m", "voicelog.proving.guided", name, f"-max_total_time={max(1, round(seconds))}"]
    began = time.monotonic()
    done = subprocess.run(command, capture_output=True, text=True)
    ran = re.findall(r"^Done (\d+) runs|^#(\d+)", done.stderr, re.MULTILINE)
    if "No module named 'atheris'" in done.stderr:
        raise InputError("a guided search needs atheris.", do="Install it: pip install atheris.")
    cases = max((int(one or other) for one, other in ran), default=0)
    broken = done.stderr[-2000:] if done.returncode else ""
    return Fed(name=name, cases=cases, seconds=round(time.monotonic() - began, 1), broken=broken)
