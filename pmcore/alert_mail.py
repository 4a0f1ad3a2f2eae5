"""A letter as plain text and as HTML: the same sentences in both."""

from collections import Counter
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from pmcore.alert_words import about, counted, day_words, risk, sentence
from pmcore.engines.vocabulary import AlertKind
from pmcore.queries.alerts import URGENCY, AlertItem
from pmcore.queries.letters import Letter
from pmcore.services.mails import Composed

_LISTED = 100
_SUBJECT = 150


def compose(letter: Letter) -> Composed:
    """The subject says what matters; what is to be done comes first, what was done meanwhile at the end."""
    standing = [item for item in letter.items if item.stands]
    kinds = Counter(item.kind for item in standing)
    headline = counted({kind: kinds[kind] for kind in URGENCY})
    if not standing:
        headline = "What you were to be told of has been done meanwhile."
    context: dict[str, Any] = {
        "name": letter.name,
        "day": day_words(letter.today, weekday=True),
        "headline": headline,
        "standing": [_line(item, letter) for item in standing[:_LISTED]],
        "more": len(standing) - len(standing[:_LISTED]),
        "over": [_line(item, letter) for item in letter.items if not item.stands][:_LISTED],
        "at_once": letter.at_once,
        "alerts": _link("alerts"),
    }
    subject = headline.rstrip(".")
    if len(subject) > _SUBJECT:
        subject = f"{len(standing):,} matters wait for you"
    text = render_to_string("pmcore/letter.txt", context)
    return Composed(f"pmcore: {subject}", text, render_to_string("pmcore/letter.html", context))


def _line(item: AlertItem, letter: Letter) -> dict[str, Any]:
    said_risk = risk(item) or ("high risk" if item.kind is AlertKind.HIGH_RISK_OVERDUE else "")  # no kind stands here
    where = ", ".join(part for part in (item.site_name, item.due.area_name if item.due else "") if part)
    said = {"about": about(item), "where": where, "risk": said_risk, "sentence": sentence(item, letter.today)}
    link = _link("device", item.device.device) if item.device is not None else ""
    return {**said, "link": link}


def _link(page: str, *about: int) -> str:
    """To a page, where somebody said under which address people open them."""
    return f"{settings.PAGE_ADDRESS}{reverse(page, args=about)}" if settings.PAGE_ADDRESS else ""
