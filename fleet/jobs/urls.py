"""Addresses of the jobs room, under /jobs/."""

from django.urls import path

from fleet.jobs import views

app_name = "jobs"
urlpatterns = [
    path("", views.runs, name="runs"),
    path("latest/", views.latest, name="latest"),
    path("<int:pk>/", views.run, name="run"),
    path("<int:pk>/progress/", views.progress, name="progress"),
    path("<int:pk>/put-back/", views.put_back, name="put_back"),
]
