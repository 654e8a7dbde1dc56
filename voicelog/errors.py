"""The one family of errors. Each says what happened, to what, and what to do next.

VoicelogError                 exit code 2 at the command line, never a traceback
├── InputError                the operator's data: a file, a word, an option
│   ├── SoundError            a recording that cannot be read or used
│   ├── SheetError            job.toml: names line and field
│   ├── GrammarError          a file in grammars/: names file and entry
│   ├── EditionError          a limit edition: names file, table and row
│   ├── PreviousRecordError   a previous schedule: names row and column
│   └── ModelError            an acoustic model folder, or a word it lacks
├── DeviceError               microphone or loudspeaker missing, busy or gone
└── KeepingError              the journal and its folder
    ├── JournalLocked         another process writes this job
    ├── JournalVersion        written by another version
    ├── JournalTampered       the chain of entries does not verify: names the entry
    └── StorageFull           the disk refused a write; what was kept is safe
"""


class VoicelogError(Exception):
    """Something a person can act on.

    ``what`` happened, ``where`` (file, circuit, word), and what to ``do``.
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        self.what, self.where, self.do = what, where, do
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        remedy = f" {self.do}" if self.do else ""
        return f"{place}{self.what}{remedy}"


class InputError(VoicelogError):
    """The operator's data cannot be used."""


class SoundError(InputError):
    """A recording cannot be read or used."""


class SheetError(InputError):
    """A job sheet breaks its rules; names line and field."""


class GrammarError(InputError):
    """A grammar file breaks its rules; names file and entry."""


class EditionError(InputError):
    """A limit edition breaks its rules; names file, table and row."""


class PreviousRecordError(InputError):
    """A previous schedule cannot be read; names row and column."""


class ModelError(InputError):
    """An acoustic model folder cannot be used, or lacks words."""


class DeviceError(VoicelogError):
    """A microphone or loudspeaker is missing, busy or gone."""


class KeepingError(VoicelogError):
    """The journal or its folder cannot be used."""


class JournalLocked(KeepingError):
    """Another process is writing this job."""


class JournalVersion(KeepingError):
    """The journal was written by another version."""


class JournalTampered(KeepingError):
    """The chain of entries does not verify; names the entry."""


class StorageFull(KeepingError):
    """The disk refused a write; what was kept before is safe."""
