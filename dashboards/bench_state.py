"""The case that is looked up on the bench: kept for the visitor, written into the address, read back from it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import streamlit as st

from analytics.case import Case
from analytics.vocabulary import Vocabulary
from dashboards.sentences import in_markdown

# Keys of the session: the open case, the address last written or read, what was wrong with it.
CASE, ADDRESS, PROBLEMS = "bench_case", "bench_address", "bench_problems"
FIRST_YEAR = 1850


@dataclass(frozen=True)
class OpenCase:
    """What was entered so far; "" and None for what is not known."""

    symptom: str = ""
    family: str = ""
    built_year: int | None = None
    shop: str = ""
    complaint: str = ""

    def as_case(self, today: date) -> Case:
        """The case as the core asks for it."""
        age_years = None if self.built_year is None else today.year - self.built_year
        return Case(self.symptom, self.family, self.shop, age_years, complaint=self.complaint)


def open_case(vocabulary: Vocabulary, shops: Sequence[str], *, today: date) -> OpenCase:
    """The open case; a new address (a link, a reload) replaces it, what it says wrongly is kept for `link_problems`."""
    asked = st.query_params.to_dict()
    if asked and asked != st.session_state.get(ADDRESS):
        case, problems = read_address(asked, vocabulary, shops, today=today)
        _replace_case(case)
        st.session_state[ADDRESS], st.session_state[PROBLEMS] = asked, problems
    return st.session_state.get(CASE, OpenCase())


def link_problems() -> tuple[str, ...]:
    """Sentences (Markdown) on what the address said wrongly, until the case changes."""
    return st.session_state.get(PROBLEMS, ())


def keep_case(case: OpenCase) -> None:
    """Remembers what was entered, and writes it into the address."""
    if case != st.session_state.get(CASE, case):
        st.session_state[PROBLEMS] = ()
    st.session_state[CASE] = case
    address = write_address(case)
    if address != st.query_params.to_dict():
        st.query_params.from_dict(address)
    st.session_state[ADDRESS] = address


def start_over() -> None:
    """An empty bench; for a button's on_click."""
    _replace_case(OpenCase())
    st.query_params.clear()
    st.session_state[ADDRESS], st.session_state[PROBLEMS] = {}, ()


def widget_key(field: str, value: object) -> str:
    """Key of the input of one field, holding the open case's value when the input is not on the page yet."""
    key = f"bench_{field}_input"
    if key not in st.session_state:
        st.session_state[key] = value
    return key


def entered_now() -> OpenCase:
    """The case as the inputs have it now; a button's on_click runs before the page has read what was just typed."""
    values = {name: st.session_state.get(f"bench_{name}_input") for name in OpenCase.__dataclass_fields__}
    year = values.pop("built_year")
    return OpenCase(**{name: (text or "").strip() for name, text in values.items()}, built_year=year)


def write_address(case: OpenCase) -> dict[str, str]:
    """Query parameters of a case; the owner's words stay out of it, they may name somebody."""
    fields = {
        "s": case.symptom,
        "f": case.family,
        "y": "" if case.built_year is None else str(case.built_year),
        "h": case.shop,
    }
    return {name: text for name, text in fields.items() if text}


def read_address(
    asked: Mapping[str, str], vocabulary: Vocabulary, shops: Sequence[str], *, today: date
) -> tuple[OpenCase, tuple[str, ...]]:
    """The case of an address, and a sentence on each part that could not be read and was left out."""
    problems: list[str] = []

    def known(name: str, key: str, allowed: Callable[[str], bool]) -> str:
        given = asked.get(name, "")
        if given and not allowed(given):
            problems.append(in_markdown(key, given=given))
            return ""
        return given

    case = OpenCase(
        symptom=known("s", "link.symptom", vocabulary.symptoms.__contains__),
        family=known("f", "link.family", vocabulary.families.__contains__),
        shop=known("h", "link.shop", shops.__contains__),
    )
    year = asked.get("y", "")
    if year and not (year.isascii() and year.isdigit() and FIRST_YEAR <= int(year[:6]) <= today.year):
        problems.append(in_markdown("link.year", given=year, first=FIRST_YEAR, last=today.year))
        year = ""
    return replace(case, built_year=int(year) if year else None), tuple(problems)


def _replace_case(case: OpenCase) -> None:
    st.session_state[CASE] = case
    for name in vars(case):
        # the input takes the value of the new case when it is drawn
        st.session_state.pop(f"bench_{name}_input", None)
