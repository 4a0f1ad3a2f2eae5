"""The one writer of the record.

`append` takes what happened and writes one entry with its rows, or nothing. Everything that can be done before the
lock is done before it (`preparation.py`); under the lock the rows get their ids, the body is rendered from them and
hashed into the tree.
"""

import datetime as dt
import gc
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from typing import Any

from django.db import IntegrityError, connection

from pmcore.engines.merkle import leaf_hash
from pmcore.engines.records import Actor
from pmcore.models import Entry, Text
from pmcore.models.base import Fact
from pmcore.models.kinds import Kind
from pmcore.models.rows import Row
from pmcore.queries.bodies import body
from pmcore.queries.columns import BadValue, take_moment
from pmcore.queries.columns import Fault as BadColumn
from pmcore.queries.head import head
from pmcore.queries.tables import Table, table_of
from pmcore.services.belonging import Owned, belonging
from pmcore.services.inserts import insert
from pmcore.services.lock import writing
from pmcore.services.preparation import ROWS_AT_ONCE, Draft, Prepared, prepare
from pmcore.services.refusals import AlreadyReplaced, AnotherSubject, UnknownReference, conflict_of
from pmcore.services.requests import Receipt, Request, all_answered

__all__ = ["ROWS_AT_ONCE", "Draft", "append", "append_in_batches", "append_many"]


