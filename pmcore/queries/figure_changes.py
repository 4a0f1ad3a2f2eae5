"""Two figures that differ are explained: which due inspections count otherwise, and the entries that make it so."""

import datetime as dt
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from operator import attrgetter
from typing import NamedTuple

from django.db.models import QuerySet

from pmcore.engines.compliance import COUNTED, counted_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Counted
from pmcore.models import Device, Entry
from pmcore.queries.asked import check_asked, check_known, sites_allowed
from pmcore.queries.changed_devices import CHANGE_NOTHING
from pmcore.queries.compliance import ComplianceFilter, chosen_in_period
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.read_standings import standings_between
from pmcore.queries.standing_catalogue import Catalogue, catalogue
from pmcore.queries.standing_rows import Standings
from pmcore.queries.standings import standings_of

TRIED_AT_ONCE = 100
"""Entries that can be tried while somebody waits: of the thousands since an old size it would take a minute."""


@dataclass(frozen=True, slots=True)
class EntryNamed:
    seq: int
    at: dt.datetime
    kind: str
    subject: int
    person: int | None


@dataclass(frozen=True, slots=True)
class FigureChange:
    """A due inspection that counts otherwise. None: it was not in the figure, or is not any more. `entries`: each one
    after which it counted otherwise than before, in order; None: it was not among those explained."""

    due_inspection: int
    device: DeviceLabel
    was: Counted | None
    becomes: Counted | None
    entries: tuple[EntryNamed, ...] | None


