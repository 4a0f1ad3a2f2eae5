"""What was computed a moment ago is not computed again: an answer hangs only on what was asked, of which size of the
history, as of which day, for whose sites. All of it is in the key, so nothing remembered can be out of date."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import TypeVar, cast

_MOST = 128

_Answer = TypeVar("_Answer")

_answers: "OrderedDict[Hashable, object]" = OrderedDict()
_lock = Lock()


def remembered(key: Hashable, compute: Callable[[], _Answer]) -> _Answer:
    """The answer to the key; of this process, the most recent ones only."""
    with _lock:
        if key in _answers:
            _answers.move_to_end(key)
            return cast(_Answer, _answers[key])
    answer = compute()
    with _lock:
        _answers[key] = answer
        while len(_answers) > _MOST:
            _answers.popitem(last=False)
    return answer


def forget() -> None:
    """Everything, as a process that has just begun."""
    with _lock:
        _answers.clear()
