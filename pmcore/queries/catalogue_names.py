"""What sites, areas, device models, classes and revisions are called: the newest names known."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, NamedTuple

from pmcore.models import Area, AreaDetails, ClassDetails, ModelDetails, RevisionDetails, SiteDetails
from pmcore.models.base import RecordedQuerySet

_NOT_RECORDED = "not recorded"


@dataclass(frozen=True, slots=True)
class Named:
    id: int
    name: str


@dataclass(frozen=True, slots=True)
class SiteNamed:
    id: int
    label: str
    name: str


class ModelNamed(NamedTuple):
    maker: str
    name: str
    device_class: int | None


class CatalogueNames:
    """As known at a size of the history: six statements, however many devices there are."""

    def __init__(self, known: int) -> None:
        self._site_of: dict[int, int] = dict(Area.objects.known(known).values_list("id", "site_id"))
        self._sites = _newest(SiteDetails.objects.known(known), "site_id", "label", "name")
        self._areas = _newest(AreaDetails.objects.known(known), "area_id", "name")
        self._classes = _newest(ClassDetails.objects.known(known), "device_class_id", "name")
        self._revisions = _newest(RevisionDetails.objects.known(known), "revision_id", "label")
        described = _newest(ModelDetails.objects.known(known), "device_model_id", "maker", "name", "device_class_id")
        self._models = {model: ModelNamed(*said) for model, said in described.items()}

    def site_of(self, area: int) -> int:
        """0: there is no such area."""
        return self._site_of.get(area, 0)

    def site(self, site: int) -> SiteNamed:
        return SiteNamed(site, *self._sites.get(site, ("", _NOT_RECORDED)))

    def area(self, area: int) -> Named:
        return Named(area, *self._areas.get(area, (_NOT_RECORDED,)))

    def model(self, model: int) -> ModelNamed:
        return self._models.get(model, ModelNamed(_NOT_RECORDED, _NOT_RECORDED, None))

    def class_of(self, model: int) -> int | None:
        return self.model(model).device_class

    def device_class(self, device_class: int | None) -> Named | None:
        """None: nobody said of which class it is."""
        if device_class is None:
            return None
        return Named(device_class, *self._classes.get(device_class, (_NOT_RECORDED,)))

    def revision(self, revision: int | None) -> str | None:
        return None if revision is None else self._revisions.get(revision, (_NOT_RECORDED,))[0]

    def areas_of(self, sites: Collection[int] | None, wanted: Collection[int] | None) -> list[int] | None:
        """The areas at the sites, those that are wanted; None: every area."""
        if sites is None and wanted is None:
            return None
        return [
            area
            for area, site in self._site_of.items()
            if (sites is None or site in sites) and (wanted is None or area in wanted)
        ]

    def models_of(self, classes: Collection[int] | None, wanted: Collection[int] | None) -> list[int] | None:
        """The models of the classes, those that are wanted; None: every model."""
        if classes is None and wanted is None:
            return None
        return [
            model
            for model, said in self._models.items()
            if (classes is None or said.device_class in classes) and (wanted is None or model in wanted)
        ]

    def models_called(self, word: str) -> list[int]:
        """The models whose maker or name holds the word, whatever its case."""
        sought = word.casefold()
        return [
            model
            for model, said in self._models.items()
            if sought in said.maker.casefold() or sought in said.name.casefold()
        ]


def _newest(facts: RecordedQuerySet[Any], key: str, *values: str) -> dict[int, tuple[Any, ...]]:
    rows = facts.order_by("from_on", "id").values_list(key, *values)
    return {thing: tuple(said) for thing, *said in rows}
