"""The administrator's view: everything can be looked at here, and nothing changed. Accounts are changed on the page
Administration, whose rules would not hold here."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.http import HttpRequest

from pmcore.models import Account, Follower, Job, Token
from pmcore.models.guards import GUARDED

if TYPE_CHECKING:  # at run time Django's admin takes no type arguments
    ModelAdmin = admin.ModelAdmin[Any]
else:
    ModelAdmin = admin.ModelAdmin


site = admin.AdminSite()  # our own: other packages put forms that change something on the usual one


class ReadOnly(ModelAdmin):
    """No adding, changing, deleting, and no actions."""

    actions = None
    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


site.register([*GUARDED, Job, Follower], ReadOnly)


@admin.register(Token, site=site)
class TokenAdmin(ReadOnly):
    list_display = ("label", "account", "made_at", "expires_at", "revoked_at")
    fields = list_display


@admin.register(Account, site=site)
class AccountAdmin(ReadOnly):
    list_display = ("username", "email", "person", "is_active", "is_superuser", "date_joined", "last_login")
    fields = list_display
