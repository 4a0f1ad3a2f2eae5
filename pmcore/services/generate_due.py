"""Plans become due inspections by themselves: site by site, as often as one likes, with the same result."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

from pmcore.engines.due_generation import Covered, Difference, difference
from pmcore.engines.records import SYSTEM
from pmcore.engines.records import DueInspection as DueRecord
from pmcore.engines.vocabulary import WithdrawalReason
from pmcore.models import DueInspection, Site, SiteSweep, Withdrawal
from pmcore.models.rows import Row
from pmcore.queries.due_coverage import Background, covered_by, covers
from pmcore.queries.due_scope import devices_at, meters_at, written_at
from pmcore.queries.head import head
from pmcore.queries.inspections import CompletedInspection, completed
from pmcore.queries.plans import PlanTermsRecord, former_terms, terms_on
from pmcore.queries.procedures import Covering
from pmcore.services.append import Draft, append_in_batches
from pmcore.services.refusals import RecordRefused


class UnknownSite(RecordRefused):
    """There is no such site."""


@dataclass(frozen=True, slots=True)
class Call:
    """What one plan calls for on one device, and the difference to what is written."""

    device: int
    terms: PlanTermsRecord
    change: Difference
    reason: WithdrawalReason = WithdrawalReason.PLAN_CHANGED


@dataclass(slots=True)
class Generated:
    """What a run added and withdrew at a site; `calls` says for which plan and device."""

    site: int
    as_of: dt.date
    calls: list[Call] = field(default_factory=list)

    @property
    def added(self) -> int:
        return sum(len(call.change.add) for call in self.calls)

    @property
    def withdrawn(self) -> int:
        return sum(len(call.change.withdraw) for call in self.calls)


def generate_due(*, site: int, as_of: dt.date, at: dt.datetime, dry_run: bool = False) -> Generated:
    """Append what the plans call for at a site by `as_of` and is not there, withdraw what they call for no more, and
    move the site's mark last. Twice is as good as once; a missed week is caught up. Raises UnknownSite.

    One entry a device and run; what was appended before an interruption stays, and the next run does the rest.
    """
    if not Site.objects.filter(pk=site).exists():
        raise UnknownSite(f"There is no site {site}.")
    generated = Generated(site, as_of, list(_calls(site, as_of)))
    if dry_run:
        return generated
    for _ in append_in_batches(_drafts(generated), actor=SYSTEM, at=at):
        pass
    SiteSweep.objects.update_or_create(site_id=site, defaults={"swept_on": as_of, "swept_at": at})
    return generated


def _calls(site: int, as_of: dt.date) -> Iterator[Call]:
    known = head().size
    devices = devices_at(site, on=as_of, known=known)
    written = written_at(site, on=as_of, known=known)
    done = _by_device(completed([device.device for device in devices], known=known))
    terms = terms_on(as_of, known=known)
    background = Background(Covering(known), former_terms(as_of, known), meters_at(site, on=as_of, known=known), as_of)
    for device in devices:
        for plan in terms:
            if not covers(plan, device):
                continue
            covered = covered_by(plan, device, done[device.device], background)
            change = difference(covered, written.get((device.device, plan.plan), []), as_of)
            if change:
                yield Call(device.device, plan, change, _why(plan, covered))


def _why(plan: PlanTermsRecord, covered: Covered) -> WithdrawalReason:
    """Why something of the plan would be called for no more."""
    if plan.ended:
        return WithdrawalReason.PLAN_ENDED
    return WithdrawalReason.PLAN_CHANGED if covered.ended_on is None else WithdrawalReason.NOT_COVERED


def _by_device(inspections: list[CompletedInspection]) -> dict[int, list[CompletedInspection]]:
    found: dict[int, list[CompletedInspection]] = defaultdict(list)
    for inspection in inspections:
        found[inspection.device].append(inspection)
    return found


def _drafts(generated: Generated) -> Iterator[Draft]:
    """Of each device one entry with what is due, and one with what is withdrawn."""
    by_device: dict[int, list[Call]] = defaultdict(list)
    for call in generated.calls:
        by_device[call.device].append(call)
    for device, calls in by_device.items():
        due = [_due_row(call, each) for call in calls for each in call.change.add]
        if due:
            yield Draft("inspections_due", device, due)
        turned = [row for call in calls for row in _withdrawals(call, generated.as_of)]
        if turned:
            yield Draft("due_withdrawn", device, turned)


def _due_row(call: Call, due: DueRecord) -> Row:
    return Row(
        DueInspection,
        device=call.device,
        plan=call.terms.plan,
        procedure=call.terms.procedure,
        due_on=due.due_on,
        opens_on=due.opens_on,
        closes_on=due.closes_on,
        counted_from_on=call.change.counted_from.get(due.due_on),
    )


def _withdrawals(call: Call, as_of: dt.date) -> Iterator[Row]:
    for key in (*call.change.withdraw, *call.change.restore):
        withdrawn = key in call.change.withdraw
        yield Row(Withdrawal, due_inspection=key, from_on=as_of, withdrawn=withdrawn, reason=call.reason)
