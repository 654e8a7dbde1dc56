"""Suggested observations, for a qualified person to take or leave."""

from voicelog.checking.explaining.findings import Findings, Section, Statement
from voicelog.checking.outcome import suggest
from voicelog.model import Reading


def observation_section(findings: Findings) -> Section:
    """Suggested observations, for a qualified person to take or leave."""
    said = []
    for reading, verdict in findings.verdicts:
        suggestion = suggest(reading, verdict)
        if suggestion is not None:
            text = f"{suggestion.code}, {_where(reading)}: {suggestion.words}. Found {suggestion.why}"
            said.append(Statement(text=text, origins=tuple(filter(None, (*findings.origins(reading), verdict.source)))))
    return Section(title="Suggested observations", statements=tuple(said))


def _where(reading: Reading) -> str:
    """The place, and of several points of a circuit the one that was touched."""
    point = reading.conditions.get("point", "")
    return f"{reading.place.key} at {point}" if point else reading.place.key
