"""Frames as plain tables on the terminal."""

import pandas as pd
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

WIDEST_NAME = 40


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
