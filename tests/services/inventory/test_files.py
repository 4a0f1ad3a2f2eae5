"""A table is read line by line, or refused with the line and the reason; nothing is guessed."""

import csv
import datetime as dt
import zipfile
from pathlib import Path

import openpyxl
import pytest

from pmcore.services.inventory import files
from pmcore.services.inventory.columns import delimiter_finder
from pmcore.services.inventory.files import UnreadableFile, read_lines

HEADING = "serial number,maker,model,site,area"


def lines(path: Path, encoding: str = "utf-8", delimiter: str | None = None) -> list[tuple[int, list[str]]]:
    found = read_lines(path, encoding=encoding, delimiter=delimiter_finder(delimiter, {}))
    return [(line.number, [cell.text for cell in line.cells]) for line in found]


def a_file(folder: Path, content: bytes | str, name: str = "in.csv") -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_the_delimiter_is_found_in_the_heading(tmp_path, sign):
    path = a_file(tmp_path, f"{HEADING}\nS-1,Orvane,Marl,AG,Ward".replace(",", sign))
    assert lines(path)[1] == (2, ["S-1", "Orvane", "Marl", "AG", "Ward"])


def test_a_mark_at_the_beginning_is_no_part_of_a_name(tmp_path):
    assert lines(a_file(tmp_path, "\ufeff" + HEADING))[0][1][0] == "serial number"


def test_another_encoding_is_named_and_read(tmp_path):
    path = a_file(tmp_path, f"{HEADING}\nS-1,Orvané,Marl,AG,Ward".encode("cp1252"))
    with pytest.raises(UnreadableFile, match=r"Line 2 holds bytes that are no utf-8: .*--encoding cp1252"):
        lines(path)
    assert lines(path, "cp1252")[1][1][1] == "Orvané"


def test_a_line_break_in_quotes_keeps_the_count(tmp_path):
    path = a_file(tmp_path, f'{HEADING}\n"S\n1",a,b,c,d\nS-2,a,b,c,d')
    assert [number for number, _ in lines(path)] == [1, 2, 4]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "is empty"),
        (f'{HEADING}\n"S-1,a,b,c,d', "Line 2 cannot be read: a quotation mark that is opened there is not closed"),
        (
            f'{HEADING}\n"S-1,a,b,c,d\n' + "x,y\n" * 400 + '"',
            "Line 2 .* longer than 1,000 characters and goes over several lines; is a quotation mark not closed",
        ),
        (
            f'{HEADING}\n"S-1,a,b,c,d\n' + "x,y\n" * 40_000,
            "Line 2 .* longer than 1,000 characters and goes over several lines; is a quotation mark not closed",
        ),
        (f"{HEADING}\n{'S' * 1_001},a,b,c,d", r"Line 2 cannot be read: a cell is longer than 1,000 characters\.$"),
        (f'{HEADING}\n"S"x,a,b,c,d', "Line 2 cannot be read: something stands behind a closing quotation mark"),
        ("one,two,three\n1,2,3", "holds no heading of ours"),
        (b"PK\x03\x04rest", "is a workbook by its content"),
    ],
)
def test_a_file_that_is_no_table_of_ours(tmp_path, content, says):
    with pytest.raises(UnreadableFile, match=says):
        lines(a_file(tmp_path, content))


def test_there_is_no_such_encoding_or_file(tmp_path):
    with pytest.raises(UnreadableFile, match="no encoding called"):
        lines(a_file(tmp_path, HEADING), "utf-ate")
    with pytest.raises(UnreadableFile, match="cannot be read"):
        lines(tmp_path / "none.csv")


@pytest.mark.parametrize("name", ["undefined", "idna", "punycode", "hex", "utf\x008", "mbcs"])
def test_what_is_no_encoding_of_files_is_named(tmp_path, name):
    with pytest.raises(UnreadableFile, match="no encoding called"):
        lines(a_file(tmp_path, HEADING + "\nS-1,a,b,c,d"), name)


def test_reading_leaves_other_readers_as_they_were(tmp_path):
    before = csv.field_size_limit()
    for _ in read_lines(a_file(tmp_path, HEADING), encoding="utf-8", delimiter=delimiter_finder(None, {})):
        assert csv.field_size_limit() == before


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(UnreadableFile, match="is no file"):
        lines(tmp_path)


