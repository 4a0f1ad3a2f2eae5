"""Windows that closed undone when the next had opened by then, so that they are overdue on no day. Until that one is
done, nothing was made good: whoever is told of what is overdue is told of these as well."""

import datetime as dt

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.vocabulary import DueState
from pmcore.models import DueInspection
from pmcore.queries.read_standings import standings_for
from pmcore.queries.standing_catalogue import Catalogue
from pmcore.queries.standing_rows import Standings

_Window = tuple[int, int, dt.date]
"""A device, a plan, and the day on which the window opens."""


def missed_windows(among: Standings, *, as_of: dt.date, catalogue: Catalogue) -> frozenset[int]:
    """Which of the due inspections are not met on the day while the next window is open and undone. Two statements and
    those that read standings; where none of them is not met, none."""
    not_met = among.where(states_on(among, as_of) == STATES.index(DueState.NOT_MET))
    following = {
        due: (device, plan, opens_on)
        for due, device, plan, opens_on in zip(
            not_met.due_inspection.tolist(), not_met.device.tolist(), not_met.plan.tolist(),
            not_met.next_opens_on.tolist(), strict=True,
        )
        if opens_on is not None  # it left, and nothing follows
    }  # fmt: skip
    if not following:
        return frozenset()
    undone = _undone(set(following.values()), as_of, catalogue)
    return frozenset(due for due, window in following.items() if window in undone)


def _undone(windows: set[_Window], as_of: dt.date, catalogue: Catalogue) -> set[_Window]:
    """Those of the windows that are open on the day."""
    rows = DueInspection.objects.known(catalogue.known).filter(
        device__among={device for device, _, _ in windows}, opens_on__gte=min(opens_on for _, _, opens_on in windows)
    )
    listed = rows.values_list("pk", "device_id", "plan_id", "opens_on")
    of_due = {due: window for due, *rest in listed if (window := tuple(rest)) in windows}
    found = standings_for(of_due, catalogue=catalogue)
    still_open = found.where(states_on(found, as_of) == STATES.index(DueState.OPEN))
    return {of_due[due] for due in still_open.due_inspection.tolist()}
