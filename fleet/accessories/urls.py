"""The addresses of accessories."""

from django.urls import path

from fleet.accessories import views

app_name = "accessories"
urlpatterns = [
    path("", views.missing, name="missing"),
    path("missing/<int:pk>/", views.one, name="one"),
    path("kinds/<int:pk>/", views.describe, name="describe"),
    path("<path:asset>/count/", views.count, name="count"),
]
