"""What several commands read from their command line."""

import datetime as dt
import re
from argparse import ArgumentTypeError

from django.core.management.base import CommandError

from pmcore.engines.site_days import earliest_day
from pmcore.queries.sites import SiteOnADay, sites_on


def day(text: str) -> dt.date:
    """A day as 2026-10-31."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no date: write it as 2026-10-31.") from None


def month(text: str) -> tuple[dt.date, dt.date]:
    """First and last day of a month as 2026-09."""
    if not re.fullmatch(r"\d{4}-\d{2}", text) or not 1 <= int(text[5:]) <= 12 or int(text[:4]) < 1:
        raise ArgumentTypeError(f"{text!r} is no month: write it as 2026-09.")
    first = dt.date(int(text[:4]), int(text[5:]), 1)
    return first, (first + dt.timedelta(days=31)).replace(day=1) - dt.timedelta(days=1)


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
