"""What a token for a period may ask: nothing that lies outside of it, by a named error."""

import datetime as dt
from collections.abc import Mapping, Sequence

from api.documented import DAY, Parameter
from pmcore.engines.records import Actor
from pmcore.queries.asked import OutsideYourPeriod, check_days
from pmcore.queries.parameters import a_day, a_month


def check_asked_days(
    actor: Actor, period: tuple[str, ...] | None, parameters: Sequence[Parameter], given: Mapping[str, Sequence[str]]
) -> None:
    """Every day that is asked about lies within the token's, and each of `period` is said. What cannot be read as a day
    is refused elsewhere. Raises OutsideYourPeriod."""
    if period is None:
        raise OutsideYourPeriod(actor, "what is told here, which belongs to no period,")
    if missing := [name for name in period if name not in given and not ("period" in given and name in _OF_A_MONTH)]:
        raise OutsideYourPeriod(actor, f"what is asked for without {' and '.join(missing)}")
    for name in {each.name for each in parameters if each.schema is DAY} | {"period"}:
        for text in given.get(name, ()):
            try:
                first, last = a_month(text) if name == "period" else (a_day(text),) * 2
            except ValueError:
                continue
            check_days(actor, first, last)


def check_one_within(actor: Actor, days: Sequence[dt.date]) -> None:
    """One of the days, if there are any, lies within the token's. Raises OutsideYourPeriod."""
    first, last = actor.begins_on or dt.date.min, actor.ends_on or dt.date.max
    if days and not any(first <= day <= last for day in days):
        raise OutsideYourPeriod(actor, str(days[0]))


_OF_A_MONTH = ("from", "to")  # a month says both
