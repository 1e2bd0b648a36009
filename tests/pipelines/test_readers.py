"""Tables come in whole, with physical line numbers; rubbish is refused in a clear sentence."""

import random
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest

from analytics.errors import InputError
from pipelines.column_maps import find_columns, read_column_map
from pipelines.readers import BEYOND_HEADER, MAX_COLUMNS, RawTable, read_raw
from pipelines.settings import seed_folder

NOISE = random.Random(5).randbytes(4000)


def read(tmp_path: Path, data: bytes | str, name: str = "tickets.csv") -> RawTable:
    path = tmp_path / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_raw(path)


# (bytes of a file called tickets.csv, words of the refusal)
RUBBISH = {
    "empty": (b"", "'tickets.csv' is empty"),
    "blank_lines": (b"\n \n\t\n", "is empty"),
    "header_only": (b"ticket,symptom\n", "no row below it"),
    "photo": (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + NOISE, "bytes that are no text, like a picture"),
    "noise": (NOISE, "bytes that are no text"),
    "web_page": (b"<!DOCTYPE html><html><table><tr><td>ticket</td></tr></table></html>", "a web page or XML"),
    "thousand_columns": (",".join(f"c{i}" for i in range(1000)).encode() + b"\n1\n", "1,000 columns; the limit is 200"),
    "duplicate_header": (b"ticket,symptom,Ticket\n1,2,3\n", "The header 'ticket' stands in columns 1 and 3"),
    "open_quote": (b'ticket,symptom\n1,"stuck\n2,dark\n', "Line 2 of 'tickets.csv' opens a double quote"),
    "quote_over_rows": (b'a,b,c\n1,"x,y\n2,3,4\n3,4,5\n4,"5",6\n', "closes in line 5 and swallows rows"),
    "damaged_utf8": ("ticket,symptom\n1,Münze klemmt\n2,Tür fehlt\n".encode() + b"3,\xff\n", "line 4 holds bytes"),
    "false_utf8_mark": (b"\xef\xbb\xbfticket,symptom\n1,\xff\n", "says it is UTF-8, but line 2 is not"),
    "endless_cell": (b"ticket,symptom\n1," + b"x" * 200_000 + b"\n", "line 2 of 'tickets.csv' holds a cell of more"),
    "damaged_workbook": (b"PK\x03\x04" + NOISE, "no XLSX workbook, or a damaged one"),
    "old_workbook": (b"\xd0\xcf\x11\xe0" + NOISE, "Save it as XLSX or CSV"),
    "two_delimiters": (b"a,b;c,d;e\n1,2;3,4;5\n", "separated by comma or semicolon"),
}


@pytest.mark.parametrize("kind", RUBBISH)
def test_rubbish_is_refused_in_a_sentence(kind: str, tmp_path: Path) -> None:
    data, words = RUBBISH[kind]
    with pytest.raises(InputError) as refusal:
        read(tmp_path, data)
    assert words in str(refusal.value)


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"There is no file '.*none\.csv'"):
        read_raw(tmp_path / "none.csv")


def test_as_many_columns_as_allowed_are_read(tmp_path: Path) -> None:
    raw = read(tmp_path, ",".join(f"c{i}" for i in range(MAX_COLUMNS)) + "\n" + ",".join("1" * MAX_COLUMNS) + "\n")
    assert raw.frame.shape == (1, MAX_COLUMNS)


def test_lines_are_physical_and_no_row_is_lost(tmp_path: Path) -> None:
    # Lines: 1 header; 2-3 a cell of two lines; 4 blank; 5 too few cells; 6 too many; 7 an empty cell too many.
    raw = read(tmp_path, 'a,b,c\r\n1,"x\r\ny",2\r\n\r\n2,3\r\n3,4,5,6\r\n4,5,6,\r\n')
    assert list(raw.frame.index) == [2, 5, 6, 7]
    assert raw.odd_rows == {5: ("2", "3"), 6: ("3", "4", "5", "6")}
    assert dict(raw.all_cells()) == {
        2: {"a": "1", "b": "x\r\ny", "c": "2"},
        5: {"a": "2", "b": "3"},
        6: {"a": "3", "b": "4", "c": "5", BEYOND_HEADER: "6"},
        7: {"a": "4", "b": "5", "c": "6"},
    }


