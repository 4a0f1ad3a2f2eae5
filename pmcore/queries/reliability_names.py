"""What the groups of a failure rate are called: the newest names known."""

from dataclasses import dataclass

from pmcore.engines.vocabulary import RateGrouping
from pmcore.models import ModelDetails, RevisionDetails
from pmcore.queries.group_names import area_names, class_names, site_names

_NOBODY_SAID = "not recorded"


@dataclass(frozen=True, slots=True)
class Names:
    """By id: classes, models with their maker, revisions with their model and label, sites, areas with their site's
    name. `class_of`: of each model; `model_of`: of each revision."""

    classes: dict[int, str]
    makers: dict[int, str]
    models: dict[int, str]
    class_of: dict[int, int]
    labels: dict[int, str]
    model_of: dict[int, int]
    areas: dict[int, tuple[str, str]]
    sites: dict[int, str]

    def of(self, group_by: RateGrouping, key: int | str) -> str:
        if isinstance(key, str):
            return key.replace("_", " ")
        match group_by:
            case RateGrouping.MODEL:
                return self.model(key)
            case RateGrouping.REVISION:
                return self.revision(key)
            case RateGrouping.SITE:
                return self.sites.get(key, _NOBODY_SAID)
        return ", ".join(part for part in self.areas.get(key, ("", "")) if part) or _NOBODY_SAID

    def model(self, model: int) -> str:
        return f"{self.makers[model]} {self.models[model]}" if model in self.models else _NOBODY_SAID

    def revision(self, revision: int) -> str:
        label = self.labels.get(revision)
        return f"{self.model(self.model_of[revision])} revision {label}" if label is not None else _NOBODY_SAID

    def known_in(self, group_by: RateGrouping, key: int) -> bool:
        match group_by:
            case RateGrouping.MODEL:
                return key in self.models
            case RateGrouping.REVISION:
                return key in self.labels
            case RateGrouping.SITE:
                return key in self.sites
        return key in self.areas


def names_known(known: int) -> Names:
    """Six statements, whatever there is."""
    described = ModelDetails.objects.known(known).order_by("from_on", "id")
    columns = ("device_model_id", "device_class_id", "maker", "name")
    models = list(described.values_list(*columns))
    revisions = RevisionDetails.objects.known(known).order_by("from_on", "id")
    labelled = list(revisions.values_list("revision_id", "revision__device_model_id", "label"))
    return Names(
        classes=class_names(known),
        makers={model: maker for model, _, maker, _ in models},
        models={model: name for model, _, _, name in models},
        class_of={model: device_class for model, device_class, _, _ in models},
        labels={revision: label for revision, _, label in labelled},
        model_of={revision: model for revision, model, _ in labelled},
        areas=area_names(known),
        sites=site_names(known),
    )
