"""Addresses of the alerts room, under /alerts/."""

from django.urls import path

from fleet.alerts import views

app_name = "alerts"
urlpatterns = [
    path("", views.index, name="list"),
    path("new/", views.new, name="new"),
    path("<int:pk>/", views.one, name="one"),
]
