"""What the writer does before it takes the lock: values taken in, references looked up, everything refused that can be.

Things never change and nothing is deleted, so what was found here still holds under the lock.
"""

import secrets
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from operator import attrgetter
from typing import Any, TypeGuard

from django.db import connection

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Person
from pmcore.models.base import Fact, Recorded, Thing
from pmcore.models.kinds import KINDS, THINGS, Kind
from pmcore.models.rows import Row
from pmcore.queries.bodies import SALT_BYTES, text_digest
from pmcore.queries.columns import MAX_INT, BadValue, Fault, shown, take_free_text
from pmcore.queries.tables import Table, table_of
from pmcore.services.belonging import Belonging, Owned, belonging
from pmcore.services.inserts import existing, owners
from pmcore.services.refusals import (
    AnotherSubject,
    NotOfThisEntry,
    RowTwice,
    TooMuchAtOnce,
    UnknownKind,
    UnknownReference,
)

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


@dataclass(slots=True)
class Block:
    """Rows of one table that come one after another, and their values in wire form."""

    table: Table
    rows: list[Row]
    wires: list[list[Any]]
    linked: tuple[int, ...] = ()  # columns that hold rows of the same entry


@dataclass(slots=True)
class Prepared:
    """A draft with its values in wire form. `texts`: digest, salt and words of each."""

    draft: Draft
    kind: Kind
    blocks: list[Block] = field(default_factory=list)
    note: str | None = None
    texts: list[list[Any]] = field(default_factory=list)


class _Wanted:
    """What the rows refer to and must be in the record: `ids` by table, and `owned` by table and owner column, with
    the subject that each must belong to."""

    def __init__(self) -> None:
        self.ids: dict[type[Recorded], set[int]] = defaultdict(set)
        self.owned: dict[tuple[type[Recorded], str], dict[int, int]] = defaultdict(dict)

    def belongs(self, owned: Owned, thing: int, subject: int | Row) -> None:
        """Raises AnotherSubject at once where no look-up could help: to a new subject nothing belongs yet, and one
        thing to one subject alone."""
        if isinstance(subject, Row) or self.owned[owned.model, owned.owner].setdefault(thing, subject) != subject:
            raise AnotherSubject(f"The {owned.model.record_name()} {thing} is not one of {subject!r}.")

    def check(self) -> None:
        """One statement for each table. Raises UnknownReference, AnotherSubject."""
        for (model, column), subjects in self.owned.items():
            found = owners(connection, model._meta.db_table, column, subjects.keys())
            _check_there(model, subjects.keys() - found.keys())
            for thing, subject in subjects.items():
                if found[thing] != subject:
                    raise AnotherSubject(f"The {model.record_name()} {thing} is one of {found[thing]}, not {subject}.")
        for model, ids in self.ids.items():
            _check_there(model, ids - existing(connection, model._meta.db_table, ids))


def prepare(drafts: Sequence[Draft], actor: Actor) -> list[Prepared]:
    """Take the values of all drafts in, salt the free text, look up what is referred to.

    Raises RecordRefused (its subclasses say why) or BadValue.
    """
    for draft in drafts:
        _check_shape(draft)
    every = [row for draft in drafts for row in draft.rows]
    if len(every) > ROWS_AT_ONCE:
        raise TooMuchAtOnce(f"At most {ROWS_AT_ONCE} rows go into one transaction.")
    if len(set(every)) < len(every):
        raise RowTwice("A row is written once: it has one id.")
    wanted = _Wanted()
    _check_actor(actor, wanted)
    prepared = [_prepare(draft, wanted) for draft in drafts]
    wanted.check()
    return prepared


# What was handed in


def _check_shape(draft: Draft) -> None:
    for name, given in (("rows", draft.rows), ("replaces", draft.replaces)):
        if not isinstance(given, list | tuple):
            raise BadValue("entry", name, f"a list is wanted, not {shown(given)}")
    for row in draft.rows:
        if type(row) is not Row or not isinstance(row.model, type):
            raise BadValue("entry", "rows", f"a Row of a table is wanted, not {shown(row)}")
    for fact in draft.replaces:
        if not isinstance(fact, Fact) or not _is_id(fact.pk):
            raise BadValue("entry", "replaces", f"a recorded fact is wanted, not {shown(fact)}")
    if len({fact.pk for fact in draft.replaces}) < len(draft.replaces):
        raise BadValue("entry", "replaces", "a fact is named twice")


def _is_id(value: Any) -> TypeGuard[int]:
    return type(value) is int and 0 < value <= MAX_INT


def _check_actor(actor: Actor, wanted: _Wanted) -> None:
    if not isinstance(actor, Actor):
        raise BadValue("entry", "person", f"an actor is wanted, not {shown(actor)}")
    if not isinstance(actor.role, Role):
        raise BadValue("entry", "role", f"a role is wanted, not {shown(actor.role)}")
    if actor.person is None:
        return
    if not _is_id(actor.person):
        raise BadValue("entry", "person", f"the id of a person is wanted, not {shown(actor.person)}")
    wanted.ids[Person].add(actor.person)


