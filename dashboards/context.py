"""What stands around every page: where one can go, who is signed in, and whether this is a demonstration."""

from typing import Any, cast

from django.http import HttpRequest

from dashboards.access import PAGES, Asking
from dashboards.words import day_in_words
from pmcore import clock
from pmcore.queries.alerts import unacknowledged


def frame(request: HttpRequest) -> dict[str, Any]:
    found: Asking | None = getattr(request, "asking", None)
    seen = [] if found is None else [(name, word) for name, (word, roles) in PAGES.items() if found.actor.role in roles]
    waiting = 0 if found is None else unacknowledged(found.actor.person or 0)
    cast(Any, request).alerts_waiting = waiting
    return {
        "pages": seen,
        "alerts_waiting": waiting,
        "here": getattr(request, "page", None),
        "asking": found,
        "role_word": "" if found is None else found.actor.role.value.replace("_", " "),
        "demo_day": day_in_words(clock.now().date(), weekday=True) if clock.is_set_back() else None,
    }
