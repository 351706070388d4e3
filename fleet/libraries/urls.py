"""Addresses of the libraries room, under /libraries/."""

from django.urls import path

from fleet.libraries import views

app_name = "libraries"
urlpatterns = [
    path("", views.coverage, name="coverage"),
    path("drivers/", views.drivers, name="drivers"),
    path("seen/", views.scan, name="scan"),
    path("new/", views.new, name="new"),
    path("library/<slug:code>/", views.library, name="library"),
    path("library/<slug:code>/release/", views.release, name="release"),
    path("library/<slug:code>/require/", views.require, name="require"),
    path("versions/<int:pk>/withdraw/", views.withdraw, name="withdraw"),
]