TEXT = "ticket{0}owner{0}symptom\n1{0}Zoë, a guest{0}Tür klemmt\n"
ENCODINGS = {"utf-8": "utf-8", "utf-8-sig": "utf-8", "utf-16": "utf-16", "cp1252": "cp1252"}


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_encoding_and_delimiter_are_found_and_told(encoding: str, delimiter: str, tmp_path: Path) -> None:
    raw = read(tmp_path, TEXT.format(delimiter).encode(encoding))
    assert raw.frame.loc[2].tolist() == ["1", "Zoë, a guest", "Tür klemmt"]
    assert f"text in {ENCODINGS[encoding]}," in raw.read_as


def test_separator_line_of_a_spreadsheet_is_obeyed(tmp_path: Path) -> None:
    raw = read(tmp_path, "sep=;\nticket;symptom\n1;a, b\n")
    assert raw.frame.loc[3].to_dict() == {"ticket": "1", "symptom": "a, b"}


def test_workbook_is_told_by_its_bytes_and_cells_become_plain_text(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for column, header in enumerate(("ticket", "opened_on", "built_year", "minutes"), start=1):
        sheet.cell(3, column, header)
    for column, value in enumerate(("007", date(2024, 3, 31), 1962, 12.5), start=1):
        sheet.cell(5, column, value)
    sheet.cell(6, 2, datetime(2024, 4, 1, 10, 30))  # noqa: DTZ001 - a spreadsheet knows no zone
    book.save(tmp_path / "book.xlsx")
    raw = read(tmp_path, (tmp_path / "book.xlsx").read_bytes(), "renamed.csv")
    assert raw.frame.loc[5].tolist() == ["007", "2024-03-31", "1962", "12.5"]
    assert raw.frame.loc[6].tolist() == ["", "2024-04-01 10:30:00", "", ""]


def test_template_headers_are_understood_in_any_dress() -> None:
    columns = find_columns(["Ticket No", "DATE-IN", "symptoms", "colour"], read_column_map())
    assert columns == {"ticket": "Ticket No", "opened_on": "DATE-IN", "symptom": "symptoms"}


def test_missing_required_column_names_what_was_found_and_the_closest() -> None:
    with pytest.raises(InputError) as refusal:
        find_columns(["ticket", "opened_on", "simptom", "colour"], read_column_map())
    told = str(refusal.value)
    assert told.startswith("The required column is missing: symptom. Headers not understood: 'simptom', 'colour'.")
    assert "Closest: for symptom perhaps 'simptom'." in told


def test_two_columns_for_one_field_are_refused() -> None:
    with pytest.raises(InputError, match="'date' and 'opened' both mean opened_on"):
        find_columns(["ticket", "date", "opened", "symptom"], read_column_map())


def test_own_map_stands_before_the_template(tmp_path: Path) -> None:
    (tmp_path / "map.csv").write_text("field,header\nsymptom,Beanstandung\nopened_on,Eingang\n", encoding="utf-8")
    columns = find_columns(["ticket", "Eingang", "Beanstandung", "symptom"], read_column_map(tmp_path / "map.csv"))
    assert columns == {"ticket": "ticket", "opened_on": "Eingang", "symptom": "Beanstandung"}


@pytest.mark.parametrize(("text", "words"), [("a,b\n1,2\n", "is no column map"), ("field,header\nhue,x\n", "'hue'")])
def test_map_that_is_none_is_refused(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "map.csv").write_text(text)
    with pytest.raises(InputError, match=words):
        read_column_map(tmp_path / "map.csv")


def test_template_can_be_read() -> None:
    raw = read_raw(seed_folder() / "ticket_template.csv")
    assert len(raw.frame) == 2
    assert set(find_columns(list(raw.frame.columns), read_column_map()).values()) == set(raw.frame.columns)
