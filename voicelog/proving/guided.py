"""One target of ``fuzzing`` under atheris: python -m voicelog.proving.guided TARGET [-max_total_time=S ...]"""

import sys

import atheris

with atheris.instrument_imports(include=["voicelog"]):
    from hypothesis import HealthCheck, given, settings

    from voicelog.proving.targets import TARGETS


def main(name: str, options: list[str]) -> None:
    """Runs until its time is over; a case that breaks the target ends the process with its trace."""
    target = next(one for one in TARGETS if one.name == name)

    @settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(target.draws())
    def fed(case: object) -> None:
        target.holds(case)

    atheris.Setup([sys.argv[0], *options], fed.hypothesis.fuzz_one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
