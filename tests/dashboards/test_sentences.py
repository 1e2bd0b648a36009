"""Every sentence is in one folder, and what is filled in cannot become markup."""

import re
import tomllib
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.session import ABOUT
from analytics.vocabulary import CONFIRMATIONS, RESULTS
from dashboards.bench_work import ALSO
from dashboards.sentences import LANGUAGE, in_markdown, plain, refusal, sentence, sentences

FOLDER = Path(__file__).resolve().parents[2] / "dashboards"
KEY = re.compile(r'"([a-z_]+\.[a-z_]+)"')


def used_keys() -> set[str]:
    pages = {table.split(".")[0] for table in sentences(LANGUAGE)}
    found = {key for path in FOLDER.rglob("*.py") for key in KEY.findall(path.read_text(encoding="utf-8"))}
    # keys that are put together from a code
    return {key for key in found if key.split(".")[0] in pages and not key.endswith(".py")} | {
        *(f"outcome.{kind}" for kind in ABOUT),
        *(f"also.{kind}" for kind in ALSO),
        *(f"closing.{code}" for code in (*RESULTS, *CONFIRMATIONS)),
    }


def test_every_key_in_use_has_a_sentence_and_every_sentence_is_used() -> None:
    assert used_keys() == set(sentences(LANGUAGE))


@pytest.mark.parametrize("path", sorted((FOLDER / "sentences").iterdir()), ids=lambda path: path.name)
def test_every_language_has_the_same_keys_with_the_same_names_to_fill_in(path: Path) -> None:
    def names(language: str) -> dict[str, set[str]]:
        return {key: set(re.findall(r"{(\w+)}", text)) for key, text in sentences(language).items()}

    assert names(path.name) == names(LANGUAGE)


def test_no_two_files_share_a_topic() -> None:
    files = (FOLDER / "sentences" / LANGUAGE).glob("*.toml")
    topics = [topic for file in files for topic in tomllib.loads(file.read_text(encoding="utf-8"))]
    assert len(topics) == len(set(topics))


def test_values_are_filled_in() -> None:
    assert sentence("moved.now", odds="about 2 in 10") == "now about 2 in 10"


# CommonMark 0.31, section 2.4: a backslash before ASCII punctuation makes it literal.
@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("![x](//host/x.png)", r"\!\[x\]\(//host/x.png\)"),
        (":red[x] $a$ <b>", r"\:red\[x\] \$a\$ \<b\>"),
        ("two\n\n# lines", r"two \# lines"),
    ],
)
def test_text_from_outside_stays_text(given: str, shown: str) -> None:
    assert plain(given) == shown
    assert in_markdown("link.symptom", given=given).split("'")[1] == shown


def test_a_refusal_keeps_its_command_and_nothing_else() -> None:
    assert refusal(InputError("No *x*. Run `faultodds fit`, then ask.")) == r"No \*x\*. Run `faultodds fit`, then ask."
