"""Why the store could not be opened or written, in words that a person can act on."""

BUSY_WORDS = ("Could not set lock", "Conflicting lock", "different configuration")
FULL_WORDS = ("No space left", "File too large", "Disk quota", "disk is full")
_REFUSED_WORDS = ("Permission denied", "Read-only file system", "Operation not permitted")
_FOREIGN_WORDS = ("not a valid DuckDB database", "in-memory database", "Is a directory")
BUSY = "The store is in use by another faultodds command or page. Wait a moment and try again."
FULL = "The disk is full: nothing of this step was stored. Free some space and do it again."


def opening_refusal(message: str, name: str) -> str:
    """Why the store cannot be opened, in words that show neither the whole path nor another program's number."""
    if any(words in message for words in FULL_WORDS):
        return FULL
    if any(words in message for words in _REFUSED_WORDS):
        return f"The store '{name}' cannot be written: its folder or file is read-only for you. Choose another folder."
    if any(words in message for words in _FOREIGN_WORDS):
        return f"'{name}' is not a faultodds store. Give the data folder that faultodds made, or an empty one."
    if "version number" in message:
        return f"'{name}' was written by a newer program. Update faultodds, then open it again."
    return f"The store '{name}' cannot be opened; it may be damaged. Put back your last copy, or start an empty one."
