"""The filters of the reliability page, with what was chosen and what is wrong with it."""

from typing import Any

from django.http import HttpRequest

from dashboards.access import asking
from dashboards.compliance_asking import given
from dashboards.finding_form import DISCOVERIES
from dashboards.words import words_of
from pmcore.engines.vocabulary import Discovery, FailureEvidence, RateGrouping, Subsystem
from pmcore.queries.head import head
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_scope import KINDS

_CHOICES = ("device_class", "device_model", "revision", "site", "area", "subsystem", "kind", "discovery", "evidence")
_SHOWN = (*_CHOICES, "from", "to", "as_of", "known", "group_by")
_PAIR = ("group", "reference")
_DISCOVERIES = {word: said for word, said in DISCOVERIES.items() if word is not Discovery.INCOMING}  # no failure
_EVIDENCE = {
    FailureEvidence.ALL: "Any cause",
    FailureEvidence.FOR_INTERVALS: "Those that inspections could prevent",
}


def form_of(request: HttpRequest, names: Names | None, errors: dict[str, str]) -> dict[str, Any]:
    """`names`: where they were read already. What no field shows is kept as it was asked."""
    names = names or names_known(head().size)
    asked, found = given(request.GET), asking(request)
    chosen = {name: ",".join(values) for name, values in asked.items()}
    kinds = [(str(kind), f"{kind} failures") for kind in KINDS] + [(",".join(KINDS), "both, apart")]
    choices = {
        "device_class": _sorted(names.classes),
        "device_model": _sorted({model: names.model(model) for model in _models(names, chosen)}),
        "revision": _sorted({each: names.revision(each) for each in _revisions(names, chosen)}),
        "site": [(str(site.site), site.name) for site in found.sites],
        "area": _sorted(_areas(names, {str(site.site): site.name for site in found.sites}, chosen)),
        "subsystem": [(str(word), words_of(word).capitalize()) for word in Subsystem],
        "kind": kinds,
        "discovery": [(str(word), said) for word, said in _DISCOVERIES.items()],
        "evidence": [(str(word), said) for word, said in _EVIDENCE.items()],
        "group_by": [(str(word), words_of(word)) for word in RateGrouping],
    }
    return {
        "chosen": {"as_of": found.today.isoformat(), "group_by": str(RateGrouping.SUBSYSTEM)} | chosen,
        "choices": {name: _with_asked(listed, chosen.get(name, "")) for name, listed in choices.items()},
        "errors": errors,
        "shown": {*_SHOWN, *_PAIR},
        "kept": [(name, value) for name, values in asked.items() if name not in (*_SHOWN, *_PAIR) for value in values],
        "all": [(name, value) for name, values in asked.items() if name not in _PAIR for value in values],
    }


def _models(names: Names, chosen: dict[str, str]) -> list[int]:
    """Of the class, where one is chosen."""
    wanted = chosen.get("device_class")
    return [model for model, of in names.class_of.items() if wanted is None or str(of) in wanted.split(",")]


def _revisions(names: Names, chosen: dict[str, str]) -> list[int]:
    """Of the model, or of those of the class."""
    models = {str(model) for model in _models(names, chosen)}
    wanted = set(chosen["device_model"].split(",")) if "device_model" in chosen else models
    return [revision for revision, model in names.model_of.items() if str(model) in wanted]


def _areas(names: Names, sites: dict[str, str], chosen: dict[str, str]) -> dict[int, str]:
    """At the site, where one is chosen, or at any that is the asker's."""
    wanted = chosen["site"].split(",") if "site" in chosen else list(sites)
    there = {sites[site] for site in wanted if site in sites}
    return {area: f"{name}, {site}" for area, (site, name) in names.areas.items() if site in there}


def _with_asked(listed: list[tuple[str, str]], asked: str) -> list[tuple[str, str]]:
    """What an address asks for and no list holds, as several at once, is not lost when the form is sent."""
    if not asked or asked in dict(listed):
        return listed
    return [*listed, (asked, "several" if "," in asked else asked)]


def _sorted(named: dict[int, str]) -> list[tuple[str, str]]:
    return sorted(((str(key), name) for key, name in named.items()), key=lambda each: each[1])
