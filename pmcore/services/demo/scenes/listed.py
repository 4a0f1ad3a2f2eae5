"""Every scene, by its name."""

from collections.abc import Callable
from dataclasses import dataclass

from pmcore.services.demo.changes import Changes
from pmcore.services.demo.diary import Diary
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes import (
    batteries,
    doubted_instrument,
    hand_control,
    identical_readings,
    impact,
    intervals,
    late_result,
    moved_part,
    no_access,
    not_located,
    returns,
    tiny_group,
    use_error,
    workshop_floor,
)
from pmcore.services.demo.world import World


@dataclass(frozen=True, slots=True)
class Scene:
    """`changes`: what it changes in the ordinary run of things; `note`: what it adds to it."""

    name: str
    changes: Callable[[World, Rota], Changes] | None = None
    note: Callable[[World, Rota, Diary], None] | None = None


SCENES = (
    Scene(no_access.NAME, no_access.changes),
    Scene(late_result.NAME, late_result.changes),
    Scene(not_located.NAME, not_located.changes, not_located.note),
    Scene(workshop_floor.NAME, note=workshop_floor.note),
    Scene(doubted_instrument.NAME, doubted_instrument.changes, doubted_instrument.note),
    Scene(identical_readings.NAME, identical_readings.changes),
    Scene("load_cells", intervals.load_cells),
    Scene("monitor_checks", intervals.monitor_checks),
    Scene(moved_part.NAME, note=moved_part.note),
    Scene(hand_control.NAME, note=hand_control.note),
    Scene(impact.NAME, note=impact.note),
    Scene(batteries.SHORT_LIVED, note=batteries.short_lived),
    Scene(batteries.LONG_LIVED, note=batteries.long_lived),
    Scene(use_error.NAME, note=use_error.note),
    Scene(returns.NAME, note=returns.note),
    Scene(tiny_group.NAME, note=tiny_group.note),
)
