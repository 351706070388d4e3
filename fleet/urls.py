"""Every address Benchward answers."""

from django.urls import URLPattern, URLResolver, include, path

from fleet.web import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", views.health, name="health"),
    path("jobs/", include("fleet.jobs.urls")),
]
