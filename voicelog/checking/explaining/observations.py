"""Suggested observations, for a qualified person to take or leave."""

from voicelog.checking.explaining.findings import Findings, Section, Statement
from voicelog.checking.outcome import suggest


def observation_section(findings: Findings) -> Section:
    """Suggested observations, for a qualified person to take or leave."""
    said = []
    for reading, verdict in findings.verdicts:
        suggestion = suggest(reading, verdict)
        if suggestion is not None:
            text = f"{suggestion.code}, {suggestion.place.key}: {suggestion.words}. Found {suggestion.why}"
            said.append(Statement(text=text, origins=(*findings.origins(reading), verdict.source)))
    return Section(title="Suggested observations", statements=tuple(said))