def figure_changes(
    asked: ComplianceFilter,
    *,
    as_of: dt.date,
    known: int,
    before: int,
    today: dt.date,
    actor: Actor,
    explained: int | None = None,
    tried: int | None = None,
) -> list[FigureChange]:
    """What makes the figure as known at `known` another than as known at the earlier size `before`, as of one day.

    The standing of each device that differs is computed after every entry that could concern it, so the entries named
    are those that made the difference and no others. That takes its time: with `explained`, entries are looked for on
    so many devices only, in order of due inspections; with `tried`, only where at most so many entries have to be
    tried altogether. Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    check_asked(as_of=as_of, known=known, today=today)
    check_known(before)
    figure = _Figure(asked, sites_allowed(actor, asked.sites), as_of)
    was, becomes = figure.known_at(before), figure.known_at(known)
    differing = sorted(due for due in was.keys() | becomes.keys() if was.get(due) != becomes.get(due))
    devices = {due: (becomes.get(due) or was[due]).device for due in differing}
    labels = labels_of(set(devices.values()), on=as_of, known=known)
    candidates = _Candidates(labels.keys(), before, known)
    figure.turns = [before, *(entry.seq for entry in candidates.others)]
    looked_at = candidates.within(tried, list(dict.fromkeys(devices.values()))[:explained])
    figure.devices = frozenset(looked_at)
    entries: dict[int, list[EntryNamed]] = {}
    for device in looked_at:
        entries |= figure.turning_points(device, candidates.of(device), _of(device, was), _of(device, becomes))
    return [
        FigureChange(
            due,
            labels[devices[due]],
            _word(was, due),
            _word(becomes, due),
            tuple(entries.get(due, ())) if devices[due] in looked_at else None,
        )
        for due in differing
    ]


class _Count(NamedTuple):
    device: int
    word: Counted


_Counts = dict[int, _Count]


def _of(device: int, counts: _Counts) -> _Counts:
    return {due: count for due, count in counts.items() if count.device == device}


def _word(counts: _Counts, due: int) -> Counted | None:
    return counts[due].word if due in counts else None


@dataclass(slots=True)
class _Figure:
    """What each due inspection of a figure counts as, by its id. `turns`: the sizes at which the catalogue changed;
    `devices`: those whose entries are looked for."""

    asked: ComplianceFilter
    sites: frozenset[int] | None
    as_of: dt.date
    turns: Sequence[int] = ()
    devices: frozenset[int] = frozenset()
    catalogues: dict[int, Catalogue] = field(default_factory=dict)
    _at_turns: dict[int, dict[int, _Counts]] = field(default_factory=dict)

    def known_at(self, size: int) -> _Counts:
        asked, facts = self.asked, self.catalogue_at(size)
        return self._counted(standings_between(asked.starts_on, asked.ends_on, as_of=self.as_of, catalogue=facts))

    def turning_points(
        self, device: int, candidates: Sequence[EntryNamed], was: _Counts, becomes: _Counts
    ) -> dict[int, list[EntryNamed]]:
        """Of each due inspection of the device the entries after which it counted otherwise; `was` before the first of
        the candidates, `becomes` after the last."""
        found: dict[int, list[EntryNamed]] = {}
        for entry in candidates:
            then = becomes if entry is candidates[-1] else self._after(entry, device)
            for due in was.keys() | then.keys():
                if was.get(due) != then.get(due):
                    found.setdefault(due, []).append(entry)
            was = then
        return found

    def _after(self, entry: EntryNamed, device: int) -> _Counts:
        """What an entry about a device says, the catalogue does not hold: that of the last other entry will do."""
        at = bisect_right(self.turns, entry.seq)
        if self.turns[at - 1] == entry.seq:
            return self._at_turn(entry.seq).get(device, {})
        facts = replace(self.catalogue_at(self.turns[at - 1]), known=entry.seq)
        return self._counted(Standings.of_rows(list(standings_of([device], facts))))

    def _at_turn(self, size: int) -> dict[int, _Counts]:
        """Of each device, all of them read at once: such an entry may concern every one."""
        if size not in self._at_turns:
            counts = self._counted(Standings.of_rows(list(standings_of(self.devices, self.catalogue_at(size)))))
            by_device: dict[int, _Counts] = defaultdict(dict)
            for due, count in counts.items():
                by_device[count.device][due] = count
            self._at_turns[size] = by_device
        return self._at_turns[size]

    def catalogue_at(self, size: int) -> Catalogue:
        if size not in self.catalogues:
            self.catalogues[size] = catalogue(size)
        return self.catalogues[size]

    def _counted(self, read: Standings) -> _Counts:
        standings = chosen_in_period(read, self.asked, self.sites)
        words = [COUNTED[code] for code in counted_on(standings, self.as_of)]
        counts = map(_Count, standings.device.tolist(), words)
        return dict(zip(standings.due_inspection.tolist(), counts, strict=True))


class _Candidates:
    """What was written since that may have changed a figure: about the devices themselves, or about no device: a plan,
    a procedure, an instrument, a site. Two statements."""

    def __init__(self, devices: Collection[int], before: int, known: int) -> None:
        since = Entry.objects.filter(seq__gt=before, seq__lte=known).exclude(kind__in=CHANGE_NOTHING)
        self.others = self._named(since.exclude(subject__in=Device.objects.values("pk")))
        self._about: dict[int, list[EntryNamed]] = defaultdict(list)
        for entry in self._named(since.filter(subject__in=Device.objects.values("pk"))):
            if entry.subject in devices:
                self._about[entry.subject].append(entry)

    def of(self, device: int) -> list[EntryNamed]:
        return sorted([*self._about[device], *self.others], key=attrgetter("seq"))

    def within(self, tried: int | None, devices: list[int]) -> list[int]:
        """Those of the devices whose candidates are at most so many together; those about no device count once."""
        if tried is None:
            return devices
        left, found = tried - len(self.others), []
        for device in devices:
            if len(self._about[device]) <= left:
                left -= len(self._about[device])
                found.append(device)
        return found

    @staticmethod
    def _named(entries: QuerySet[Entry]) -> list[EntryNamed]:
        columns: Sequence[str] = ("seq", "at", "kind", "subject", "person")
        return [EntryNamed(*row) for row in entries.order_by("seq").values_list(*columns)]
