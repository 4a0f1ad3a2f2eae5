"""What stands around every page: where one can go, who is signed in, and whether this is a demonstration."""

from typing import Any

from django.http import HttpRequest

from dashboards.access import PAGES, Asking
from dashboards.words import day_in_words
from pmcore import clock


def frame(request: HttpRequest) -> dict[str, Any]:
    found: Asking | None = getattr(request, "asking", None)
    seen = [] if found is None else [(name, word) for name, (word, roles) in PAGES.items() if found.actor.role in roles]
    return {
        "pages": seen,
        "here": getattr(request, "page", None),
        "asking": found,
        "role_word": "" if found is None else found.actor.role.value.replace("_", " "),
        "demo_day": day_in_words(clock.now().date(), weekday=True) if clock.is_set_back() else None,
    }
