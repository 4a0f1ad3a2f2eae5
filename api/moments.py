"""The clock is read once a request."""

import datetime as dt
from typing import Any

from rest_framework.request import Request

from pmcore import clock


def moment_of(request: Request) -> dt.datetime:
    """The moment at which the request came."""
    asked: Any = request._request
    if not hasattr(asked, "came_at"):
        asked.came_at = clock.now()
    came_at: dt.datetime = asked.came_at
    return came_at
