"""A file of tickets: laid down, looked at, its columns named, read in, and what became of its rows."""

from collections.abc import Callable
from datetime import date

import pandas as pd
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from dashboards.places import counted
from dashboards.sentences import in_markdown, plain, refusal, sentence
from dashboards.tickets_words import field_name, names_by_field
from pipelines.column_maps import FIELDS, REQUIRED_FIELDS, ColumnMap, find_columns
from pipelines.import_preview import ROWS_LOOKED_AT, Look, guess_map, laid_down, look_at_rows, make_map, remember_map
from pipelines.intake import IngestReport, ingest_file
from pipelines.invented import refuse_mixing
from pipelines.readers import RawTable, read_raw
from pipelines.settings import Settings
from pipelines.ticket_search import read_shops

# Keys of the session: the file that was laid down as a table with its guessed map, the last look, the last report.
# Each is kept with what it was made from.
TABLE, LOOK, REPORT = "upload_table", "upload_look", "upload_report"
PREVIEW_ROWS = 5
CERTAIN = 100.0


def show_import(settings: Settings, vocabulary: Vocabulary, *, today: date, go_correct: Callable[[], None]) -> None:
    """The whole part of the page."""
    st.markdown(sentence("upload.how"))
    upload = st.file_uploader(sentence("upload.file"), key="upload_file")
    if upload is None:
        return
    try:
        refuse_mixing(settings)
        raw, guess = _kept(TABLE, upload.file_id, lambda: _lay_down(upload, settings))
        _show_first_rows(raw)
        column_map = _ask_columns(raw, guess)
        shop = _ask_shop(settings)
        find_columns(list(raw.frame.columns), column_map)
        _show_look(raw, column_map, shop=shop, vocabulary=vocabulary, today=today)
        if st.button(sentence("upload.store", rows=counted(len(raw.frame), "row")), type="primary", key="upload_store"):
            report = _store(upload, settings, column_map, shop=shop, vocabulary=vocabulary, today=today)
            st.session_state[REPORT] = (upload.file_id, report)
        report_of, report = st.session_state.get(REPORT, ("", None))
        if report is not None and report_of == upload.file_id:
            _show_report(report, go_correct)
    except InputError as problem:
        st.error(refusal(problem))


def _kept[T](name: str, made_from: object, make: Callable[[], T]) -> T:
    """What `make` gives, kept in the session until it is to be made from something else."""
    last_from, last = st.session_state.get(name, (None, None))
    if last_from != made_from:
        st.session_state.pop(name, None)
        last = make()
        st.session_state[name] = (made_from, last)
    return last


def _lay_down(upload: UploadedFile, settings: Settings) -> tuple[RawTable, ColumnMap]:
    with laid_down(upload.name, upload.getvalue()) as path:
        raw = read_raw(path)
    return raw, guess_map(settings, list(raw.frame.columns))


def _store(
    upload: UploadedFile, settings: Settings, column_map: ColumnMap, *, shop: str, vocabulary: Vocabulary, today: date
) -> IngestReport:
    with laid_down(upload.name, upload.getvalue()) as path, st.spinner(sentence("upload.working")):
        report = ingest_file(
            path,
            store_path=settings.store_path,
            vocabulary=vocabulary,
            shop=shop,
            column_map=column_map,
            today=today,
        )
        if report.stored or report.quarantined:
            remember_map(settings, read_raw(path).file_hash, column_map)
    return report


def _show_first_rows(raw: RawTable) -> None:
    rows, columns = counted(len(raw.frame), "row"), counted(len(raw.frame.columns), "column")
    st.markdown(in_markdown("upload.read_as", rows=rows, columns=columns, how=raw.read_as))
    st.dataframe(raw.frame.head(PREVIEW_ROWS), hide_index=True, alt=sentence("upload.table"), key="upload_preview")


