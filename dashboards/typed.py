"""What somebody typed and sent after their session had ended: kept until they have signed in again, and shown to nobody
else who signs in at the same browser."""

from django.http import HttpRequest, QueryDict

from pmcore.accounts import LAST_ACCOUNT

_NAME = "typed"
_MOST = 200_000

SAID = "You were signed out before this was sent, so nothing is recorded. What you typed is still here: send it again."


def keep_typed(request: HttpRequest) -> None:
    """For the one address, and the account that was signed in last; where that is not known, or the form is larger than
    any of ours, nothing is kept."""
    sent, account = request.POST.urlencode(), request.get_signed_cookie(LAST_ACCOUNT, default=None)
    if account is not None and len(sent) <= _MOST:
        request.session[_NAME] = [account, request.get_full_path(), sent]


def typed_before(request: HttpRequest) -> QueryDict | None:
    """What was sent to this address before the sign-in; told once."""
    account, address, sent = request.session.get(_NAME) or (None, None, None)
    if account != str(request.user.pk):
        request.session.pop(_NAME, None)
        return None
    if address != request.get_full_path():
        return None
    del request.session[_NAME]
    return QueryDict(sent)
