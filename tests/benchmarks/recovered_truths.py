"""How often what is planted in the demonstration is found again, and how many false alarms come with it. One command
prints the table:

    python -m tests.benchmarks.recovered_truths --seeds 200

Every seed draws the failures of three years anew, by the demonstration's own scenes, into a scratch database. The
ordinary inspections are left out: what they find are potential failures, which this screening does not count, and their
holds take less than a thousandth of the days in service.
"""

import argparse
import datetime as dt
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING

from tests.benchmarks.record import scratch_database

if TYPE_CHECKING:
    from pmcore.queries.reliability_names import Names
    from pmcore.queries.reliability_standouts import Difference, Standout, StandoutsReport
    from pmcore.services.demo.diary import Diary

HAND_CONTROL, IMPACT, THEATRE = "hand control", "impact", "one theatre"
FIRST_SEED = 1


def build_failures(seed: int) -> None:
    """Sites, devices, and whatever the scenes tell of them, into an empty record."""
    from pmcore.services.demo.fleet import machines
    from pmcore.services.demo.opening import open_health_system, take_over_devices
    from pmcore.services.demo.parameters import quillmere
    from pmcore.services.demo.rota import Rota
    from pmcore.services.demo.scenes import doubted_instrument
    from pmcore.services.demo.scenes.listed import SCENES
    from pmcore.services.demo.world import World

    parameters = quillmere()
    world = World(parameters, seed, machines(parameters, seed, parameters.devices))
    open_health_system(world, short_sheets=True)
    for _ in take_over_devices(world):
        pass
    rota, diary = Rota(parameters, seed), diary_in_stages()
    for scene in SCENES:
        if scene.note is not None and scene.name != doubted_instrument.NAME:  # it tells of no device
            scene.note(world, rota, diary)
    diary.write(world.begins_on)
    diary.write(world.ends_on)


def diary_in_stages() -> "Diary":
    """A diary that writes hour by hour through all days at once, whoever acts: what names something else comes at a
    later hour, so a few dozen transactions do for some thousand. The first day goes before, on its own. When and by
    whom things were entered plays no part here."""
    from pmcore.engines.records import SYSTEM
    from pmcore.services.append import append_in_batches
    from pmcore.services.demo.diary import Diary, moment

    class InStages(Diary):
        def write(self, until: dt.date) -> None:
            deeds = sorted(self._taken(until), key=lambda deed: (deed[1], deed[0], deed[3]))
            for hour, together in groupby(deeds, key=lambda deed: deed[1]):
                drafts = (deed[5]() for deed in together)
                for receipts in append_in_batches(drafts, actor=SYSTEM, at=moment(until, hour)):
                    self.entries += len(receipts)

    return InStages()


def screened() -> "tuple[StandoutsReport, Names]":
    """What the product says stands out, on the last day."""
    from pmcore.engines.records import SYSTEM
    from pmcore.queries.head import head
    from pmcore.queries.reliability_filter import ReliabilityFilter
    from pmcore.queries.reliability_names import names_known
    from pmcore.queries.reliability_standouts import standouts
    from pmcore.services.demo.parameters import quillmere

    ends_on, known = quillmere().ends_on, head().size
    report = standouts(ReliabilityFilter(), as_of=ends_on, known=known, today=ends_on, actor=SYSTEM)
    return report, names_known(known)


def cause_of(each: "Difference", names: "Names") -> str:
    """The planted truth behind a difference; empty where nothing planted explains it. What follows from one, as that a
    model with a bad revision also fails more often than the other model, has the same cause."""
    from pmcore.engines.vocabulary import StandoutFamily, Subsystem
    from pmcore.services.demo.parameters import quillmere

    scenes = quillmere().scenes
    model, device_class = names.models[each.device_model], names.classes[each.device_class]
    named = {each.key: each.name for each in quillmere().classes}
    if each.subsystem is Subsystem.CONTROLS and device_class == named[scenes["hand_control"]["class"]]:
        return HAND_CONTROL if model == scenes["hand_control"]["model"] or not each.more_often else ""
    if each.subsystem is Subsystem.STRUCTURE and device_class == named[scenes["impact"]["class"]]:
        return IMPACT if model == scenes["impact"]["model"] or not each.more_often else ""
    in_theatre = device_class in {named[key] for key in scenes["use_error"]["classes"]}
    is_site = each.family is StandoutFamily.SITE and each.subsystem is Subsystem.CONTROLS
    return THEATRE if in_theatre and is_site else ""