@pytest.mark.parametrize("codec", ["utf-16", "utf-16-le"])
def test_text_in_utf_16_is_read_where_it_is_said(tmp_path, codec):
    path = a_file(tmp_path, f"{HEADING}\nS-1,a,b,c,d".encode(codec))
    with pytest.raises(UnreadableFile):
        lines(path)
    assert lines(path, codec)[1] == (2, ["S-1", "a", "b", "c", "d"])
    with pytest.raises(UnreadableFile, match="is not written in utf-16"):
        lines(a_file(tmp_path, HEADING), "utf-16")


def test_a_file_that_is_too_large_or_too_long(tmp_path, monkeypatch):
    path = a_file(tmp_path, HEADING + "\nS,a,b,c,d" * 10)
    monkeypatch.setattr(files, "MOST_LINES", 5)
    with pytest.raises(UnreadableFile, match="more than 5 lines"):
        lines(path)
    monkeypatch.setattr(files, "MOST_BYTES", 20)
    with pytest.raises(UnreadableFile, match="divide it into several files"):
        lines(path)


def a_workbook(folder: Path, *rows: list[object]) -> Path:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    path = folder / "in.xlsx"
    book.save(path)
    return path


def test_a_workbook_gives_text_dates_and_numbers(tmp_path):
    path = a_workbook(tmp_path, HEADING.split(","), [4711, "Orvane", 2.5, dt.date(2026, 5, 6), None])
    _, line = read_lines(path, encoding="utf-8", delimiter=delimiter_finder(None, {}))
    assert [cell.text for cell in line.cells] == ["4711", "Orvane", "2.5", "2026-05-06", ""]
    assert [cell.day for cell in line.cells] == [None, None, None, dt.date(2026, 5, 6), None]
    assert [cell.is_number for cell in line.cells] == [True, False, True, False, False]


def test_a_formula_of_a_workbook_is_not_evaluated(tmp_path):
    _, line = read_lines(
        a_workbook(tmp_path, HEADING.split(","), ["=1+1"]), encoding="utf-8", delimiter=delimiter_finder(None, {})
    )
    assert line.cells[0].fault == "it holds a formula; put its value in its place"


@pytest.mark.parametrize("stated", ["A1", "A1:E2", "A1:B3", "Z9:Z9"])
def test_lines_beyond_the_size_that_a_workbook_states_are_read(tmp_path, stated):
    whole = a_workbook(tmp_path, HEADING.split(","), *([f"S-{n}", "a", "b", "c", "d"] for n in range(4)))
    other = tmp_path / "other.xlsx"
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(other, "w") as target:
        for part in source.namelist():
            content = source.read(part)
            if part.endswith("sheet1.xml"):
                assert b'<dimension ref="A1:E5"' in content
                content = content.replace(b'ref="A1:E5"', f'ref="{stated}"'.encode())
            target.writestr(part, content)
    assert lines(other) == lines(whole)
    assert lines(other)[4] == (5, ["S-3", "a", "b", "c", "d"])


def test_a_time_of_day_is_not_dropped(tmp_path):
    late = dt.datetime(2026, 5, 6, 23, 30)  # noqa: DTZ001
    path = a_workbook(tmp_path, HEADING.split(","), [late, dt.time(7, 30), dt.datetime(2026, 5, 6), "c", "d"])  # noqa: DTZ001
    _, line = read_lines(path, encoding="utf-8", delimiter=delimiter_finder(None, {}))
    assert ["time of day" in (cell.fault or "") for cell in line.cells] == [True, True, False, False, False]
    assert line.cells[2].day == dt.date(2026, 5, 6)


def test_broken_workbooks(tmp_path):
    whole = a_workbook(tmp_path, HEADING.split(","), ["S-1"]).read_bytes()
    for content in (b"no archive at all", whole[: len(whole) // 2]):
        with pytest.raises(UnreadableFile, match="is no workbook, or only a part of one"):
            lines(a_file(tmp_path, content, "broken.xlsx"))
    with zipfile.ZipFile(tmp_path / "other.xlsx", "w") as archive:
        archive.writestr("hello.txt", "no sheet")
    with pytest.raises(UnreadableFile, match="is no workbook that can be read"):
        lines(tmp_path / "other.xlsx")


def test_a_workbook_that_would_unpack_to_very_much(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "MOST_UNPACKED_BYTES", 1_000)
    with pytest.raises(UnreadableFile, match="would unpack to"):
        lines(a_workbook(tmp_path, HEADING.split(",")))
