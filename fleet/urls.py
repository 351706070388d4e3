"""Every address Benchward answers."""

from django.urls import URLPattern, URLResolver, path

from fleet.web import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", views.health, name="health"),
]
