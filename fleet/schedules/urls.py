"""Addresses of the schedules room, under /schedules/."""

from django.urls import path

from fleet.schedules import views

app_name = "schedules"
urlpatterns = [
    path("overdue/", views.overdue, name="overdue"),
    path("overdue.csv", views.overdue_csv, name="overdue_csv"),
    path("coming/", views.due, name="due"),
    path("alternative/", views.alternative, name="alternative"),
    path("completion/", views.completion, name="completion"),
    path("dues/<int:pk>/", views.one, name="one"),
    path("dues/<int:pk>/defer/", views.defer, name="defer"),
    path("dues/<int:pk>/attempt/", views.attempt, name="attempt"),
    path("dues/<int:pk>/interval/", views.interval, name="interval"),
    path("plans/", views.plans, name="plans"),
    path("plans/new/", views.new_plan, name="new_plan"),
    path("plans/<int:pk>/", views.plan, name="plan"),
]