def append(
    kind: str,
    subject: int | Row,
    rows: Sequence[Row] = (),
    *,
    actor: Actor,
    at: dt.datetime,
    replaces: Sequence[Fact] = (),
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """Write one entry. Raises RecordRefused (its subclasses say why), BadValue or RecordBusy; then nothing is written.

    With a `request` that was answered before, nothing is written either and the first receipt comes back.
    """
    draft = Draft(kind, subject, rows, replaces, note)
    return append_many([draft], actor=actor, at=at, request=request)[0]


def append_many(
    drafts: Sequence[Draft], *, actor: Actor, at: dt.datetime, request: Request | None = None
) -> list[Receipt]:
    """Write the entries in one transaction, all or none; at most 2,000 rows. With a `request` that was answered before,
    the receipts of its entries come back."""
    if not isinstance(drafts, list | tuple):
        raise BadValue("entry", "drafts", "a list is wanted")
    prepared = prepare(drafts, actor)
    wire_at = _moment(at)
    with writing():
        earlier = all_answered(actor, request, [draft.kind for draft in drafts])
        if earlier:
            return earlier
        try:
            return _write(prepared, actor, wire_at, request)
        except IntegrityError as error:
            tables = {block.table.model for each in prepared for block in each.blocks}
            raise conflict_of(error, [Entry, *tables]) from error


def append_in_batches(drafts: Iterable[Draft], *, actor: Actor, at: dt.datetime) -> Iterator[list[Receipt]]:
    """Write any number of entries in transactions of at most 2,000 rows, entries counted among them, and yield each
    one's receipts. An entry is never split; what was yielded stays written when a later batch is refused."""
    source, waiting = iter(drafts), None
    while True:
        with _not_collecting():
            batch, waiting = _next_batch(waiting, source)
            receipts = append_many(batch, actor=actor, at=at) if batch else []
        if not batch:
            return
        yield receipts


def _next_batch(first: Draft | None, source: Iterator[Draft]) -> tuple[list[Draft], Draft | None]:
    """As many drafts as fit into one transaction, and the one after them."""
    batch: list[Draft] = []
    size = 0
    for draft in source if first is None else chain([first], source):
        size += len(draft.rows) + 1
        if batch and size > ROWS_AT_ONCE:
            return batch, draft
        batch.append(draft)
    return batch, None


@contextmanager
def _not_collecting() -> Iterator[None]:
    """The rows of a batch hold no cycles, and all of them live until it is written: to look for garbage among them
    again and again costs a quarter of the time."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def _moment(at: dt.datetime) -> str:
    try:
        return take_moment(at)
    except BadColumn as fault:
        raise BadValue("entry", "at", str(fault)) from None


# Under the lock


def _write(batch: list[Prepared], actor: Actor, at: str, request: Request | None) -> list[Receipt]:
    newest = head()
    seq, last_id = newest.size, newest.last_id
    receipts: list[Receipt] = []
    leaves: list[bytes] = []
    entries: list[list[Any]] = []
    rows: dict[Table, list[list[Any]]] = defaultdict(list)
    texts: list[list[Any]] = []
    role = str(actor.role)
    for prepared in batch:
        seq += 1
        first_id = last_id + 1
        last_id = _number(prepared, last_id)
        draft, note = prepared.draft, prepared.note
        subject = draft.subject.id if isinstance(draft.subject, Row) else draft.subject
        assert subject is not None
        replaced = _replace(prepared.kind, draft.replaces, subject, seq)
        rendered: list[str] = []
        for block in prepared.blocks:
            rendered += block.table.render_all(block.wires)
            for wire in block.wires:
                wire.append(seq)
            rows[block.table] += block.wires
        leaf = leaf_hash(
            body(
                seq=seq, at=at, kind=prepared.kind.name, subject=subject, person=actor.person, role=role, note=note,
                rows=rendered, replaces=replaced,
            )
        )  # fmt: skip
        leaves.append(leaf)
        entries.append([seq, at, prepared.kind.name, subject, actor.person, role, note, last_id, leaf, *_BLANK])
        texts += [[*text, seq] for text in prepared.texts]
        receipts.append(Receipt(seq, subject, first_id, last_id))
    if entries:
        entries[-1][_EDGE_AT] = newest.edge.add(leaves).to_bytes()
        if request is not None:
            entries[0][_EDGE_AT + 1 :] = [request.key, request.digest]
        _insert_all(texts, rows, entries)
    return receipts


def _number(prepared: Prepared, last_id: int) -> int:
    """Give the rows the next ids of the one counter, and those that refer to them too."""
    for block in prepared.blocks:
        id_at = block.table.id_at
        for row, wire in zip(block.rows, block.wires, strict=True):
            last_id += 1
            row.id = wire[id_at] = last_id
    for block in prepared.blocks:
        for at in block.linked:
            for wire in block.wires:
                if type(wire[at]) is Row:
                    wire[at] = wire[at].id
    return last_id


def _replace(kind: Kind, facts: Sequence[Fact], subject: int, seq: int) -> list[int]:
    """Mark the facts as replaced; each must be the subject's and still current. Compare and set, so that one of two
    corrections wins, and nothing that the caller holds is believed."""
    if not facts:
        return []
    with connection.cursor() as cursor:
        for fact in facts:
            model = type(fact)
            table, of_subject = model._meta.db_table, _of_subject(kind, model)
            cursor.execute(
                f'UPDATE "{table}" SET replaced_by = %s WHERE id = %s AND replaced_by IS NULL AND {of_subject}',
                [seq, fact.pk, subject],
            )
            if cursor.rowcount != 1:
                raise _why_not_replaced(model, fact.pk, subject)
    return sorted(fact.pk for fact in facts)


def _of_subject(kind: Kind, model: type[Fact]) -> str:
    """The condition that a fact of the table is the subject's, given as the one parameter."""
    table = table_of(model)
    about = belonging(kind, table).about
    assert about is not None
    if not isinstance(about, Owned):
        return f'"{table.columns[about].column}" = %s'
    things = about.model._meta.db_table
    return f'"{table.columns[about.at].column}" IN (SELECT id FROM "{things}" WHERE "{about.owner}" = %s)'


def _why_not_replaced(model: type[Fact], which: int, subject: int) -> Exception:
    name, stored = model.record_name(), model.objects.filter(pk=which).first()
    if stored is None:
        return UnknownReference(name, [which])
    if stored.replaced_by is not None:
        return AlreadyReplaced(f"{name} {which} was already replaced.")
    return AnotherSubject(f"An entry about {subject} does not replace {name} {which}, which is said of something else.")


_ENTRY_COLUMNS = [
    "seq",
    "at",
    "kind",
    "subject",
    "person",
    "role",
    "note_id",
    "last_id",
    "leaf",
    "edge",
    "request_key",
    "request_digest",
]
_EDGE_AT = _ENTRY_COLUMNS.index("edge")
_BLANK = (None, None, None)  # edge, request_key, request_digest


def _insert_all(texts: list[list[Any]], rows: dict[Table, list[list[Any]]], entries: list[list[Any]]) -> None:
    if texts:
        insert(connection, Text._meta.db_table, ["digest", "salt", "words", "entry"], texts)
    for table, wires in rows.items():
        columns = [*(column.column for column in table.columns), "entry"]
        insert(connection, table.model._meta.db_table, columns, wires)
    insert(connection, Entry._meta.db_table, _ENTRY_COLUMNS, entries)