def is_hand_control(each: "Difference", names: "Names") -> bool:
    from pmcore.engines.vocabulary import StandoutFamily

    return (
        each.family is StandoutFamily.REVISION and each.more_often and cause_of(each, names) == HAND_CONTROL
        and names.labels[each.key] == "B"
    )  # fmt: skip


def is_impact(each: "Difference", names: "Names") -> bool:
    from pmcore.engines.vocabulary import StandoutFamily

    at_site = each.family is StandoutFamily.SITE and names.sites[each.key] == "Fallow Lane"
    return at_site and each.more_often and cause_of(each, names) == IMPACT


def is_tiny_group(each: "Difference", names: "Names") -> bool:
    from pmcore.engines.vocabulary import StandoutFamily

    return each.family is StandoutFamily.REVISION and names.models[each.device_model] == "Chert"


def everything(found: "tuple[Standout, ...]") -> "Iterator[Difference]":
    """Each standout, followed by what stands beside it."""
    for each in found:
        yield each
        yield from each.beside


def false_flags(report: "StandoutsReport", names: "Names") -> "list[Difference]":
    return [each for each in everything(report.standouts) if not cause_of(each, names)]


def in_words(each: "Difference", names: "Names") -> str:
    from pmcore.engines.vocabulary import StandoutFamily

    of_site = each.family is StandoutFamily.SITE
    group = names.sites[each.key] if of_site else names.labels.get(each.key, "the model")
    often = "more" if each.more_often else "less"
    return f"{each.subsystem} of {names.models[each.device_model]}, {each.family} {group}: {often} often"


@dataclass
class Tally:
    seeds: int = 0
    found: Counter[str] = field(default_factory=Counter)
    false: Counter[int] = field(default_factory=Counter)
    what: Counter[str] = field(default_factory=Counter)
    ratios: list[float] = field(default_factory=list)
    impacts: list[float] = field(default_factory=list)
    compared: list[int] = field(default_factory=list)

    def add(self, report: "StandoutsReport", names: "Names") -> None:
        told = list(report.standouts)
        self.seeds += 1
        self.compared.append(report.compared)
        hand = [each for each in told if is_hand_control(each, names)]
        hit = [each for each in told if is_impact(each, names)]
        self.ratios += [each.ratio for each in hand if each.ratio is not None]
        self.impacts += [each.ratio for each in hit if each.ratio is not None]
        self.found["hand control found"] += bool(hand)
        self.found["hand control first in the list"] += bool(told) and told[0] in hand
        self.found["impact found"] += bool(hit)
        self.found["impact second in the list"] += len(told) > 1 and told[1] in hit
        self.found["tiny group in the first ten"] += any(is_tiny_group(each, names) for each in told[:10])
        self.found["one theatre's reports told too"] += any(cause_of(each, names) == THEATRE for each in told)
        false = false_flags(report, names)
        self.false[len(false)] += 1
        self.what.update(in_words(each, names) for each in false)

    def lines(self) -> Iterator[str]:
        for name, count in self.found.items():
            yield f"{name:<40} {count:>5} of {self.seeds}"
        for name, ratios in (("hand control", self.ratios), ("impact", self.impacts)):
            if ratios:
                yield f"{f'ratio of {name}, lowest to highest':<40} {min(ratios):.3f} to {max(ratios):.3f}"
        yield f"{'comparisons made':<40} {min(self.compared)} to {max(self.compared)}"
        for number, count in sorted(self.false.items()):
            yield f"{f'seeds with {number} false flags':<40} {count:>5} of {self.seeds}"
        yield from (f"  {count} times: {what}" for what, count in self.what.most_common(12))


def recovered(seeds: int, first: int = FIRST_SEED) -> Iterator[Tally]:
    """After each seed, so far; the database is as before."""
    from django.db import transaction

    tally = Tally()
    for seed in range(first, first + seeds):
        with transaction.atomic():
            build_failures(seed)
            tally.add(*screened())
            transaction.set_rollback(True)
        yield tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    asked = parser.parse_args()
    began = time.perf_counter()
    with scratch_database():
        for tally in recovered(asked.seeds, asked.first):
            if tally.seeds % 20 == 0 or tally.seeds == asked.seeds:
                seconds = time.perf_counter() - began
                print(
                    f"\nAfter {tally.seeds} seeds, {seconds / tally.seeds:.1f} s each",
                    *tally.lines(),
                    sep="\n",
                    flush=True,
                )


if __name__ == "__main__":
    main()
