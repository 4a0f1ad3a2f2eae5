"""Are the kept standings those of the record? Figures are counted from them, so whoever altered one would alter a
percentage and leave the history sound."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from pmcore.models import Device, KeptCoverage, KeptStanding
from pmcore.queries.changed_devices import changed_since_kept
from pmcore.queries.coverage_spells import CoverageRow, PlanAims, coverage_rows
from pmcore.queries.faults import Report
from pmcore.queries.head import head
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_rows import Standing
from pmcore.queries.standings import DEVICES_AT_ONCE, standings_of


def check_kept(report: Report) -> None:
    """Computed anew for every device that kept ones answer for; those of other devices nobody reads. Needs a record
    that can be read, as it is once the entries are found sound."""
    size = head().size
    changed = changed_since_kept(size)
    if changed is None:
        return
    facts, aims = catalogue(size), PlanAims(size)
    there = {*Device.objects.known(size).values_list("pk", flat=True)}
    there.update(KeptStanding.objects.values_list("device", flat=True).distinct())
    there.update(KeptCoverage.objects.values_list("device", flat=True).distinct())
    devices = sorted(there - changed)
    for start in range(0, len(devices), DEVICES_AT_ONCE):
        chunk = devices[start : start + DEVICES_AT_ONCE]
        for what, table, columns, computed in (
            ("standings", KeptStanding, Standing._fields, standings_of(chunk, facts)),
            ("coverage", KeptCoverage, CoverageRow._fields, coverage_rows(chunk, aims, size)),
        ):
            kept = _by_device(columns, table.objects.filter(device__in=chunk).values_list(*columns))
            right = _by_device(columns, computed)
            for device in chunk:
                if kept[device] != right[device]:
                    says = f"The kept {what} of the device {device} are not those of the record."
                    report.fault("kept_altered", says)


def _by_device(columns: Sequence[str], rows: Iterable[Sequence[int]]) -> dict[int, list[tuple[int, ...]]]:
    """The rows of each device, sorted; its id stands in the column of that name."""
    at = columns.index("device")
    found: dict[int, list[tuple[int, ...]]] = defaultdict(list)
    for row in sorted(map(tuple, rows)):
        found[row[at]].append(row)
    return found
