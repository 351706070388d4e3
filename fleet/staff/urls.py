"""Addresses of the staff room: who was trained on what."""

from django.urls import path

from fleet.staff.views import policies, records

app_name = "staff"
urlpatterns = [
    path("training/", records.matrix, name="matrix"),
    path("training/records.csv", records.records_csv, name="records_csv"),
    path("training/record/", records.record, name="record"),
    path("training/people/<int:pk>/", records.person, name="person"),
    path("training/records/<int:pk>/withdraw/", records.withdraw, name="withdraw"),
    path("training/places/", policies.policies, name="policies"),
    path("training/places/<int:pk>/", policies.policy, name="policy"),
]
