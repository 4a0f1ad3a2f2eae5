"""The one writer of the record.

`append` takes what happened and writes one entry with its rows, or nothing. Everything that can be done before the
lock is done before it; under the lock the rows get their ids, the body is rendered from them and hashed into the tree.
"""

import datetime as dt
import secrets
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import IntegrityError, connection

from pmcore.engines.merkle import leaf_hash
from pmcore.engines.records import Actor
from pmcore.models import Entry, Text
from pmcore.models.base import Fact, Recorded, Thing
from pmcore.models.kinds import KINDS, THINGS, Kind
from pmcore.models.rows import Row
from pmcore.queries.bodies import body, text_digest
from pmcore.queries.columns import BadValue, Fault, moment_wire, take_free_text
from pmcore.queries.head import head
from pmcore.queries.tables import Table, table_of
from pmcore.services.inserts import existing, insert
from pmcore.services.lock import writing
from pmcore.services.refusals import (
    AlreadyReplaced,
    AnotherSubject,
    TooMuchAtOnce,
    UnknownKind,
    UnknownReference,
    conflict_of,
)
from pmcore.services.requests import Receipt, Request, answered

ROWS_AT_ONCE = 2_000


@dataclass(slots=True)
class Draft:
    """What is to become one entry. `subject`: the thing it is about, or the Row that will be it. `replaces`: the facts
    that were recorded wrongly; the rows, if any, say it right."""

    kind: str
    subject: int | Row
    rows: Sequence[Row] = ()
    replaces: Sequence[Fact] = ()
    note: str | None = None


_Wanted = dict[type[Recorded], set[int]]  # the ids that must exist, by table


@dataclass(slots=True)
class _Prepared:
    draft: Draft
    rows: list[tuple[Row, Table, list[Any]]] = field(default_factory=list)
    note: str | None = None
    texts: list[list[Any]] = field(default_factory=list)  # digest, salt, words
    linked: bool = False  # rows refer to one another


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
    """Write the entries in one transaction, all or none; at most 2,000 rows."""
    if sum(len(draft.rows) for draft in drafts) > ROWS_AT_ONCE:
        raise TooMuchAtOnce(f"At most {ROWS_AT_ONCE} rows go into one transaction.")
    wanted: _Wanted = defaultdict(set)
    prepared = [_prepare(draft, wanted) for draft in drafts]
    _check_references(wanted)
    wire_at = _moment(at)
    with writing():
        earlier = answered(actor, request)
        if earlier is not None:
            return [earlier]
        try:
            return _write(prepared, actor, wire_at, request)
        except IntegrityError as error:
            raise conflict_of(error, [Entry, *{t.model for p in prepared for _, t, _ in p.rows}]) from error


def append_in_batches(drafts: Iterable[Draft], *, actor: Actor, at: dt.datetime) -> Iterator[list[Receipt]]:
    """Write any number of entries in transactions of at most 2,000 rows, entries counted among them, and yield each
    one's receipts. An entry is never split; what was yielded stays written when a later batch is refused."""
    batch: list[Draft] = []
    size = 0
    for draft in drafts:
        if batch and size + len(draft.rows) + 1 > ROWS_AT_ONCE:
            yield append_many(batch, actor=actor, at=at)
            batch, size = [], 0
        batch.append(draft)
        size += len(draft.rows) + 1
    if batch:
        yield append_many(batch, actor=actor, at=at)


def _moment(at: dt.datetime) -> str:
    if at.tzinfo is None:
        raise BadValue("entry", "at", "a moment with its zone is wanted")
    return moment_wire(at)


# Before the lock


def _prepare(draft: Draft, wanted: _Wanted) -> _Prepared:
    """Take the values in, salt the free text, note in `wanted` what is referred to."""
    kind = KINDS.get(draft.kind)
    if kind is None:
        raise UnknownKind(f"There is no kind of entry called {draft.kind!r}.")
    if not draft.rows and not draft.replaces:
        raise UnknownKind(f"An entry {draft.kind} without rows says nothing.")
    _check_subject(kind, draft, wanted)
    prepared = _Prepared(draft)
    table: Table | None = None
    for row in draft.rows:
        if table is None or row.model is not table.model:  # rows of one table mostly come together
            table = _table_for(kind, row.model)
            references = [(at, wanted[model]) for at, model in table.references_at]
            subject_at = table.subject_at(kind.subject)
        wire = table.take(row.values)
        if subject_at is not None and wire[subject_at] is not draft.subject and wire[subject_at] != draft.subject:
            raise AnotherSubject(f"An entry about {draft.subject!r} says nothing of {wire[subject_at]!r}.")
        for at in table.free_text_at:
            if wire[at] is not None:
                wire[at] = _salted(prepared, wire[at])
        for at, ids in references:
            value = wire[at]
            if type(value) is int:
                ids.add(value)
            elif value is not None:
                _check_own_row(draft, value)
                prepared.linked = True
        prepared.rows.append((row, table, wire))
    for fact in draft.replaces:
        _check_replaced(kind, draft, fact)
    if draft.note is not None:
        try:
            prepared.note = _salted(prepared, take_free_text(draft.note))
        except Fault as fault:
            raise BadValue("entry", "note", str(fault)) from None
    return prepared


