"""On which days each technician goes round."""

import datetime as dt
from bisect import bisect_left, bisect_right

from pmcore.engines.due_dates import add_interval
from pmcore.engines.vocabulary import Unit
from pmcore.services.demo.parameters import Parameters
from pmcore.services.demo.streams import stream

ROUNDS_IN_A_MONTH = 8
_ONE_DAY = dt.timedelta(days=1)


class Rota:
    """Some working days of every month for each technician, so that the work of a day belongs together."""

    def __init__(self, parameters: Parameters, seed: int) -> None:
        until = add_interval(parameters.ends_on, 3, Unit.MONTH)
        self._working = {site.label: _working_days(site.working, parameters, until) for site in parameters.sites}
        self._rounds: dict[str, list[dt.date]] = {}
        self._site_of: dict[str, str] = {}
        for person in parameters.people:
            if person.role == "technician":
                self._site_of[person.key] = person.sites[0]
                draws = stream(seed, "rota", person.key)
                by_month: dict[tuple[int, int], list[dt.date]] = {}
                for day in self._working[person.sites[0]]:
                    by_month.setdefault((day.year, day.month), []).append(day)
                chosen = [draws.sample(days, min(ROUNDS_IN_A_MONTH, len(days))) for days in by_month.values()]
                self._rounds[person.key] = sorted(day for days in chosen for day in days)

    def rounds(self, technician: str, first: dt.date, last: dt.date) -> list[dt.date]:
        """The technician's rounds from one day to another, both included; where there is none, working days."""
        return _between(self._rounds[technician], first, last) or self.working(self._site_of[technician], first, last)

    def working(self, site: str, first: dt.date, last: dt.date) -> list[dt.date]:
        return _between(self._working[site], first, last)

    def working_from(self, site: str, day: dt.date) -> dt.date:
        """That day, or the first working day after it."""
        days = self._working[site]
        return days[min(bisect_left(days, day), len(days) - 1)]


def _between(days: list[dt.date], first: dt.date, last: dt.date) -> list[dt.date]:
    return days[bisect_left(days, first) : bisect_right(days, last)]


def _working_days(week: str, parameters: Parameters, until: dt.date) -> list[dt.date]:
    count = (until - parameters.begins_on).days
    days = (parameters.begins_on + _ONE_DAY * number for number in range(1, count))
    return [day for day in days if week[day.weekday()] == "1" and day not in parameters.holidays]
