"""Sound to words."""

import vosk  # noqa: F401  Both carry OpenFst: with kaldifst loaded first, importing vosk never returns.
