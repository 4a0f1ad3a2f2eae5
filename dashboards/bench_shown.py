"""The steps of a sheet as the page shows them."""

from typing import Any

from dashboards import bench_words as say
from pmcore.queries.bench_sheet import BenchSheet, BenchStep


def step_shown(number: int, each: Any, sheet: BenchSheet) -> dict[str, Any]:
    step: BenchStep = each.step
    kind = step.step.kind
    return {
        "number": number,
        "key": step.step.key,
        "prompt": step.prompt,
        "hint": say.hint(step),
        "unit": say.unit_in_words(step.unit),
        "answers": [(str(outcome), word, each.outcome == outcome) for outcome, word in say.answers(step)],
        "numbers": _numbers(each) if kind in {"measure", "count", "angle_pair", "two_way_travel"} else [],
        "date_code": kind == "date_code",
        "instruments": [(str(one.instrument), one) for one in sheet.instruments] if step.step.instrument_wanted else [],
        "wants_instrument": step.step.instrument_wanted,
        "typed": each.typed,
        "error": each.error,
        "note_open": bool(each.typed.get("note")) or "note" in each.error,
    }


def _numbers(each: Any) -> list[tuple[str, str, str]]:
    """Name, label and what was typed of each number that the step asks for."""
    step: BenchStep = each.step
    pair = {"angle_pair": ("left", "right"), "two_way_travel": ("out", "back")}.get(step.step.kind)
    names = (
        [("as_found", "As found"), ("as_left", "As left")] if step.step.kind != "count" else [("as_found", "Counted")]
    )
    found = []
    for name, label in names:
        found.append((name, f"{label}, {pair[0]}" if pair else label, each.typed.get(name, "")))
        if pair:
            second = f"{name}_second"
            found.append((second, f"{label}, {pair[1]}", each.typed.get(second, "")))
    return found
