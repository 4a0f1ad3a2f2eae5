"""Tables in files, line by line: text with delimiters, and workbooks. Nothing is guessed, nothing is evaluated."""

import csv
import datetime as dt
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
MOST_BYTES = 64 * 2**20
MOST_UNPACKED_BYTES = 512 * 2**20
MOST_LINES = 250_000
LONGEST_CELL = 1_000

_FORMULA = "it holds a formula; put its value in its place"


class UnreadableFile(ValueError):
    """The file is no table that can be read; the words say why, and where."""


@dataclass(frozen=True, slots=True)
class Cell:
    """`day`: what a workbook holds as a date; `fault`: why it cannot be taken; `is_number`: a workbook's number."""

    text: str
    day: dt.date | None = None
    fault: str | None = None
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """`number` as an editor or a spreadsheet counts it."""

    number: int
    cells: tuple[Cell, ...]

    @property
    def is_empty(self) -> bool:
        return not any(cell.text for cell in self.cells)


FindsDelimiter = Callable[[str], str]
"""From the heading's text to the delimiter; raises UnreadableFile."""


def read_lines(path: Path, *, encoding: str, delimiter: FindsDelimiter) -> Iterator[Line]:
    """The heading first. Raises UnreadableFile, also midway: what was yielded before is sound."""
    try:
        size = path.stat().st_size
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be read: {error.strerror}.") from error
    if not path.is_file():
        raise UnreadableFile(f"{path} is no file.")
    if size > MOST_BYTES:
        raise UnreadableFile(
            f"{path.name} has {size / 2**20:.0f} MB, more than {MOST_BYTES // 2**20}: divide it into several files."
        )
    if size == 0:
        raise UnreadableFile(f"{path.name} is empty.")
    lines = _of_workbook(path) if path.suffix.lower() == ".xlsx" else _of_text(path, encoding, delimiter)
    for count, line in enumerate(lines):
        if count > MOST_LINES:
            raise UnreadableFile(f"There are more than {MOST_LINES:,} lines: divide the file into several.")
        yield line


def _of_text(path: Path, encoding: str, delimiter: FindsDelimiter) -> Iterator[Line]:
    try:
        "tag".encode(encoding).decode(encoding, "surrogateescape")
    except (LookupError, ValueError):
        raise UnreadableFile(
            f"There is no encoding called {encoding!r} that files are written in; utf-8 or cp1252, for instance."
        ) from None
    codec = "utf-8-sig" if encoding.lower().replace("_", "-") in {"utf-8", "utf8"} else encoding
    with path.open(encoding=codec, errors="surrogateescape", newline="") as file:
        try:
            first = file.readline(100_000)
        except UnicodeError as error:
            raise UnreadableFile(f"{path.name} is not written in {encoding}: {_short(error)}.") from error
        if "\x00" in first:
            raise UnreadableFile(f"{path.name} is not written in {encoding}; utf-16, perhaps? Say it with --encoding.")
        if first.startswith("PK\x03\x04"):
            raise UnreadableFile(f"{path.name} is a workbook by its content: let its name end with .xlsx.")
        _check_text(first, 1, encoding)
        found = delimiter(first)
        file.seek(0)
        yield from _rows(csv.reader(file, delimiter=found, strict=True), encoding)


def _rows(reader: Any, encoding: str) -> Iterator[Line]:
    while True:
        begins = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise UnreadableFile(f"Line {begins} cannot be read: {_cause(str(error))}") from error
        except UnicodeError as error:
            raise UnreadableFile(f"Line {begins} is not written in {encoding}: {_short(error)}.") from error
        _check_text("".join(row), begins, encoding)
        longest = max(row, key=len, default="")
        if len(longest) > LONGEST_CELL:
            raise UnreadableFile(f"Line {begins} cannot be read: {_too_long(longest)}")
        yield Line(begins, tuple(Cell(text.strip(), fault=_formula(text)) for text in row))