def _kind_of(draft: Draft) -> Kind:
    kind = KINDS.get(draft.kind) if isinstance(draft.kind, str) else None
    if kind is None:
        raise UnknownKind(f"There is no kind of entry called {shown(draft.kind)}.")
    if not draft.rows and not draft.replaces:
        raise UnknownKind(f"An entry {kind.name} without rows says nothing.")
    return kind


def _check_subject(kind: Kind, draft: Draft, wanted: _Wanted) -> None:
    subject = draft.subject
    if type(subject) is Row:
        fits = _is_thing(subject.model) if kind.subject is None else subject.model is kind.subject
        if not fits or subject not in draft.rows:
            raise UnknownKind(f"An entry {kind.name} cannot be about {shown(subject)}.")
    elif not _is_id(subject):
        raise BadValue("entry", "subject", f"the id of a thing is wanted, not {shown(subject)}")
    elif kind.subject is not None:
        wanted.ids[kind.subject].add(subject)
    elif not any(existing(connection, thing._meta.db_table, {subject}) for thing in THINGS):
        raise UnknownReference("thing", [subject])


def _is_thing(model: Any) -> bool:
    return isinstance(model, type) and issubclass(model, Thing)


# Its rows


def _prepare(draft: Draft, wanted: _Wanted) -> Prepared:
    kind = _kind_of(draft)
    _check_subject(kind, draft, wanted)
    prepared = Prepared(draft, kind)
    for model, together in groupby(draft.rows, key=attrgetter("model")):
        table, rows = _table_for(kind, model), list(together)
        block = Block(table, rows, table.take_all([row.values for row in rows]))
        hangs = belonging(kind, table)
        _check_belonging(draft, kind, block, hangs)
        block.linked = tuple(_linked(draft, block, hangs, wanted))
        for at in table.free_text_at:
            for wire in block.wires:
                if wire[at] is not None:
                    wire[at] = _salted(prepared, wire[at])
        prepared.blocks.append(block)
    for fact in draft.replaces:
        replaced = _table_for(kind, type(fact))
        if belonging(kind, replaced).about is None:
            raise AnotherSubject(f"An entry {kind.name} corrects no {replaced.name}, which names another thing.")
    if draft.note is not None:
        try:
            prepared.note = _salted(prepared, take_free_text(draft.note))
        except Fault as fault:
            raise BadValue("entry", "note", str(fault)) from None
    return prepared


def _table_for(kind: Kind, model: type[Recorded]) -> Table:
    if model not in kind.rows:
        name = model.record_name() if issubclass(model, Recorded) else model.__name__
        raise UnknownKind(f"An entry {kind.name} holds no row {name}.")
    return table_of(model)


def _check_belonging(draft: Draft, kind: Kind, block: Block, hangs: Belonging) -> None:
    """The rows name the subject, and no other."""
    subject = draft.subject
    if block.table.model is kind.subject and any(row is not subject for row in block.rows):
        raise AnotherSubject(f"An entry {kind.name} opens one {block.table.name}, which it is about.")
    for at in hangs.subject_at:
        for wire in block.wires:
            if wire[at] is not subject and wire[at] != subject:
                raise AnotherSubject(f"An entry about {subject!r} says nothing of {wire[at]!r}.")
    for at in hangs.own_at:
        for wire in block.wires:
            if type(wire[at]) is not Row:
                name = block.table.columns[at].name
                raise NotOfThisEntry(f"A {block.table.name} is written in one entry with its {name}.")


def _linked(draft: Draft, block: Block, hangs: Belonging, wanted: _Wanted) -> Iterator[int]:
    """Note what is referred to; yield the columns that refer to rows of the same entry."""
    owned = {each.at: each for each in hangs.owned}
    for at, model in block.table.references_at:
        values = {wire[at] for wire in block.wires}
        values.discard(None)
        if at not in owned and values <= wanted.ids[model]:
            continue  # an earlier entry asks for the same
        rows = {value for value in values if type(value) is Row}
        if not rows <= set(draft.rows):
            raise UnknownReference(model.record_name(), [])
        if rows:
            yield at
            values -= rows
        if at not in owned:
            wanted.ids[model] |= values
            continue
        for thing in values:
            wanted.belongs(owned[at], thing, draft.subject)


def _salted(prepared: Prepared, words: str) -> str:
    salt = secrets.token_bytes(SALT_BYTES)
    digest = text_digest(salt, words)
    prepared.texts.append([digest, salt, words])
    return digest


def _check_there(model: type[Recorded], missing: set[int]) -> None:
    if missing:
        raise UnknownReference(model.record_name(), sorted(missing))
