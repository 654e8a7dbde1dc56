"""Importing the room first loads vosk before kaldifst; see voicelog/hearing."""

import voicelog.hearing  # noqa: F401
