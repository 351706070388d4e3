"""Addresses of the batteries room, under /batteries/."""

from django.urls import path

from fleet.batteries import views

app_name = "batteries"
urlpatterns = [
    path("", views.will_not_last, name="will_not_last"),
    path("will-not-last.csv", views.will_not_last_csv, name="will_not_last_csv"),
    path("log/", views.log, name="log"),
    path("rack/", views.rack, name="rack"),
    path("rack/sheet/", views.sheet, name="sheet"),
    path("fleet/", views.fleet, name="fleet"),
    path("fleet.csv", views.fleet_csv, name="fleet_csv"),
    path("types/", views.types, name="types"),
    path("types.csv", views.types_csv, name="types_csv"),
    path("limits/", views.limits, name="limits"),
    path("limits/new/", views.limit_new, name="limit_new"),
    path("limits/<int:pk>/", views.limit, name="limit"),
    path("limits/chemistries/new/", views.life_new, name="life_new"),
    path("limits/chemistries/<int:pk>/", views.life, name="life"),
    path("supply/<int:pk>/", views.supply, name="supply"),
    path("supply/<int:pk>/order/", views.order, name="order"),
    path("purchases/<int:pk>/call-off/", views.call_off, name="call_off"),
    path("how/", views.how, name="how"),
    path("how-good/", views.how_good, name="how_good"),
    path("how-good.csv", views.how_good_csv, name="how_good_csv"),
    path("tests/", views.logged, name="logged"),
    path("tests/<int:pk>/", views.test, name="test"),
    path("packs/", views.packs, name="packs"),
    path("packs.csv", views.packs_csv, name="packs_csv"),
    path("packs/new/", views.new_pack, name="new_pack"),
    path("packs/<str:number>/", views.pack, name="pack"),
    path("packs/<str:number>/<slug:verb>/", views.act_on_pack, name="act"),
    path("device/<path:asset>/panel/", views.device_panel, name="device_panel"),
    path("device/<path:asset>/pack/", views.device_pack, name="device_pack"),
]
