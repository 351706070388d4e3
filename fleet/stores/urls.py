"""Addresses of the stores room, under /instruments/."""

from django.urls import path

from fleet.stores import views

app_name = "stores"
urlpatterns = [
    path("", views.instruments, name="instruments"),
    path("new/", views.new_instrument, name="new_instrument"),
    path("<int:pk>/", views.instrument, name="instrument"),
    path("<int:pk>/edit/", views.edit, name="edit"),
    path("<int:pk>/calibrate/", views.calibrate, name="calibrate"),
    path("<int:pk>/withdraw/", views.withdraw, name="withdraw"),
    path("calibrations/<int:pk>/void/", views.void, name="void"),
]
