"""What an entry about faults wrote on a device, and what still stands against its use."""

import datetime as dt
from dataclasses import dataclass

from pmcore.models import (
    Entry,
    FaultDetails,
    FindingDetails,
    HoldDetails,
    ReleasedHold,
    ReleaseStatement,
)
from pmcore.queries.holds import HoldInForce, holds_in_force
from pmcore.queries.taken_back import TakenBack, taken_back

KINDS = frozenset({"fault_reported", "finding_made", "hold_placed", "release_signed"})


@dataclass(frozen=True, slots=True)
class FaultRecorded:
    """`gone`: what the entry says never was, first what it is about. `account`: of a report; `found`: subsystem, mode
    and cause of a finding, `again` that it was made before; `held`: the reasons of the holds that it placed; `lifted`:
    those of the holds that it released, with the `restriction` that remains. `standing`: what is in force on the
    day."""

    kind: str
    entry: int
    at: dt.datetime
    gone: tuple[TakenBack, ...]
    account: str | None
    found: tuple[str, str, str] | None
    again: bool
    held: tuple[str, ...]
    lifted: tuple[str, ...]
    restriction: str | None
    standing: tuple[HoldInForce, ...]


def fault_recorded(device: int, entry: int, *, as_of: dt.date, known: int) -> FaultRecorded | None:
    """None: the entry is none of the `KINDS` about the device, or later than the size. A fixed number of statements."""
    row = Entry.objects.filter(seq=entry, seq__lte=known, subject=device, kind__in=KINDS)
    said = row.values_list("kind", "at").first()
    if said is None:
        return None
    accounts = FaultDetails.objects.filter(entry=entry).values_list("account__words", flat=True)
    findings = FindingDetails.objects.filter(entry=entry).values_list(
        "subsystem", "mode__words", "cause", "finding__entry"
    )
    finding = findings.first()
    lifted = ReleasedHold.objects.filter(entry=entry).values_list("hold_id", flat=True)
    reasons = HoldDetails.objects.filter(hold__in=list(lifted)).order_by("from_on").values_list("hold_id", "reason")
    restriction = ReleaseStatement.objects.filter(entry=entry).values_list("restriction__words", flat=True).first()
    written = accounts.first()
    held = tuple(HoldDetails.objects.filter(entry=entry).order_by("id").values_list("reason", flat=True))
    return FaultRecorded(
        *said[:1], entry, said[1],
        gone=tuple(each for each in taken_back(device, known) if each.entry == entry),
        account=written,
        found=None if finding is None else (finding[0], finding[1] or "", finding[2]),
        again=finding is not None and finding[3] != entry,
        held=held,
        lifted=tuple(dict(reasons).values()),
        restriction=restriction,
        standing=tuple(holds_in_force(device, as_of, known)),
    )  # fmt: skip
