"""Cells of files that people open in a spreadsheet: text that it would run as a formula is made plain text."""

import pandas as pd

# Beginnings that a spreadsheet takes for a formula, also in the wide letters of East Asian keyboards (OWASP, "CSV
# Injection"); an apostrophe before them makes the cell text.
FORMULA_MARKS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def defuse(cell: object) -> object:
    """The cell, with an apostrophe before it when it is text that a spreadsheet would run."""
    return f"'{cell}" if isinstance(cell, str) and cell.lstrip(" ").startswith(FORMULA_MARKS) else cell


def restore(cell: str) -> str:
    """Undoes `defuse` in files that we read again; an apostrophe before anything else stays."""
    return cell[1:] if cell.startswith("'") and cell[1:].lstrip(" ").startswith(FORMULA_MARKS) else cell


def defuse_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with every cell of text defused, its column names too."""
    defused = frame.apply(lambda column: column if column.dtype.kind in "biufM" else column.map(defuse))
    return defused.rename(columns=defuse)
