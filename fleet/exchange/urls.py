"""Addresses of the exchange room, under /exchange/."""

from django.urls import path

from fleet.exchange.views import intake, lists

app_name = "exchange"
urlpatterns = [
    path("", lists.intakes, name="intakes"),
    path("new/", lists.new, name="new"),
    path("columns/<slug:kind>/", lists.columns, name="columns"),
    path("template/<slug:kind>/", lists.template, name="template"),
    path("export/<slug:kind>/", lists.export, name="export"),
    path("<int:pk>/", intake.one, name="intake"),
    path("<int:pk>/progress/", intake.progress, name="progress"),
    path("<int:pk>/commit/", intake.commit, name="commit"),
    path("<int:pk>/again/", intake.again, name="again"),
    path("<int:pk>/refusals/", intake.refusals, name="refusals"),
    path("<int:pk>/file/", intake.file, name="file"),
]
