"""Addresses of the schedules room, under /schedules/."""

from django.urls import path

from fleet.schedules import views

app_name = "schedules"
urlpatterns = [
    path("overdue/", views.overdue, name="overdue"),
    path("overdue.csv", views.overdue_csv, name="overdue_csv"),
    path("not-located/", views.missing, name="missing"),
    path("coming/", views.due, name="due"),
    path("coming.csv", views.due_csv, name="due_csv"),
    path("alternative/", views.alternative, name="alternative"),
    path("levelling/", views.levelling, name="levelling"),
    path("levelling/<int:pk>/", views.one_levelling, name="one_levelling"),
    path("levelling/<int:pk>/weeks.csv", views.levelling_weeks, name="levelling_weeks"),
    path("levelling/<int:pk>/dues.csv", views.levelling_dues, name="levelling_dues"),
    path("levelling/<int:pk>/take-up/", views.take_up, name="take_up"),
    path("levelling/<int:pk>/drop/", views.drop, name="drop"),
    path("completion/", views.completion, name="completion"),
    path("completion/drivers/", views.completion_drivers, name="completion_drivers"),
    path("dues/<int:pk>/", views.one, name="one"),
    path("dues/<int:pk>/defer/", views.defer, name="defer"),
    path("dues/<int:pk>/attempt/", views.attempt, name="attempt"),
    path("dues/<int:pk>/interval/", views.interval, name="interval"),
    path("risk/", views.risk, name="risk"),
    path("risk/types/<int:pk>/", views.type_risk, name="type_risk"),
    path("risk/classes/", views.risk_classes, name="risk_classes"),
    path("risk/classes/<int:pk>/", views.risk_class, name="risk_class"),
    path("days/", views.days, name="days"),
    path("days/<int:pk>/open/", views.open_days, name="open_days"),
    path("days/places/<int:pk>/", views.place_days, name="place_days"),
    path("rules/", views.rules, name="rules"),
    path("counters/<str:asset>/", views.restart, name="restart"),
    path("plans/", views.plans, name="plans"),
    path("plans/new/", views.new_plan, name="new_plan"),
    path("plans/<int:pk>/", views.plan, name="plan"),
]
