"""Demonstrations to test with: built once for all tests of a file, and gone when they end."""

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import transaction

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Grouping
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, compliance
from pmcore.queries.head import head
from pmcore.services.demo.build import build_demo

BEGINS_ON, ENDS_ON = dt.date(2023, 11, 1), dt.date(2026, 10, 31)
A_FEW = 60


@contextmanager
def built(blocker: Any, **options: Any) -> Iterator[None]:
    """Within it, the record holds a demonstration. The transactions of the tests lie inside this one."""
    with blocker.unblock(), transaction.atomic():
        build_demo(**options)
        yield
        transaction.set_rollback(True)


def figure(
    starts_on: dt.date = BEGINS_ON, ends_on: dt.date = ENDS_ON, *, known: int | None = None, **options: Any
) -> ComplianceReport:
    asked = ComplianceFilter(starts_on, ends_on)
    given = {"as_of": ENDS_ON, "today": ENDS_ON, "actor": SYSTEM, "group_by": Grouping.SITE}
    return compliance(asked, known=head().size if known is None else known, **{**given, **options})
