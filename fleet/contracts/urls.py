"""Addresses of the contracts, under /contracts/."""

from django.urls import path

from fleet.contracts import views

app_name = "contracts"
urlpatterns = [
    path("", views.contracts, name="contracts"),
    path("new/", views.new, name="new"),
    path("<int:pk>/", views.one, name="one"),
    path("<int:pk>/edit/", views.edit, name="edit"),
    path("<int:pk>/renew/", views.renew, name="renew"),
    path("<int:pk>/end/", views.end, name="end"),
]
