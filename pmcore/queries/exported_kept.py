"""Entries as an export shows them, out of what was rendered before. Their leaves must be those that were recorded."""

from collections.abc import Sequence
from hashlib import sha256

from pmcore.queries.bodies import json_int, moment_text
from pmcore.queries.exported_run import Chosen, Run, texts_of
from pmcore.queries.raw import EntryRow, entries_between, leaves_joined
from pmcore.queries.rendered import Rendered

Kept = tuple[Sequence[int], Run | None]
"""The numbers that were chosen, and their run; None: what was rendered is not what was recorded."""


def from_kept(first: int, last: int, rendered: Rendered, chosen: Chosen | None) -> Kept:
    """Of the entries from `first` to `last` those that are `chosen`; None: all."""
    return _all(range(first, last + 1), rendered) if chosen is None else _some(range(first, last + 1), rendered, chosen)


def _all(seqs: range, rendered: Rendered) -> Kept:
    leaves = leaves_joined(seqs[0], seqs[-1])
    if sha256(leaves).digest() != rendered.leaves_hash:
        return seqs, None
    return seqs, Run(leaves, seqs, rendered.ndjson, rendered.csv, texts_of(seqs), rendered.root)


def _some(seqs: range, rendered: Rendered, chosen: Chosen) -> Kept:
    entries = entries_between(seqs[0], seqs[-1])
    picked = [entry.seq for entry in entries if chosen(entry)]
    leaves = b"".join(entry.leaf for entry in entries if type(entry.leaf) is bytes)
    bodies = rendered.ndjson.split(b"\n")
    # By what an entry was chosen must be what was recorded, also where it was not chosen.
    if sha256(leaves).digest() != rendered.leaves_hash or not all(map(_is_of, entries, bodies)):
        return picked, None
    lines = rendered.csv.split(b"\r\n") if picked else []
    ndjson = b"".join(bodies[seq - seqs[0]] + b"\n" for seq in picked)
    csv = b"".join(lines[seq - seqs[0]] + b"\r\n" for seq in picked)
    return picked, Run(leaves, picked, ndjson, csv, texts_of(picked), rendered.root)


def _is_of(entry: EntryRow, body: bytes) -> bool:
    """Whether moment, kind, number and subject are those of the body."""
    try:
        begins = f'{{"at":"{moment_text(entry.at)}","kind":"{entry.kind}",'
        ends = f',"seq":{entry.seq},"subject":{json_int(entry.subject)}}}'
    except TypeError:
        return False
    return body.startswith(begins.encode(errors="replace")) and body.endswith(ends.encode())
