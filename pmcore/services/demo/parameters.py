"""What the demonstration is made from, read from `fixtures/quillmere`: sites, people, equipment, sheets, scenes."""

import datetime as dt
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "quillmere"


@dataclass(frozen=True, slots=True)
class SitePlan:
    """`areas`: name and kind of each."""

    label: str
    name: str
    time_zone: str
    working: str
    areas: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class PersonPlan:
    key: str
    name: str
    role: str
    sites: tuple[str, ...]
    firm: str | None = None
    instrument: str | None = None


@dataclass(frozen=True, slots=True)
class InstrumentPlan:
    """Calibrated every year in `month`."""

    label: str
    site: str
    month: int


@dataclass(frozen=True, slots=True)
class ModelPlan:
    """`numbers`: how many there are at each site; none: the rest of the class."""

    maker: str
    name: str
    energy: tuple[str, ...]
    revisions: tuple[str, ...] = ()
    numbers: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """An inspection plan of a class, in months. `first_due`: the months dealt out to the devices."""

    key: str
    name: str
    every: int
    procedure: str
    floating: bool = False
    first_due: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class ClassPlan:
    """`numbers`: devices by site. `spared`: never left undone, and nothing fails but what a scene plans. `more`: the
    model of which there are more in a larger demonstration."""

    key: str
    name: str
    areas: tuple[str, ...]
    numbers: Mapping[str, int]
    models: tuple[ModelPlan, ...]
    plans: tuple[RoundPlan, ...]
    risk: Mapping[str, str]
    life_support: bool = False
    spared: bool = False
    more: ModelPlan | None = None

    def every_model(self) -> tuple[ModelPlan, ...]:
        return self.models if self.more is None else (*self.models, self.more)


@dataclass(frozen=True, slots=True)
class StepPlan:
    """Of what is measured: the `usual` value and its `spread`, with so many `decimals`."""

    key: str
    kind: str
    prompt: str
    subsystem: str | None = None
    fault: str | None = None
    unit: str | None = None
    low: str | None = None
    high: str | None = None
    usual: float = 0.0
    spread: float = 0.0
    decimals: int = 0


@dataclass(frozen=True, slots=True)
class SheetPlan:
    key: str
    name: str
    minutes: int
    cautions: tuple[str, ...]
    steps: tuple[StepPlan, ...]
    people: int = 1


@dataclass(frozen=True, slots=True)
class Parameters:
    """Everything. `holidays`, `windows`, `risk` and `scenes` as they stand in the files."""

    name: str
    seed: int
    begins_on: dt.date
    ends_on: dt.date
    sites: tuple[SitePlan, ...]
    holidays: Mapping[dt.date, str]
    windows: tuple[Mapping[str, Any], ...]
    risk: Mapping[str, Any]
    providers: Mapping[str, str]
    people: tuple[PersonPlan, ...]
    instruments: tuple[InstrumentPlan, ...]
    instrument_maker: str
    instrument_model: str
    classes: tuple[ClassPlan, ...]
    sheets: Mapping[str, SheetPlan]
    scenes: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def devices(self) -> int:
        """The number of devices, unless one is asked for."""
        return sum(sum(each.numbers.values()) for each in self.classes)

    def technicians(self, site: str) -> list[PersonPlan]:
        return [person for person in self.people if person.role == "technician" and site in person.sites]


def quillmere(folder: Path = FOLDER) -> Parameters:
    """The parameters as they stand in the folder."""
    health, people, equipment, procedures, scenes = (
        tomllib.loads((folder / f"{name}.toml").read_text())
        for name in ("health", "people", "equipment", "procedures", "scenes")
    )
    return Parameters(
        name=health["name"],
        seed=health["seed"],
        begins_on=health["begins_on"],
        ends_on=health["ends_on"],
        sites=tuple(_site(each) for each in health["site"]),
        holidays={dt.date.fromisoformat(day): name for day, name in health["holidays"].items()},
        windows=tuple(health["window"]),
        risk=health["risk"],
        providers={each["key"]: each["name"] for each in people["provider"]},
        people=tuple(PersonPlan(**_frozen(each)) for each in people["person"]),
        instruments=tuple(InstrumentPlan(**each) for each in people["instrument"]),
        instrument_maker=equipment["instrument_maker"],
        instrument_model=equipment["instrument_model"],
        classes=tuple(_class(each) for each in equipment["class"]),
        sheets=_sheets(procedures),
        scenes=scenes,
    )


def _frozen(table: Mapping[str, Any]) -> dict[str, Any]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in table.items()}


def _site(table: Mapping[str, Any]) -> SitePlan:
    areas = tuple((area["name"], area["kind"]) for area in table["areas"])
    return SitePlan(**{**table, "areas": areas})


def _class(table: Mapping[str, Any]) -> ClassPlan:
    models = tuple(ModelPlan(**_frozen(each)) for each in table["models"])
    plans = tuple(RoundPlan(**_frozen(each)) for each in table["plans"])
    more = ModelPlan(**_frozen(table["more"])) if "more" in table else None
    return ClassPlan(**{**_frozen(table), "models": models, "plans": plans, "more": more})


def _sheets(table: Mapping[str, Any]) -> dict[str, SheetPlan]:
    steps = {key: StepPlan(key=key, **step) for key, step in table["steps"].items()}
    return {
        key: SheetPlan(
            key=key,
            name=sheet["name"],
            minutes=sheet["minutes"],
            people=sheet.get("people", 1),
            cautions=tuple(table["cautions"][caution] for caution in sheet["cautions"]),
            steps=tuple(steps[step] for step in sheet["steps"]),
        )
        for key, sheet in table["procedures"].items()
    }
