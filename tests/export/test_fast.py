"""What PostgreSQL renders by itself is what is rendered row by row, and where it is not, that is what counts."""

import pytest
from django.db import DataError, connection, transaction

from pmcore.queries import exported, exported_fast
from pmcore.queries.exported import runs
from pmcore.queries.head import head
from tests.export.reading import parts
from tests.history import AT, MARCH, a_device, a_move, small_history
from tests.samples import Everything

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL renders by itself"),
]


def everything():
    """What an export of the whole history shows."""
    return parts(runs(head().size, None))


@pytest.fixture
def world():
    world = small_history()
    for microseconds in (1, 500_000, 999_999):
        a_move(world, world.ward, MARCH, at=AT.replace(microsecond=microseconds), note='"Quoted", \\ and é 😀.')
    a_device(world.model, 'q"\\/<é😀>,=1+1')
    Everything().write()
    return world


def one_by_one(monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(exported, "can_render", lambda: False)
        return everything()


def test_every_kind_with_every_column_comes_out_the_same(world, monkeypatch):
    refused, size = [], head().size

    class Noted(exported_fast.Asked):
        def judged(self, replaces):
            made = super().judged(replaces)
            refused.extend([self] if made is None else [])
            return made

    monkeypatch.setattr(exported, "PAGE", 1)  # each entry by itself
    monkeypatch.setattr(exported, "Asked", Noted)
    by_itself = everything()
    assert refused == []
    assert by_itself[1] == list(range(1, size + 1))
    assert any(b'"replaces":[' in body for body in by_itself[2])  # corrections come out of the database too
    assert by_itself == one_by_one(monkeypatch)


def test_one_that_is_refused_is_read_again_while_the_next_is_rendered(world, monkeypatch):
    judged = []

    class Refusing(exported_fast.Asked):
        def judged(self, replaces):
            judged.append(self)
            return super().judged(replaces) if len(judged) % 3 else None

    monkeypatch.setattr(exported, "PAGE", 7)
    monkeypatch.setattr(exported, "Asked", Refusing)
    assert everything() == one_by_one(monkeypatch)
    assert len(judged) > 9


def test_whoever_stops_in_the_middle_finds_the_database_free(world, monkeypatch):
    monkeypatch.setattr(exported, "PAGE", 7)
    reading = runs(head().size, None)
    assert next(reading).seqs[0] == 1
    reading.close()
    assert head().size > 7


def test_what_the_database_cannot_render_is_its_error(world, monkeypatch):
    def divided_by_nothing(tables):
        return f"SELECT 1 / (0 * %s::int){', %s::int' * (1 + 2 * len(tables))}"

    monkeypatch.setattr(exported_fast, "_statement", divided_by_nothing)
    with pytest.raises(DataError, match="division by zero"), transaction.atomic():
        everything()
    assert head().size