def _ask_columns(raw: RawTable, guess: ColumnMap) -> ColumnMap:
    """The map as chosen: the needed fields in sight, the others in a drawer."""
    headers = list(raw.frame.columns)
    st.subheader(sentence("upload.columns"), anchor=False)
    chosen = _ask_fields(list(REQUIRED_FIELDS), headers, guess, raw.file_hash)
    others = [field for field in FIELDS if field not in REQUIRED_FIELDS]
    found = sum(bool(guess.headers[field]) for field in others)
    with st.expander(sentence("upload.other_found", count=found, all=len(others))):
        chosen |= _ask_fields(others, headers, guess, raw.file_hash)
    return make_map(chosen, guess.cells)


def _ask_fields(fields: list[str], headers: list[str], guess: ColumnMap, file_hash: str) -> dict[str, str]:
    chosen = {}
    for at, field in enumerate(fields):
        if at % 3 == 0:
            columns = st.columns(3)
        guessed = guess.headers[field]
        label = field_name(field)
        with columns[at % 3]:
            chosen[field] = st.selectbox(
                sentence("upload.needed", field=label) if field in REQUIRED_FIELDS else label,
                ["", *headers],
                index=headers.index(guessed[0]) + 1 if guessed else 0,
                format_func=lambda header: header or sentence("upload.no_column"),
                # a new file brings new guesses
                key=f"upload_{field}_{file_hash[:8]}",
            )
    return chosen


def _ask_shop(settings: Settings) -> str:
    shops = read_shops(settings.store_path) if settings.store_path.exists() else ()
    chosen = st.selectbox(
        sentence("upload.shop"),
        shops,
        index=None,
        accept_new_options=True,
        placeholder=sentence("entry.shop_hint"),
        key="upload_shop",
    )
    return (chosen or "").strip()


def _show_look(raw: RawTable, column_map: ColumnMap, *, shop: str, vocabulary: Vocabulary, today: date) -> None:
    def make() -> Look:
        return look_at_rows(raw, column_map, shop=shop, vocabulary=vocabulary, today=today)

    look = _kept(LOOK, (raw.file_hash, column_map, shop, today), make)
    st.subheader(sentence("upload.look"), anchor=False)
    is_whole = len(raw.frame) <= ROWS_LOOKED_AT
    bad, rows = look.row_count - look.good_count, counted(look.row_count, "row")
    st.markdown(
        sentence("upload.look_all" if is_whole else "upload.look_first", rows=rows, good=look.good_count, bad=bad)
    )
    by_code = look.problems.groupby("reason_code")["reason"].agg(["size", "first"])
    reasons = by_code.sort_values("size", ascending=False).itertuples(index=False, name=None)
    lines = [in_markdown("upload.reason", rows=counted(size, "row"), example=first) for size, first in reasons]
    st.markdown("\n".join(f"- {line}" for line in [*lines, *map(plain, look.notes)]))
    _show_matches(look.matches, vocabulary)


def _show_report(report: IngestReport, go_correct: Callable[[], None]) -> None:
    first, *more = report.sentences()
    st.success(plain(first))
    st.markdown("\n".join(f"- {plain(line)}" for line in more))
    if report.quarantined:
        st.button(sentence("upload.go_correct"), on_click=go_correct, key="upload_go_correct")


def _show_matches(matches: pd.DataFrame, vocabulary: Vocabulary) -> None:
    """What was taken for what by likeness; what is in the vocabulary as it stands needs no look."""
    guessed = matches[matches["score"] < CERTAIN].sort_values("score")
    if guessed.empty:
        if len(matches):
            st.caption(sentence("upload.all_exact"))
        return
    names = names_by_field(vocabulary)
    table = pd.DataFrame(
        {
            sentence("upload.written"): guessed["written"],
            sentence("upload.taken_for"): [names[row.field][row.code] for row in guessed.itertuples()],
            sentence("upload.like"): guessed["score"].round().astype("int64"),
            sentence("upload.rows"): guessed["row_count"],
        }
    )
    st.caption(sentence("upload.likeness"))
    st.dataframe(table, hide_index=True, alt=sentence("upload.matches"), key="upload_matches")