def _table_for(kind: Kind, model: type[Recorded]) -> Table:
    if model not in kind.rows:
        raise UnknownKind(f"An entry {kind.name} holds no row {model.record_name()}.")
    return table_of(model)


def _check_own_row(draft: Draft, row: Row) -> None:
    if not any(row is own for own in draft.rows):
        raise UnknownReference(row.model.record_name(), [])


def _check_replaced(kind: Kind, draft: Draft, fact: Fact) -> None:
    at = _table_for(kind, type(fact)).subject_at(kind.subject)
    if at is not None:
        about = getattr(fact, table_of(type(fact)).columns[at].column)
        if about != draft.subject:
            raise AnotherSubject(f"An entry about {draft.subject!r} replaces nothing said of {about}.")


def _salted(prepared: _Prepared, words: str) -> str:
    salt = secrets.token_bytes(16)
    digest = text_digest(salt, words)
    prepared.texts.append([digest, salt, words])
    return digest


def _check_subject(kind: Kind, draft: Draft, wanted: _Wanted) -> None:
    subject = draft.subject
    if isinstance(subject, Row):
        fits = issubclass(subject.model, Thing) if kind.subject is None else subject.model is kind.subject
        if not fits or not any(subject is row for row in draft.rows):
            raise UnknownKind(f"An entry {kind.name} cannot be about {subject!r}.")
    elif type(subject) is not int:
        raise BadValue("entry", "subject", f"the id of a thing is wanted, not {subject!r}")
    elif kind.subject is not None:
        wanted[kind.subject].add(subject)
    elif not any(thing.objects.filter(pk=subject).exists() for thing in THINGS):
        raise UnknownReference("thing", [subject])


def _check_references(wanted: _Wanted) -> None:
    """Nothing is ever deleted, so what exists before the lock exists under it."""
    for model, ids in wanted.items():
        missing = ids - existing(connection, model._meta.db_table, ids)
        if missing:
            raise UnknownReference(model.record_name(), sorted(missing))


# Under the lock


def _write(batch: list[_Prepared], actor: Actor, at: str, request: Request | None) -> list[Receipt]:
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
        draft = prepared.draft
        replaced = _replace(draft.replaces, seq)
        subject = draft.subject.id if isinstance(draft.subject, Row) else draft.subject
        assert subject is not None
        rendered = []
        for _, table, wire in prepared.rows:
            rendered.append(table.render(wire))
            wire.append(seq)
            rows[table].append(wire)
        leaf = leaf_hash(
            body(
                seq=seq,
                at=at,
                kind=draft.kind,
                subject=subject,
                person=actor.person,
                role=role,
                note=prepared.note,
                rows=rendered,
                replaces=replaced,
            )
        )
        leaves.append(leaf)
        entries.append([seq, at, draft.kind, subject, actor.person, role, prepared.note, last_id, leaf, *_BLANK])
        texts += [[*text, seq] for text in prepared.texts]
        receipts.append(Receipt(seq, subject, first_id, last_id))
    if entries:
        entries[-1][_EDGE_AT] = newest.edge.add(leaves).to_bytes()
        if request is not None:
            entries[0][_EDGE_AT + 1 :] = [request.key, request.digest]
        _insert_all(texts, rows, entries)
    return receipts


def _number(prepared: _Prepared, last_id: int) -> int:
    """Give the rows the next ids of the one counter, and those that refer to them too."""
    for row, table, wire in prepared.rows:
        last_id += 1
        row.id = wire[table.id_at] = last_id
    if prepared.linked:
        for _, table, wire in prepared.rows:
            for at, _ in table.references_at:
                if type(wire[at]) is Row:
                    wire[at] = wire[at].id
    return last_id


def _replace(facts: Sequence[Fact], seq: int) -> list[int]:
    """Mark the facts as replaced; each must still be current. Compare and set, so that one of two corrections wins."""
    if not facts:
        return []
    with connection.cursor() as cursor:
        for fact in facts:
            cursor.execute(
                f'UPDATE "{fact._meta.db_table}" SET replaced_by = %s WHERE id = %s AND replaced_by IS NULL',
                [seq, fact.pk],
            )
            if cursor.rowcount != 1:
                raise AlreadyReplaced(f"{fact.record_name()} {fact.pk} was already replaced.")
    return sorted(fact.pk for fact in facts)


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
