"""Which devices the kept standings no longer answer for."""

from pmcore.models import Device, Entry, StandingsMark

# Entries of these kinds leave every standing as it was, and every device in the inventory where it is.
CHANGE_NOTHING = frozenset({
    "site_opened", "area_opened", "area_described", "provider_registered", "provider_described", "person_registered",
    "person_described", "role_given", "membership_set", "skill_set", "class_registered", "model_registered",
    "revision_registered", "revision_described", "part_set_registered", "part_set_described", "position_registered",
    "position_described", "part_registered", "part_described", "procedure_registered", "procedure_described",
    "version_approved", "risk_table_named", "limit_named", "limit_changed", "roster_published",
    "instrument_registered", "instrument_described", "text_redacted", "file_attached", "inspection_assigned",
    "alert_rule_made", "alert_rule_changed", "alert_acknowledged",
})  # fmt: skip


def changed_since_kept(known: int) -> set[int] | None:
    """The devices that were written about after the size at which standings were kept, up to `known`; None: what is
    kept answers for none, since it is newer, or an entry may concern every device."""
    mark = StandingsMark.objects.values_list("size", flat=True).first()
    if mark is None or mark > known:
        return None
    return changed_devices(mark, known)


def changed_devices(since: int, known: int) -> set[int] | None:
    """The devices that entries after `since`, up to `known`, are about; None: an entry may concern every device."""
    entries = Entry.objects.filter(seq__gt=since, seq__lte=known).exclude(kind__in=CHANGE_NOTHING).order_by()
    if entries.exclude(subject__in=Device.objects.values("pk")).exists():
        return None
    return set(entries.values_list("subject", flat=True).distinct())
