"""How many of what, for people to read."""


def counted(number: int, one: str, many: str) -> str:
    """A number of things: ``1 entry``, ``0 entries``."""
    return f"{number} {one if number == 1 else many}"
