"""voicelog: spoken test readings onto the record right, first time, while both hands are on the probes."""

__version__ = "0.1.0"
STOPPED = 130  # exit code after Ctrl-C
