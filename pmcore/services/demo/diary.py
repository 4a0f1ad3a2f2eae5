"""What is to be written, and when: kept until its day, then written in order of time."""

import datetime as dt
import heapq
from collections.abc import Callable, Iterator
from itertools import groupby

from pmcore.engines.records import Actor
from pmcore.services.append import append_in_batches
from pmcore.services.preparation import Draft

NIGHT, MORNING, EVENING, LATER, REPAIRS, RELEASES, LAST = 3, 7, 17, 18, 19, 20, 22
"""Hours of the day, in UTC, at which entries are written: what names another entry comes at a later hour."""

Deed = tuple[dt.date, int, int, int, Actor, Callable[[], Draft]]


def moment(day: dt.date, hour: int, minute: int = 0) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(hour, minute), dt.UTC)


class Diary:
    """Deeds come in any order; a draft is only made when its turn has come, so that it may name what was written by
    then. `entries`: how many were written; `newest_at`: when the last of them was."""

    def __init__(self) -> None:
        self._deeds: list[Deed] = []
        self._count = 0
        self.entries = 0
        self.newest_at: dt.datetime | None = None

    def note(self, day: dt.date, hour: int, actor: Actor, draft: Callable[[], Draft]) -> None:
        self._count += 1
        heapq.heappush(self._deeds, (day, hour, actor.person or 0, self._count, actor, draft))

    def write(self, until: dt.date) -> None:
        """Everything up to that day, included."""
        for (day, hour, _), deeds in groupby(self._taken(until), key=lambda deed: deed[:3]):
            together = list(deeds)
            drafts = (deed[5]() for deed in together)
            for receipts in append_in_batches(drafts, actor=together[0][4], at=moment(day, hour)):
                self.entries += len(receipts)
            self.newest_at = moment(day, hour)

    def _taken(self, until: dt.date) -> Iterator[Deed]:
        while self._deeds and self._deeds[0][0] <= until:
            yield heapq.heappop(self._deeds)