def _cause(error: str) -> str:
    """What the reader of the standard library found, in words that help."""
    if "unexpected end of data" in error:
        return "a quotation mark that is opened there is not closed."
    if "expected after" in error:
        return "something stands behind a closing quotation mark; a mark within a cell is written twice."
    return _too_long("\n") if "field larger" in error else f"{error}."


def _too_long(cell: str) -> str:
    """One that goes over several lines was perhaps not meant to."""
    said = f"a cell is longer than {LONGEST_CELL:,} characters"
    return f"{said} and goes over several lines; is a quotation mark not closed?" if "\n" in cell else f"{said}."


def _formula(text: str) -> str | None:
    return _FORMULA if text.lstrip().startswith(("=", "@")) else None


def _check_text(text: str, line: int, encoding: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise UnreadableFile(
            f"Line {line} holds bytes that are no {encoding}: say the file's encoding, as in --encoding cp1252."
        ) from None


# Workbooks


def _of_workbook(path: Path) -> Iterator[Line]:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    _check_archive(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=False)
    except (InvalidFileException, KeyError, ValueError, OSError, zipfile.BadZipFile, SyntaxError) as error:
        raise UnreadableFile(f"{path.name} is no workbook that can be read: {_short(error)}.") from error
    try:
        if not book.worksheets:
            raise UnreadableFile(f"{path.name} has no sheet with cells.")
        sheet = book.worksheets[0]
        cast(Any, sheet).reset_dimensions()  # a size that the file states wrongly would cut lines off unseen
        rows = sheet.iter_rows()
        number = width = 0
        while True:
            number += 1
            try:
                row = next(rows)
            except StopIteration:
                return
            except Exception as error:  # whatever the parser stumbles over in a damaged sheet
                raise UnreadableFile(f"{path.name} is damaged at line {number}: {_short(error)}.") from error
            cells = _without_tail(tuple(_cell(cell) for cell in row))
            width = width or len(cells)
            yield Line(number, cells + (Cell(""),) * (width - len(cells)))
    finally:
        book.close()


def _check_archive(path: Path) -> None:
    """A workbook is an archive; one that unpacks to a multiple of what it weighs is refused before it is unpacked."""
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(part.file_size for part in archive.infolist())
    except (zipfile.BadZipFile, OSError) as error:
        raise UnreadableFile(f"{path.name} is no workbook, or only a part of one: {_short(error)}.") from error
    if unpacked > MOST_UNPACKED_BYTES:
        raise UnreadableFile(f"{path.name} would unpack to {unpacked / 2**20:.0f} MB: save it as CSV in several files.")


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return Cell("")
    if getattr(cell, "data_type", "") == "f":
        return Cell(str(value), fault=_FORMULA)
    if getattr(cell, "data_type", "") == "e":
        return Cell(str(value), fault=f"it holds the error {value}")
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return Cell(value.date().isoformat(), day=value.date())
    if isinstance(value, dt.datetime | dt.time | dt.timedelta):
        return Cell(str(value), fault="it holds a time of day; put a day or plain text in its place")
    if isinstance(value, dt.date):
        return Cell(value.isoformat(), day=value)
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, int):
        return Cell(str(value), is_number=True)
    if isinstance(value, float):
        whole = value.is_integer() and abs(value) < 10**15
        return Cell(str(int(value)) if whole else str(value), is_number=True)
    text = str(value).strip()
    return Cell(text, fault=f"it is longer than {LONGEST_CELL} characters" if len(text) > LONGEST_CELL else None)


def _without_tail(cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
    """Spreadsheets hand over empty cells behind the last column, or leave out those of a line that ends early."""
    end = len(cells)
    while end and not cells[end - 1].text:
        end -= 1
    return cells[:end]


def _short(error: Exception) -> str:
    return str(error).splitlines()[0][:120] if str(error) else type(error).__name__
