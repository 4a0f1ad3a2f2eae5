"""Bench: a technician's own work."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from dashboards import bench_words as say
from dashboards.access import Asking, asking, page
from dashboards.compliance_asking import given
from dashboards.words import day_in_words
from pmcore.queries.due_list import TO_DO, DueFilter, DuePage, due_page
from pmcore.queries.head import head
from pmcore.queries.own_work import own_work
from pmcore.queries.parameters import BadParameters, Parameters

_LONGEST_WORDS = 80
_FOUND = 50


@page("bench")
def start(request: HttpRequest) -> HttpResponse:
    """What is given to whoever is signed in, and what is open where they work."""
    found, known = asking(request), head().size
    words, error = _words(request)
    work = own_work(as_of=found.today, known=known, actor=found.actor)
    context = {
        "quiet": [day_in_words(found.today, weekday=True), f"record size {known:,}"],
        "headline": say.own_headline(work, found.today),
        "second": say.own_second(work),
        "work": work,
        "words": request.GET.get("words", ""),
        "error": error,
        "found": _search(words, found, known) if words else None,
    }
    return render(request, "dashboards/bench.html", context, status=400 if error else 200)


def _words(request: HttpRequest) -> tuple[str, str]:
    """What is looked for, and what is wrong with it."""
    reader = Parameters(given(request.GET), ("words",))
    words = reader.one("words", str) or ""
    try:
        reader.refuse()
    except BadParameters as bad:
        return "", " ".join(bad.errors.values())
    if len(words) > _LONGEST_WORDS or "\x00" in words:
        return "", f"At most {_LONGEST_WORDS} letters are looked for."
    return words.strip(), ""


def _search(words: str, found: Asking, known: int) -> DuePage:
    asked = DueFilter(words=words, states=TO_DO)
    return due_page(asked, as_of=found.today, known=known, actor=found.actor, limit=_FOUND)
