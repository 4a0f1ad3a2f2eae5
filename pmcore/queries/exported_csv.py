"""An entry as a line of an export's CSV."""

import json
from functools import lru_cache

CSV_HEADING = "seq,at,kind,subject,person,role,note,replaces,rows"
CSV_FORM = "pmcore-csv-1"
"""Another one when `csv_line` comes to write otherwise: lines are kept, and those of an older form are not taken."""


def csv_line(body: bytes) -> bytes:
    """The rows stand as in the body. Nothing in the line is a formula: numbers, our own vocabularies, hashes, and rows,
    which begin with a bracket. No text holds a bare quotation mark, so that the names are found only where they are."""
    rows, rest = body.index(b'"rows":['), body.rindex(b',"seq":')
    before, after = _around_the_subject(body[:rows])
    seq, _, subject = body[rest + 7 : -1].partition(b',"subject":')
    return b'%b,%b,%b,%b,"%b"\r\n' % (seq, before, subject, after, body[rows + 7 : rest].replace(b'"', b'""'))


@lru_cache(maxsize=4096)  # entries that are written together mostly share it
def _around_the_subject(head: bytes) -> tuple[bytes, bytes]:
    """From the body up to its rows."""
    told = json.loads(head.removesuffix(b",") + b"}")
    replaced = " ".join(map(str, told.get("replaces", ())))
    after = f"{told.get('person', '')},{told['role']},{told.get('note', '')},{replaced}"
    return f"{told['at']},{told['kind']}".encode(), after.encode()
