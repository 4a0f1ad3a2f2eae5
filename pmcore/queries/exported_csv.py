"""An entry as a line of an export's CSV."""

from collections.abc import Iterable

CSV_HEADING = "seq,at,kind,subject,person,role,note,replaces,rows"


def csv_line(head: bytes, body: bytes, replaces: Iterable[int] = ()) -> bytes:
    """`head`: the columns up to the note. The rows stand as in the body. Nothing in it is a formula: numbers, our own
    vocabularies, hashes, and rows, which begin with a bracket."""
    rows = body[body.index(b'"rows":[') + 7 : body.rindex(b',"seq":')].replace(b'"', b'""')
    return b'%b,%b,"%b"\r\n' % (head, " ".join(map(str, replaces)).encode() if replaces else b"", rows)
