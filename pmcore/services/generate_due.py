"""Plans become due inspections by themselves: site by site, as often as one likes, with the same result."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import groupby

from pmcore.engines.due_generation import Covered, Difference, Written, difference
from pmcore.engines.records import SYSTEM
from pmcore.engines.records import DueInspection as DueRecord
from pmcore.engines.vocabulary import Basis, WithdrawalReason
from pmcore.models import DueInspection, Site, SiteSweep, Withdrawal
from pmcore.models.rows import Row
from pmcore.queries.due_coverage import Background, covered_by, covers
from pmcore.queries.due_scope import devices_at, meters_at, written_at, written_of
from pmcore.queries.head import head
from pmcore.queries.inspections import CompletedInspection, completed
from pmcore.queries.plans import PlanTermsRecord, former_terms, terms_on
from pmcore.queries.procedures import Covering
from pmcore.services.append import ROWS_AT_ONCE, Draft, append_many
from pmcore.services.lock import writing
from pmcore.services.refusals import RecordRefused


class UnknownSite(RecordRefused):
    """There is no such site."""


@dataclass(frozen=True, slots=True)
class Call:
    """What one plan calls for on one device, what is written, and the difference."""

    device: int
    terms: PlanTermsRecord
    covered: Covered
    written: list[Written]
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
    move the site's mark last. Twice is as good as once, even at once; a missed week is caught up. Raises UnknownSite.

    One entry a device and run; what was appended before an interruption stays, and the next run does the rest.
    """
    if not Site.objects.filter(pk=site).exists():
        raise UnknownSite(f"There is no site {site}.")
    called = list(_calls(site, as_of))
    if dry_run:
        return Generated(site, as_of, called)
    generated = Generated(site, as_of)
    for batch in _batches(called):
        generated.calls += _append(batch, as_of, at)
    SiteSweep.objects.update_or_create(site_id=site, defaults={"swept_on": as_of, "swept_at": at})
    return generated


def generate_due_of(*, device: int, site: int, as_of: dt.date, at: dt.datetime, moved: int | None = None) -> Generated:
    """For one device that stands at the site, what its floating plans call for after something was recorded of it; days
    of anchored plans stay as they are, but for the plan that was `moved`. The site's mark stays where it is."""
    generated = Generated(site, as_of)
    calls = _calls(site, as_of, device)
    following = [call for call in calls if call.terms.rule.basis is Basis.FLOATING or call.terms.plan == moved]
    generated.calls += _append(following, as_of, at)
    return generated


def _append(batch: list[Call], as_of: dt.date, at: dt.datetime) -> list[Call]:
    """Append what the calls still lack under the lock; gives back the calls that were left to do. Another run may have
    written the same since they were told."""
    with writing():
        written = written_of({call.device for call in batch}, known=head().size)
        left = [_against(call, written[call.device, call.terms.plan], as_of) for call in batch]
        left = [call for call in left if call.change]
        append_many(list(_drafts(left, as_of)), actor=SYSTEM, at=at)
    return left


def _against(call: Call, written: list[Written], as_of: dt.date) -> Call:
    if written == call.written:
        return call
    return replace(call, written=written, change=difference(call.covered, written, as_of))


def _batches(calls: list[Call]) -> Iterator[list[Call]]:
    """Calls whose rows and entries fit into one transaction; those of one device stay together."""
    batch: list[Call] = []
    size = 0
    for _, group in groupby(calls, key=lambda call: call.device):
        of_device = list(group)
        needed = 2 + sum(len(c.change.add) + len(c.change.withdraw) + len(c.change.restore) for c in of_device)
        if batch and size + needed > ROWS_AT_ONCE:
            yield batch
            batch, size = [], 0
        batch += of_device
        size += needed
    if batch:
        yield batch


def _calls(site: int, as_of: dt.date, only: int | None = None) -> Iterator[Call]:
    known = head().size
    devices = devices_at(site, on=as_of, known=known, only=only)
    written = written_at(site, on=as_of, known=known, only=only)
    done = _by_device(completed([device.device for device in devices], known=known))
    terms = terms_on(as_of, known=known)
    meters = meters_at(site, on=as_of, known=known, only=only)
    background = Background(Covering(known), former_terms(as_of, known), meters, as_of)
    for device in devices:
        for plan in terms:
            if not covers(plan, device):
                continue
            covered = covered_by(plan, device, done[device.device], background)
            there = written[device.device, plan.plan]
            change = difference(covered, there, as_of)
            if change:
                yield Call(device.device, plan, covered, there, change, _why(plan, covered))


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


def _drafts(calls: list[Call], as_of: dt.date) -> Iterator[Draft]:
    """Of each device one entry with what is due, and one with what is withdrawn."""
    by_device: dict[int, list[Call]] = defaultdict(list)
    for call in calls:
        by_device[call.device].append(call)
    for device, of_device in by_device.items():
        due = [_due_row(call, each) for call in of_device for each in call.change.add]
        if due:
            yield Draft("inspections_due", device, due)
        turned = [row for call in of_device for row in _withdrawals(call, as_of)]
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
