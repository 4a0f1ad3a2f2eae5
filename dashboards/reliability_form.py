"""The filters of the reliability page, with what was chosen and what is wrong with it."""

from typing import Any

from django.http import HttpRequest

from dashboards.access import asking
from dashboards.compliance_asking import given
from dashboards.words import words_of
from pmcore.engines.vocabulary import RateGrouping
from pmcore.queries.head import head
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_scope import KINDS

_SHOWN = ("device_class", "device_model", "revision", "site", "kind", "from", "to", "as_of", "known", "group_by")
_PAIR = ("group", "reference")


def form_of(request: HttpRequest, names: Names | None, errors: dict[str, str]) -> dict[str, Any]:
    """`names`: where they were read already. What no field shows is kept as it was asked."""
    names = names or names_known(head().size)
    asked, found = given(request.GET), asking(request)
    chosen = {name: ",".join(values) for name, values in asked.items()}
    return {
        "chosen": {"as_of": found.today.isoformat(), "group_by": str(RateGrouping.SUBSYSTEM)} | chosen,
        "classes": _sorted(names.classes),
        "models": _sorted({model: names.model(model) for model in _models(names, chosen)}),
        "revisions": _sorted({each: names.revision(each) for each in _revisions(names, chosen)}),
        "sites": [(str(site.site), site.name) for site in found.sites],
        "kinds": [(str(kind), f"{kind} failures") for kind in KINDS] + [(",".join(KINDS), "both, apart")],
        "groupings": [(str(word), words_of(word)) for word in RateGrouping],
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


def _sorted(named: dict[int, str]) -> list[tuple[str, str]]:
    return sorted(((str(key), name) for key, name in named.items()), key=lambda each: each[1])
