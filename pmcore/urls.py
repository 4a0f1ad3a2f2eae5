from django.urls import include, path, register_converter

from pmcore.admin import site
from pmcore.paths import RecordKey

register_converter(RecordKey, "key")

urlpatterns = [
    path("", include("dashboards.urls")),
    path("", include("api.urls")),
    path("accounts/", include("allauth.urls")),
    path("admin/", site.urls),
]

handler400 = "dashboards.views.failures.bad_request"
handler403 = "dashboards.views.failures.forbidden"
handler404 = "dashboards.views.failures.not_found"
handler500 = "dashboards.views.failures.server_error"
