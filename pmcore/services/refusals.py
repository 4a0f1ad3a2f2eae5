"""Why the writer said no. Every refusal is a class of its own; nothing was written."""

from django.db import IntegrityError, models

from pmcore.models.base import Recorded


class RecordRefused(ValueError):
    """The entry cannot be appended as it was given."""


class UnknownKind(RecordRefused):
    """No such kind of entry, or the kind holds no such rows."""


class UnknownReference(RecordRefused):
    """A row refers to something that is not in the record."""

    def __init__(self, table: str, missing: list[int]) -> None:
        which = f"with the id {', '.join(map(str, missing[:5]))}" if missing else "in this entry"
        super().__init__(f"There is no {table} {which}.")
        self.table, self.missing = table, missing


class AnotherSubject(RecordRefused):
    """An entry is about one thing; a fact about another belongs to another entry."""


class NotOfThisEntry(RecordRefused):
    """A part is written in one entry with its fact; what was written before takes no more of them."""


class RowTwice(RecordRefused):
    """The same row stands twice in what is to be written."""


class TooMuchAtOnce(RecordRefused):
    """More rows than one transaction may hold, so that nobody waits for the lock."""


class AlreadyReplaced(RecordRefused):
    """Somebody else corrected the same fact first. Look at their entry before correcting again."""


class RequestReused(RecordRefused):
    """The request key came before, for another deed or with another content."""


class WrongSite(RecordRefused):
    """The actor is no member of the site."""


class NotAllowed(RecordRefused):
    """The actor's role may not do this."""


class Conflict(RecordRefused):
    """A named constraint of the record stands against it."""

    def __init__(self, constraint: str) -> None:
        super().__init__(f"The record already says otherwise, or the values contradict one another: {constraint}.")
        self.constraint = constraint


class RecordBusy(RuntimeError):
    """The lock was not to be had in time; the same call may succeed after `retry_after` seconds."""

    retry_after = 5

    def __init__(self) -> None:
        super().__init__(f"The record is busy; try again in {self.retry_after} seconds.")


def _sqlite_constraint(message: str, tables: list[type[Recorded]]) -> str:
    """SQLite names the columns of a broken unique constraint, not the constraint."""
    text = message.partition(": ")[2]
    if text.startswith("index "):
        return text.removeprefix("index ").strip("'")
    columns = [part.strip().partition(".") for part in text.split(",")]
    for model in tables:
        if model._meta.db_table != columns[0][0]:
            continue
        broken = {column for _, _, column in columns}
        for constraint in model._meta.constraints:
            if isinstance(constraint, models.UniqueConstraint):
                names = {field.column for field in model._meta.concrete_fields if field.name in constraint.fields}
                if names == broken:
                    return constraint.name
    return text


def conflict_of(error: IntegrityError, tables: list[type[Recorded]]) -> Conflict:
    """The named constraint behind what the database said."""
    diagnosis = getattr(error.__cause__, "diag", None)
    if diagnosis is not None:
        return Conflict(diagnosis.constraint_name or str(error))
    return Conflict(_sqlite_constraint(str(error), tables))
