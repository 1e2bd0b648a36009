"""Frames as plain tables on the terminal."""

import pandas as pd
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

WIDEST_NAME, WIDEST_TEXT = 40, 24
# Between two columns, as rich draws them here.
GAP = 3


def print_table(frame: pd.DataFrame, *, title: str = "") -> None:
    """Prints all rows. Cells are text, never markup: a ticket may contain brackets."""
    table = Table(box=box.SIMPLE, title=title or None, title_justify="left")
    for at, name in enumerate(frame.columns):
        # what a row is about stays readable in a narrow window; its figures may wrap
        whole = at == 0 and frame[name].astype(str).str.len().max() <= WIDEST_NAME
        table.add_column(str(name), justify="right" if frame[name].dtype.kind in "if" else "left", no_wrap=bool(whole))
    for row in frame.itertuples(index=False):
        table.add_row(*(Text("" if pd.isna(cell) else str(cell)) for cell in row))
    Console(highlight=False, soft_wrap=False).print(table)


def fitting_columns(frame: pd.DataFrame) -> int:
    """How many columns, from the first on, fit the window without a figure being cut; two at least.

    Names of columns and longer texts may wrap between words, figures do not.
    """
    width, used = Console().width, 1
    for at, name in enumerate(frame.columns):
        words = max(map(len, str(name).split()), default=1)
        cells = int(frame[name].astype(str).str.len().max())
        if frame[name].dtype.kind not in "if":
            cells = min(cells, WIDEST_NAME if at == 0 else WIDEST_TEXT)
        used += max(words, cells) + GAP
        if used > width:
            return max(2, at)
    return len(frame.columns)
