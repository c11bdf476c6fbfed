"""The time of an entry."""

from datetime import datetime


def time_now() -> str:
    """Return day and time with the offset from universal time, to the second (ISO 8601)."""
    return datetime.now().astimezone().isoformat(timespec="seconds")
