"""What several commands read from their command line."""

import datetime as dt
from argparse import ArgumentTypeError
from collections.abc import Callable
from typing import TypeVar

from django.core.management.base import CommandError

from pmcore.engines.site_days import earliest_day
from pmcore.queries.parameters import a_day, a_month
from pmcore.queries.sites import SiteOnADay, sites_on

_Value = TypeVar("_Value")


def day(text: str) -> dt.date:
    """A day as 2026-10-31."""
    return _read(a_day, text)


def month(text: str) -> tuple[dt.date, dt.date]:
    """First and last day of a month as 2026-09."""
    return _read(a_month, text)


def _read(read: Callable[[str], _Value], text: str) -> _Value:
    try:
        return read(text)
    except ValueError as wrong:
        raise ArgumentTypeError(str(wrong)) from None


def sites_labelled(labels: list[str] | None, on: dt.date) -> list[SiteOnADay]:
    """The sites with these labels (none: all). Raises CommandError for a label that no site has."""
    sites = sites_on(on)
    unknown = sorted(set(labels or []) - {site.label for site in sites})
    if unknown:
        raise CommandError(f"There is no site labelled {', '.join(unknown)}.")
    return [site for site in sites if not labels or site.label in labels]


def earliest_today(at: dt.datetime) -> dt.date:
    """The earliest of the sites' todays; without sites, UTC's."""
    return earliest_day(at, [site.time_zone for site in sites_on(at.date())])
