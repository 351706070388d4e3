"""The addresses of loans."""

from django.urls import path

from fleet.loans.views import handing, lists

app_name = "loans"
urlpatterns = [
    path("", lists.loans, name="loans"),
    path("ours/", lists.ours, name="ours"),
    path("out/", handing.lend, name="lend"),
    path("back/", handing.back, name="back"),
    path("<int:pk>/", handing.one, name="one"),
    path("<int:pk>/back/", handing.take_back, name="take_back"),
    path("<int:pk>/slip/", handing.slip, name="slip"),
]
