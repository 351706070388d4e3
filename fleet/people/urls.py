"""Addresses of the people room: /account/ for oneself, /people/ for everybody."""

from django.urls import URLPattern

app_name = "people"
urlpatterns: list[URLPattern] = []
