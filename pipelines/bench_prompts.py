"""Plain questions on the terminal: numbered choices, words of the vocabulary, minutes that may be blank."""

from collections.abc import Callable, Mapping, Sequence

import click

from analytics.errors import InputError
from pipelines.cell_values import read_minutes
from pipelines.matching import PhraseBook, match_spellings


def ask_text(question: str) -> str:
    """One line; blank is allowed."""
    return str(click.prompt(question, default="", show_default=False)).strip()


def ask_choice(question: str, choices: Mapping[str, str]) -> str:
    """The key of the choice made; keys are what is typed, asked again until one of them is."""
    for key, label in choices.items():
        click.echo(f"  {key:>2}  {label}")
    while True:
        typed = ask_text(question).lower()
        if typed in choices:
            return typed
        click.echo(f"'{typed}' is none of the choices. Type one of: {', '.join(choices)}.")


def ask_numbered(question: str, labels: Sequence[str], *, suggested: int = 0) -> int:
    """Position of the label chosen by its number from 1; blank takes the suggested one."""
    numbers = {str(number): label for number, label in enumerate(labels, start=1)}
    for number, label in numbers.items():
        click.echo(f"  {number:>2}  {label}")
    while True:
        typed = ask_text(f"{question} (blank = {suggested + 1})") or str(suggested + 1)
        if typed in numbers:
            return int(typed) - 1
        click.echo(f"'{typed}' is none of the numbers. Type 1 to {len(labels)}, or leave it blank.")


def ask_code(question: str, book: PhraseBook) -> str:
    """The code of what was written, "" for a blank line; in doubt the closest names are offered by number."""
    while True:
        written = ask_text(question)
        if not written:
            return ""
        match = match_spellings([written], book)[written]
        if match.code:
            click.echo(f"  {book.names[match.code]}")
            return match.code
        click.echo(f"Nothing is called '{written}'. The closest:")
        offered = {str(number): name for number, name in enumerate(match.closest, start=1)}
        chosen = ask_choice("Which one", {**offered, "0": "none of these; I write it differently"})
        if chosen != "0":
            return next(code for code, name in book.names.items() if name == offered[chosen])


def ask_needed_code(question: str, book: PhraseBook) -> str:
    """The same, asked again while it is left blank."""
    while True:
        code = ask_code(question, book)
        if code:
            return code
        click.echo("This is needed to go on.")


def ask_minutes(question: str) -> float | None:
    """Minutes, None for a blank line."""
    return _ask_read(question, _minutes)


def ask_year(question: str) -> int | None:
    """A year, None for a blank line."""
    return _ask_read(question, _year)


def _ask_read[T](question: str, read: Callable[[str], T]) -> T | None:
    while True:
        written = ask_text(question)
        if not written:
            return None
        try:
            return read(written)
        except InputError as problem:
            click.echo(str(problem))


def _minutes(written: str) -> float:
    value, sentence = read_minutes(written)
    if value is None:
        raise InputError(sentence)
    return float(value)


def _year(written: str) -> int:
    if not (written.isdecimal() and len(written) == 4):
        raise InputError(f"'{written}' is no year. Write four digits, like 1962, or leave it blank.")
    return int(written)
