"""Addresses of the stores room: test instruments, and parts with their stock."""

from django.urls import path

from fleet.stores.views import instruments, parts, stock

app_name = "stores"
urlpatterns = [
    path("instruments/", instruments.instruments, name="instruments"),
    path("instruments/new/", instruments.new_instrument, name="new_instrument"),
    path("instruments/<int:pk>/", instruments.instrument, name="instrument"),
    path("instruments/<int:pk>/edit/", instruments.edit, name="edit"),
    path("instruments/<int:pk>/calibrate/", instruments.calibrate, name="calibrate"),
    path("instruments/<int:pk>/withdraw/", instruments.withdraw, name="withdraw"),
    path("instruments/calibrations/<int:pk>/void/", instruments.void, name="void"),
    path("parts/", parts.shelves, name="parts"),
    path("parts/new/", parts.new_part, name="new_part"),
    path("parts/delivery/", stock.delivery, name="delivery"),
    path("parts/count/", stock.count, name="count"),
    path("parts/labels/", parts.labels, name="labels"),
    path("parts/<int:pk>/", parts.part, name="part"),
    path("parts/<int:pk>/edit/", parts.edit_part, name="edit_part"),
    path("parts/<int:pk>/act/<slug:verb>/", parts.act, name="part_act"),
    path("parts/stock/<int:pk>/<slug:verb>/", stock.act, name="stock_act"),
    path("parts/purchases/<int:pk>/call-off/", stock.call_off, name="call_off"),
]
