"""May a figure be asked as of that day, as known at that size, of those sites?"""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.models import Entry
from pmcore.queries.head import BeyondTheHistory, head


class AskedRefused(ValueError):
    """The figure cannot be had as it was asked for."""


class AsOfAhead(AskedRefused):
    """The day lies after today, or after the last moment at which the history had the size asked for."""


class KnownBeyond(AskedRefused, BeyondTheHistory):
    """The history has not reached that size."""


class BadPeriod(AskedRefused):
    """A period begins on or before the day on which it ends."""


class OutsideYourSites(AskedRefused):
    """The actor is no member of a site that was asked for."""


class OutsideYourPeriod(AskedRefused):
    """The token that was shown is narrowed to a period, and what was asked for lies outside it."""

    def __init__(self, actor: Actor, asked: str) -> None:
        first = "its beginning" if actor.begins_on is None else str(actor.begins_on)
        last = "its end" if actor.ends_on is None else str(actor.ends_on)
        super().__init__(f"Your token is for the days from {first} to {last}; {asked} lies outside.")


def check_days(actor: Actor, first: dt.date | None, last: dt.date | None) -> None:
    """Whether the period, open where nothing is said, lies within the actor's. Raises OutsideYourPeriod."""
    if actor.begins_on is not None and (first is None or first < actor.begins_on):
        raise OutsideYourPeriod(actor, "what came before" if first is None else str(first))
    if actor.ends_on is not None and (last is None or last > actor.ends_on):
        raise OutsideYourPeriod(actor, "what comes after" if last is None else str(last))


def check_known(known: int) -> None:
    """Raises KnownBeyond."""
    size = head().size
    if not 0 <= known <= size:
        raise KnownBeyond(f"The history has {size} entries, not {known}.")


def check_asked(*, as_of: dt.date, known: int, today: dt.date) -> None:
    """`today`: the earliest today among the sites. Raises AsOfAhead, KnownBeyond.

    The history had a size until its next entry was written: later days than that one's were never known at it.
    """
    check_known(known)
    if as_of > today:
        raise AsOfAhead(f"{as_of} lies after today, {today}.")
    following = Entry.objects.filter(seq=known + 1).values_list("at", flat=True).first()
    if following is not None and as_of > following.date():
        raise AsOfAhead(f"The history had {known} entries until {following.date()}; {as_of} is later.")


def sites_allowed(actor: Actor, wanted: frozenset[int] | None) -> frozenset[int] | None:
    """The sites to count: those wanted, or all of the actor's; None: every site. Raises OutsideYourSites."""
    if actor.sites is None or wanted is None:
        return wanted if actor.sites is None else actor.sites
    outside = sorted(wanted - actor.sites)
    if outside:
        raise OutsideYourSites(f"You are no member of the site {', '.join(map(str, outside))}.")
    return wanted
