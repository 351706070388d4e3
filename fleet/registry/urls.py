"""Addresses of the registry room, under /registry/."""

from django.urls import path

from fleet.registry.views import devices, labels, parties, places, types

app_name = "registry"
urlpatterns = [
    path("", devices.devices, name="devices"),
    path("drivers.csv", devices.devices_csv, name="devices_csv"),
    path("new/", devices.new, name="device_new"),
    path("labels/", labels.labels, name="labels"),
    path("places/", places.places, name="places"),
    path("places/new/", places.new_place, name="place_new"),
    path("places/<int:pk>/", places.place, name="place"),
    path("places/<int:pk>/close/", places.close, name="place_close"),
    path("companies/", parties.parties, name="parties"),
    path("companies/new/", parties.new, name="party_new"),
    path("companies/<int:pk>/", parties.one, name="party"),
    path("types/", types.types, name="types"),
    path("types/new/", types.new, name="type_new"),
    path("types/<int:pk>/", types.one, name="type"),
    path("types/<int:pk>/edit/", types.edit, name="type_edit"),
    path("<path:asset>/label/", labels.label, name="label"),
    path("<path:asset>/label/renew/", labels.renew, name="label_renew"),
    path("<path:asset>/transfer/", devices.transfer, name="transfer"),
    path("<path:asset>/edit/", devices.edit, name="device_edit"),
]
