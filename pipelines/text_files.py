"""Bytes of a text table -> decoded text -> rows with physical line numbers; rubbish is refused in a sentence."""

import codecs
import csv
import io
import re
from collections.abc import Iterator
from itertools import chain, islice

import charset_normalizer

from analytics.errors import InputError

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
# Encodings a spreadsheet or an old office program writes; guessing among all that exist finds nonsense.
LIKELY_ENCODINGS = ["cp1252", "cp1250", "cp850", "cp437", "mac_roman", "iso8859_2", "latin_1"]
ENCODING_SAMPLE_BYTES = 200_000
BINARY_SAMPLE_BYTES = 100_000
# Longest cell; a longer one is a lost quote or no table.
LONGEST_CELL = 100_000
SNIFFED_ROWS = 200

_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_SAVE_AGAIN = "Save the table again as CSV UTF-8 or XLSX."
# A last row of our own: it comes out as it went in unless a quote was still open.
_SENTINEL = "end-of-table\x1e"


def decode_text(data: bytes, name: str) -> tuple[str, str]:
    """Text of a file and the encoding it was read as; InputError for pictures, web pages and damaged text."""
    text, encoding = _decode(data, name)
    _refuse_markup(text, name)
    return text, encoding


def find_delimiter(text: str, name: str) -> str:
    """The sign between cells. A first line "sep=;" decides; else the sign that cuts the header and most rows alike."""
    first_line = text[:10].split("\n", 1)[0].rstrip("\r")
    if first_line.lower().startswith("sep=") and first_line[4:5] in DELIMITERS:
        return first_line[4:5]
    scores = {sign: _delimiter_score(text, sign) for sign in DELIMITERS}
    best = max(scores, key=lambda sign: scores[sign])
    rivals = [sign for sign in scores if scores[sign] == scores[best] and scores[sign] > 0]
    if len(rivals) > 1:
        words = " or ".join(DELIMITERS[sign] for sign in rivals)
        raise InputError(f"In '{name}' the cells could be separated by {words}. {_SAVE_AGAIN}")
    return best


def read_rows(text: str, delimiter: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """(physical line where the row starts, cells) of every row that is not blank; the first is the header.

    Raises
    ------
    InputError
        For a quote that is never closed, one that swallows whole rows, and a cell beyond `LONGEST_CELL`.
    """
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(chain(_lines(text), [_SENTINEL]), delimiter=delimiter)
    line, width = 1, 0
    try:
        for cells in reader:
            if cells == [_SENTINEL]:
                return
            last_line = reader.line_num
            if cells and cells[-1].endswith(_SENTINEL):
                raise InputError(_open_quote(name, line, "it is never closed"))
            if any(cell and not cell.isspace() for cell in cells) and not _is_separator_line(line, cells):
                width = width or len(cells)
                if last_line > line + 1 and _swallows_rows(cells, delimiter, width):
                    raise InputError(_open_quote(name, line, f"it closes in line {last_line} and swallows rows"))
                yield line, cells
            line = last_line + 1
    except csv.Error:
        reason = f"line {line} of '{name}' holds a cell of more than {LONGEST_CELL:,} characters"
        raise InputError(f"{reason}. Shorten it, or close the double quote that was left open there.") from None


def _lines(text: str) -> Iterator[str]:
    """Physical lines with their ends; `splitlines` would also cut at signs that are no line end to an editor."""
    return iter(io.StringIO(text, newline=""))


def _is_separator_line(line: int, cells: list[str]) -> bool:
    return line == 1 and cells[0].lower().startswith("sep=") and len(cells) <= 2


def _open_quote(name: str, line: int, what: str) -> str:
    return f"Line {line} of '{name}' opens a double quote (\"): {what}. Correct that line and read the file again."


def _swallows_rows(cells: list[str], delimiter: str, width: int) -> bool:
    """Whether a cell of several lines holds lines that look like rows of this table."""
    inner = [line for cell in cells for line in cell.splitlines()[1:-1] if line.strip()]
    return width >= 3 and bool(inner) and all(line.count(delimiter) >= width - 1 for line in inner)


def _delimiter_score(text: str, delimiter: str) -> float:
    """Cells in the header times the share of sampled rows as wide as the header; 0 for a single column."""
    csv.field_size_limit(LONGEST_CELL)
    try:
        rows = islice(csv.reader(_lines(text), delimiter=delimiter), SNIFFED_ROWS)
        widths = [len(cells) for cells in rows if any(cells)]
    except csv.Error:
        return 0.0
    if not widths or widths[0] < 2:
        return 0.0
    return widths[0] * widths.count(widths[0]) / len(widths)


def _decode(data: bytes, name: str) -> tuple[str, str]:
    for mark, encoding in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return _decode_marked(data, encoding, name), encoding.removesuffix("-sig")
    _refuse_binary(data, name)
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        _refuse_damaged_utf8(data, error, name)
        return _decode_guessed(data, name)


def _decode_marked(data: bytes, encoding: str, name: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise InputError(
            f"'{name}' says it is {encoding.removesuffix('-sig').upper()}, but line {line} is not. {_SAVE_AGAIN}"
        ) from None


def _refuse_damaged_utf8(data: bytes, error: UnicodeDecodeError, name: str) -> None:
    """InputError for text that is UTF-8 almost everywhere: read as anything else, its good part would be spoilt."""
    text = data.decode("utf-8", errors="replace")
    good, bad = sum(sign > "\x7f" and sign != "\ufffd" for sign in text), text.count("\ufffd")
    if good >= bad:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(f"'{name}' is UTF-8 text, but line {line} holds bytes that are not. {_SAVE_AGAIN}")


def _decode_guessed(data: bytes, name: str) -> tuple[str, str]:
    # The guess needs only what is not plain ASCII, with its surroundings; a large file is judged by its first part.
    first_odd = next(at for at in range(len(data)) if data[at] > 127)
    sample = data[max(0, first_odd - 1000) : first_odd + ENCODING_SAMPLE_BYTES]
    guesses = charset_normalizer.from_bytes(sample, cp_isolation=LIKELY_ENCODINGS)
    found = {encoding: guess.chaos for guess in reversed(guesses) for encoding in guess.could_be_from_charset}
    # Of equally orderly readings the one that is most used: the order of LIKELY_ENCODINGS.
    likely = sorted((e for e in LIKELY_ENCODINGS if e in found), key=lambda encoding: found[encoding])
    for encoding in [*likely, "cp1252"]:
        try:
            return data.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise InputError(f"'{name}' is not readable as text. {_SAVE_AGAIN}")


def _refuse_binary(data: bytes, name: str) -> None:
    control = re.findall(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]", data[:BINARY_SAMPLE_BYTES])
    if len(control) > 5 or b"\x00" in data[:BINARY_SAMPLE_BYTES]:
        raise InputError(f"'{name}' is not a table: it holds bytes that are no text, like a picture. {_SAVE_AGAIN}")


def _refuse_markup(text: str, name: str) -> None:
    if text.lstrip()[:1] == "<":
        raise InputError(f"'{name}' is a web page or XML, not a table. {_SAVE_AGAIN}")
