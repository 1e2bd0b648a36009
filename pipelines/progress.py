"""A bar on standard error for what takes more than two seconds."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn


@contextmanager
def progress_bar(label: str, *, total: float = 1.0) -> Iterator[Callable[[float], None]]:
    """Yields a function that takes the share done, from 0 to 1; `total` only decides whether a bar is worth drawing."""
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), disable=total <= 0) as bar:
        task = bar.add_task(label, total=1.0)
        yield lambda share: bar.update(task, completed=share)
