"""The body of each kind, once written, never changes: later columns must be nullable and left out where empty.

`golden_bodies.json` holds for each kind a body with every column filled and one with the compulsory columns alone, as
they were when the kind was first written. A new kind is added by

    python3 manage.py shell -c "from tests.services.test_golden_bodies import add_new_kinds; add_new_kinds()"

and what is already there is never written again.
"""

import json
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from pmcore.models.kinds import KINDS, Kind
from pmcore.queries.bodies import body
from pmcore.queries.tables import table_of
from tests.samples import in_order, sample

GOLDEN = Path(__file__).with_name("golden_bodies.json")
_DIGEST = "ab" * 32


def _rows(kind: Kind, *, all_columns: bool) -> list[str]:
    rendered = []
    for row_id, model in enumerate(in_order(kind), start=101):
        table = table_of(model)
        values = sample(model, lambda _: 7)
        if not all_columns:
            values = {f.name: values[f.name] for f in model._meta.fields if f.name in values and not f.null}
        wire: list[Any] = table.take(values)
        wire[table.id_at] = row_id
        for at in table.free_text_at:
            wire[at] = _DIGEST if wire[at] is not None else None
        rendered.append(table.render(wire))
    return rendered


def rendered(kind: Kind) -> dict[str, str]:
    """The two bodies of a kind, as text."""
    fixed: dict[str, Any] = {"seq": 12, "at": "2026-10-31 07:00:00", "kind": kind.name, "subject": 7}
    full = body(**fixed, person=9, role="manager", note=_DIGEST, rows=_rows(kind, all_columns=True), replaces=[3, 5])
    bare = body(**fixed, person=None, role="system", note=None, rows=_rows(kind, all_columns=False), replaces=[])
    return {"full": full.decode(), "bare": bare.decode()}


def _golden() -> dict[str, dict[str, str]]:
    golden: dict[str, dict[str, str]] = json.loads(GOLDEN.read_text())
    return golden


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_kind_keeps_its_body(kind: Kind) -> None:
    assert kind.name in _golden(), "a new kind: add its bodies, see the head of this file"
    now, then = rendered(kind), _golden()[kind.name]
    assert now["bare"] == then["bare"]
    added = set(_columns(now["full"])) - set(_columns(then["full"]))
    assert _without(now["full"], added) == json.loads(then["full"])


def test_no_kind_goes_away() -> None:
    assert set(_golden()) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_body_is_canonical_by_an_independent_implementation(kind: Kind) -> None:
    for text in rendered(kind).values():
        assert rfc8785.dumps(json.loads(text)) == text.encode()


def _columns(text: str) -> list[tuple[str, str]]:
    return [(table, name) for row in json.loads(text)["rows"] for table, cells in row.items() for name in cells]


def _without(text: str, columns: set[tuple[str, str]]) -> Any:
    """The body without columns that were added since: those are nullable, and empty in every older row."""
    value = json.loads(text)
    for row in value["rows"]:
        for table, cells in row.items():
            for name in [name for name in cells if (table, name) in columns]:
                del cells[name]
    return value


def add_new_kinds() -> None:
    """Write the bodies of kinds that the file does not know yet."""
    known = _golden() if GOLDEN.exists() else {}
    for kind in KINDS.values():
        known.setdefault(kind.name, rendered(kind))
    GOLDEN.write_text(json.dumps(known, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
