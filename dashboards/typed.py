"""What somebody typed and sent after their session had ended: kept until they have signed in again."""

from django.http import HttpRequest, QueryDict

_NAME = "typed"
_MOST = 200_000

SAID = "You were signed out before this was sent, so nothing is recorded. What you typed is still here: send it again."


def keep_typed(request: HttpRequest) -> None:
    """For the one address; of a form that is larger than any of ours nothing is kept."""
    sent = request.POST.urlencode()
    if len(sent) <= _MOST:
        request.session[_NAME] = [request.get_full_path(), sent]


def typed_before(request: HttpRequest) -> QueryDict | None:
    """What was sent to this address before the sign-in; told once."""
    kept = request.session.get(_NAME)
    if not kept or kept[0] != request.get_full_path():
        return None
    del request.session[_NAME]
    return QueryDict(kept[1])
