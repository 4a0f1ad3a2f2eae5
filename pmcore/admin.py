"""The administrator's view. The record can be looked at here and not changed; accounts can."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest

from pmcore.models import Account, Follower, Job, Token
from pmcore.models.guards import GUARDED

if TYPE_CHECKING:  # at run time Django's admin takes no type arguments
    ModelAdmin = admin.ModelAdmin[Any]
    AccountsAdmin = UserAdmin[Account]
else:
    ModelAdmin, AccountsAdmin = admin.ModelAdmin, UserAdmin


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


admin.site.register([*GUARDED, Job, Follower], ReadOnly)


@admin.register(Token)
class TokenAdmin(ReadOnly):
    list_display = ("label", "account", "made_at", "expires_at", "revoked_at")
    fields = list_display


@admin.register(Account)
class AccountAdmin(AccountsAdmin):
    """Accounts are switched off, not deleted: their tokens and their person stay."""

    fieldsets = (*(UserAdmin.fieldsets or ()), ("Person", {"fields": ("person",)}))
    raw_id_fields = ("person",)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
