"""What stands against one device: its holds in force, the reports that nobody answered, its findings; and what a new
finding can refer to."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import DeviceIdentity, PartPosition, PositionDetails, RoleHeld, SiteMembership
from pmcore.queries.assigned import names_of
from pmcore.queries.fault_pages import (
    Asked,
    FaultReportListed,
    FaultsFilter,
    FindingListed,
    HoldListed,
    ReleaseListed,
    fault_reports_page,
    findings_page,
    holds_page,
    releases_page,
)
from pmcore.queries.pages import Page

_MOST = 500  # of one device; more of them on one page would help nobody

Choice = tuple[int, str]


@dataclass(frozen=True, slots=True)
class DeviceFaults:
    """`holds` in force, `reports` that no finding answers, all `findings`; the oldest first."""

    holds: tuple[HoldListed, ...]
    reports: tuple[FaultReportListed, ...]
    findings: tuple[FindingListed, ...]

    def finding(self, key: int | None) -> FindingListed | None:
        return next((each for each in self.findings if each.finding == key), None)


@dataclass(frozen=True, slots=True)
class FindingChoices:
    """Ids and what they are called, by name: part positions of the device's model, and those of the staff who can
    agree that something was a use error."""

    positions: tuple[Choice, ...]
    people: tuple[Choice, ...]


def device_faults(device: int, *, as_of: dt.date, known: int) -> DeviceFaults:
    """As known at a size of the history, for whoever may see the device: a fixed number of statements."""
    unsettled, every = (_asked(device, only, as_of, known) for only in (True, None))
    return DeviceFaults(
        holds_page(unsettled).records, fault_reports_page(unsettled).records, findings_page(every).records
    )


def device_releases(device: int, *, as_of: dt.date, known: int) -> tuple[ReleaseListed, ...]:
    """Those that stand, the oldest first, for whoever may see the device: a fixed number of statements."""
    return releases_page(_asked(device, None, as_of, known)).records


def _asked(device: int, unsettled: bool | None, as_of: dt.date, known: int) -> Asked:
    what = FaultsFilter(devices=frozenset({device}), unsettled=unsettled)
    return Asked(what, as_of, known, Actor(None, Role.SYSTEM, None), limit=_MOST)


def open_fault_reports(
    sites: frozenset[int] | None,
    *,
    as_of: dt.date,
    known: int,
    actor: Actor,
    after: int | None = None,
    limit: int = 50,
) -> Page[FaultReportListed]:
    """At the sites (None: all of the actor's), the oldest first. Raises KnownBeyond, OutsideYourSites."""
    return fault_reports_page(Asked(FaultsFilter(sites=sites, unsettled=True), as_of, known, actor, after, limit))


def finding_choices(device: int, *, as_of: dt.date, known: int, actor: Actor) -> FindingChoices:
    """Five statements."""
    models = DeviceIdentity.objects.known(known).filter(device=device).values("device_model")
    positions = PositionDetails.objects.known(known).on(as_of).filter(
        position__in=PartPosition.objects.filter(device_model__in=models).values("pk")
    )  # fmt: skip
    roles = RoleHeld.objects.known(known).on(as_of).exclude(role=Role.PROVIDER).filter(role__isnull=False)
    members = SiteMembership.objects.known(known).on(as_of).filter(member=True)
    if actor.sites is not None:
        members = members.filter(site__in=actor.sites)
    here = set(members.values_list("person_id", flat=True))
    people = {person for person in roles.values_list("person_id", flat=True) if person in here} - {actor.person}
    names = names_of(people, known)
    return FindingChoices(
        tuple(positions.order_by("label", "position").values_list("position_id", "label")),
        tuple(sorted(names.items(), key=lambda each: (each[1], each[0]))),
    )
