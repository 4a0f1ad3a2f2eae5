"""What was computed at size N comes out identical later, whatever was appended since: late entries, corrections,
entries taken back, in any order."""

import datetime as dt
import random
from typing import Any

import pytest

from pmcore.models import Placement, ServiceState
from pmcore.models.rows import Row
from pmcore.queries.head import head, root_at
from pmcore.queries.verification import verify
from tests.history import World, a_device, day, small_world, written

pytestmark = pytest.mark.django_db

HISTORIES = 500
STEPS = 8
ASKED_ON = [day("2026-02-01"), day("2026-05-15"), day("2026-09-30"), day("2026-12-31")]


def figure(device: int, size: int) -> list[Any]:
    """Where the device was and in what state on each day that is asked about, and how many facts were known."""
    answer: list[Any] = []
    for on in ASKED_ON:
        for model, column in ((Placement, "area_id"), (ServiceState, "state")):
            known = model.objects.known(size).filter(device=device)
            answer.append(list(known.on(on).values_list(column, flat=True)))
            answer.append(known.filter(from_on__lte=on).count())
    return answer


def one_step(world: World, device: int, chance: random.Random) -> None:
    """Something happens late or early, is corrected, or is taken back."""
    model: Any = chance.choice([Placement, ServiceState])
    kind = "device_placed" if model is Placement else "service_state_set"
    current = list(model.objects.current().filter(device=device))
    taken = {fact.from_on for fact in current}
    deed = chance.choice(["late entry", "correction", "taken back"]) if current else "late entry"
    replaced = chance.choice(current) if deed != "late entry" else None
    if replaced is not None:
        taken.discard(replaced.from_on)
    from_on = day("2026-01-01") + dt.timedelta(days=chance.randrange(365))
    while from_on in taken:
        from_on += dt.timedelta(days=1)
    value = (
        {"area": chance.choice([world.theatre, world.ward])}
        if model is Placement
        else {"state": chance.choice(["in_service", "stored", "not_located"])}
    )
    rows = [] if deed == "taken back" else [Row(model, device=device, from_on=from_on, **value)]
    written(kind, device, *rows, replaces=[replaced] if replaced is not None else [])


def test_a_figure_at_a_size_never_changes() -> None:
    world = small_world()
    printed: list[tuple[int, int, list[Any], bytes]] = []
    for seed in range(HISTORIES):
        chance = random.Random(seed)
        device = a_device(world.model, f"R-{seed}", world.theatre)
        for _ in range(STEPS):
            one_step(world, device, chance)
            if chance.random() < 0.3:
                size = head().size
                printed.append((device, size, figure(device, size), head().root))
    assert len(printed) > HISTORIES
    sample = random.Random(0).sample(printed, 300)
    assert all(figure(device, size) == then for device, size, then, _ in printed)
    assert all(root_at(size) == root for _, size, _, root in sample)
    assert len({str(then) for _, _, then, _ in printed}) > 100, "the histories hardly differ"
    assert verify().sound
