"""What PostgreSQL renders by itself is what is rendered row by row, and where it is not, that is what counts."""

import pytest
from django.db import connection

from pmcore.queries import exported
from pmcore.queries.exported import runs
from pmcore.queries.head import head
from tests.history import AT, MARCH, a_device, a_move, small_history
from tests.samples import Everything

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL renders by itself"),
]

PARTS = ("leaves", "seqs", "bodies", "lines", "texts")


def everything():
    """What an export of the whole history shows."""
    found = list(runs(head().size, None))
    return [[each for run in found for each in getattr(run, part)] for part in PARTS]


def test_every_kind_with_every_column_comes_out_the_same(monkeypatch):
    world = small_history()
    for microseconds in (1, 500_000, 999_999):
        a_move(world, world.ward, MARCH, at=AT.replace(microsecond=microseconds), note='"Quoted", \\ and é 😀.')
    a_device(world.model, 'q"\\/<é😀>,=1+1')
    Everything().write()
    size, judge, refused = head().size, exported.rendered, []

    def noted(tables, seqs, ids, replaces):
        made = judge(tables, seqs, ids, replaces)
        refused.extend([seqs] if made is None else [])
        return made

    monkeypatch.setattr(exported, "PAGE", 1)  # each entry by itself
    monkeypatch.setattr(exported, "rendered", noted)
    by_itself = everything()
    assert refused == []
    assert by_itself[1] == list(range(1, size + 1))
    assert any(b'"replaces":[' in body for body in by_itself[2])  # corrections come out of the database too
    monkeypatch.setattr(exported, "can_render", lambda: False)
    assert everything() == by_itself
