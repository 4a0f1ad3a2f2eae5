"""Readers of the history: because it has no gaps and stands in the order of commits, it is also the outbox."""

from collections.abc import Callable, Sequence

from django.db import transaction

from pmcore.models import Entry, Follower

AT_ONCE = 2_000


def follow(*, name: str, handle: Callable[[Sequence[Entry]], None], limit: int = AT_ONCE) -> int:
    """Hand the entries after the follower's watermark to `handle`, in order, and move the watermark with what the
    handler wrote: both or neither. How many there were; none also when another worker was quicker.

    Raises what the handler raises; the entries then come again.
    """
    follower, _ = Follower.objects.get_or_create(name=name)
    entries = list(Entry.objects.filter(seq__gt=follower.seen).order_by("seq")[:limit])
    if not entries:
        return 0
    with transaction.atomic():
        if not Follower.objects.filter(name=name, seen=follower.seen).update(seen=entries[-1].seq):
            return 0
        handle(entries)
    return len(entries)
