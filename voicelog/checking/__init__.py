"""Checking: what limits say of a reading, and the arithmetic of the trade. One file a subject; verdicts.py first."""
