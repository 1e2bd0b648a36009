"""Every sentence of the pages by key, from one folder a language and one file a page."""

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from analytics.errors import InputError

LANGUAGE = "en"
_FOLDER = Path(__file__).with_name("sentences")
# What Markdown (with colours, formulas and emoji codes) could read as something else than itself.
_MARKUP = re.compile(r"([\\`*_{}\[\]()#+!|<>~$:&])")


def sentence(key: str, /, **values: object) -> str:
    """The sentence of a key with its {names} filled in, as plain text (labels, charts, options)."""
    return sentences(LANGUAGE)[key].format(**values)


def in_markdown(key: str, /, **values: object) -> str:
    """The same for places that read Markdown: what is filled in stays plain text whatever it contains."""
    return sentences(LANGUAGE)[key].format(**{name: plain(str(value)) for name, value in values.items()})


def plain(text: str) -> str:
    """Text that Markdown shows as it stands: a link or a vocabulary can make no picture, link or formula."""
    return _escape(" ".join(text.split()))


def refusal(error: InputError) -> str:
    """What a refused request says, for Markdown; commands stay in code style."""
    return with_commands(str(error))


def with_commands(text: str) -> str:
    """Text that Markdown shows as it stands, but for commands between backticks, which stay in code style."""
    parts = text.split("`")
    return "`".join(part if at % 2 else _escape(part) for at, part in enumerate(parts))


@cache
def sentences(language: str) -> Mapping[str, str]:
    """Key ("bench.title") -> sentence of one language."""
    files = sorted((_FOLDER / language).glob("*.toml"))
    tables = [part for file in files for part in tomllib.loads(file.read_text(encoding="utf-8")).items()]
    return {f"{topic}.{name}": text for topic, lines in tables for name, text in lines.items()}


def _escape(text: str) -> str:
    return _MARKUP.sub(r"\\\1", text)
