"""Rows as a file that a spreadsheet opens, and that does nothing there."""

import csv
from collections.abc import Iterable, Iterator, Sequence

from django.http import StreamingHttpResponse

from pmcore.engines.csv_cells import harmless


class _Line:
    """What the writer writes to: it hands each line back."""

    def write(self, line: str) -> str:
        return line


def csv_response(name: str, heading: Sequence[str], rows: Iterable[Sequence[object]]) -> StreamingHttpResponse:
    """UTF-8 with a mark at its start, so that spreadsheets read it as such; line by line."""
    response = StreamingHttpResponse(_lines(heading, rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _lines(heading: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    writer = csv.writer(_Line())
    yield "\ufeff" + writer.writerow(heading)
    for row in rows:
        yield writer.writerow([harmless(cell) for cell in row])
