"""Only services open transactions and cursors: everywhere else they would hold up somebody's write."""

import pytest

from tests.house.checkout import is_under, named, source_files
from tests.house.rules import iterator_lines, transaction_lines

pytestmark = pytest.mark.house


def outside_services() -> list[tuple[str, str]]:
    return [(named(path), path.read_text()) for path in source_files() if not is_under(path, "pmcore/services")]


def test_only_services_open_transactions() -> None:
    found = {f"{name}:{line}" for name, source in outside_services() for line in transaction_lines(source)}
    assert found == set()


def test_only_services_open_cursors() -> None:
    found = {f"{name}:{line}" for name, source in outside_services() for line in iterator_lines(source)}
    assert found == set()


@pytest.mark.parametrize(
    "source",
    [
        "from django.db import transaction\nwith transaction.atomic(): pass",
        "from django.db import transaction\n@transaction.atomic\ndef write(): pass",
        "import django.db\nopen_it = django.db.transaction.atomic",
        "import this\nfrom django.db.transaction import atomic",
        "import this\nfrom django.db.transaction import *",
    ],
)
def test_a_transaction_is_seen(source: str) -> None:
    assert transaction_lines(source) == [2]


def test_a_cursor_is_seen() -> None:
    assert iterator_lines("rows = Device.objects.all()\nfor row in rows.iterator(2000): pass") == [2]


def test_other_uses_of_the_words_are_no_offence() -> None:
    source = "class Iterator:\n    atomic = False\n    def iterator(self): return transaction.on_commit(wake)"
    assert transaction_lines(source) == iterator_lines(source) == []
