from django.urls import path

from dashboards.views import start

urlpatterns = [
    path("", start.start, name="start"),
    path("healthz", start.healthz, name="healthz"),
]
