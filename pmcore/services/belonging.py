"""An entry is about one thing, its subject. How the rows of each table hang on it, told from the models alone."""

from dataclasses import dataclass
from functools import cache

from pmcore.models.base import Fact, Part, Recorded, Thing
from pmcore.models.kinds import Kind
from pmcore.queries.tables import Table, table_of


@dataclass(frozen=True, slots=True)
class Owned:
    """A column that refers to a thing of the subject's, as a fact to the due inspection of a device: `owner` is the
    column in which that thing names the subject."""

    at: int
    model: type[Recorded]
    owner: str


@dataclass(frozen=True, slots=True)
class Belonging:
    """`subject_at`: columns that are the subject itself. `owned`: references to things that must be the subject's.
    `own_at`: references to rows of the same entry alone. `about`: of a fact, the column by which it is the subject's,
    or the reference by which its thing is; neither: nothing in it says so."""

    subject_at: tuple[int, ...]
    owned: tuple[Owned, ...]
    own_at: tuple[int, ...]
    about: int | Owned | None


@cache
def belonging(kind: Kind, table: Table) -> Belonging:
    """How the rows of a table belong to the subject of an entry of this kind.

    A thing names the subject in its own column; a fact in what it is about, or it is about a thing that does. Whatever
    else a fact refers to may be anything (a device's successor, an area), but a thing that belongs to a subject of
    this class is this subject's: a reason points to no other device's hold. A part goes with a fact of the same entry,
    and so does what is said of a thing that belongs to nobody, as a part that is fitted.
    """
    model = table.model
    if not issubclass(model, Fact):
        own = (table.column_at(model.whole),) if issubclass(model, Part) else ()
        subject_at = _naming(kind.subject, table) if issubclass(model, Thing) else ()
        return Belonging(subject_at, _owned(kind.subject, table), own, None)
    names = set(model.about)
    owned = _owned(kind.subject, table)
    subject_at = tuple(at for at in _naming(kind.subject, table) if table.columns[at].name in names)
    by_thing = [each for each in owned if table.columns[each.at].name in names]
    about: int | Owned | None = next(iter(subject_at), None)
    if about is None:
        about = next(iter(by_thing), None)
    strange = tuple(at for at, _ in table.references_at if about is None and table.columns[at].name in names)
    return Belonging(subject_at, owned, strange, about)


def _naming(subject: type[Recorded] | None, table: Table) -> tuple[int, ...]:
    """The columns that may hold the subject. Where an entry can be about any thing, it stands in `thing`."""
    if subject is None:
        return tuple(at for at, column in enumerate(table.columns) if column.name == "thing")
    return tuple(at for at, target in table.references_at if target is subject)


def _owned(subject: type[Recorded] | None, table: Table) -> tuple[Owned, ...]:
    found = []
    for at, target in table.references_at:
        naming = _naming(subject, table_of(target)) if subject and issubclass(target, Thing) else ()
        if naming and target is not subject:
            found.append(Owned(at, target, table_of(target).columns[naming[0]].column))
    return tuple(found)
