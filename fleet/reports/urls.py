"""The addresses of what is told: the first page, search, a driver's page and the reports."""

from django.urls import path

from fleet.reports.views import (
    costs,
    device,
    digest,
    findings,
    home,
    labour,
    outcomes,
    overview,
    reorder,
    search,
    trail,
    turnaround,
    whole,
)

app_name = "reports"
urlpatterns = [
    path("", home.home, name="home"),
    path("search/", search.search, name="search"),
    path("devices/<path:asset>/", device.device, name="device"),
    path("history/<path:asset>.csv", device.history_csv, name="history_csv"),
    path("history/<path:asset>/", device.history, name="history"),
    path("record/<path:asset>.json", whole.record_json, name="record_json"),
    path("record/<path:asset>.zip", whole.record_zip, name="record_zip"),
    path("record/<path:asset>/", whole.record, name="record"),
    path("reports/", overview.overview, name="overview"),
    path("reports/drivers/<slug:standing>/", overview.drivers, name="drivers"),
    path("reports/turnaround/", turnaround.turnaround, name="turnaround"),
    path("reports/turnaround/hours.csv", labour.labour_csv, name="labour_csv"),
    path("reports/findings/", findings.findings, name="findings"),
    path("reports/findings.csv", findings.findings_csv, name="findings_csv"),
    path("reports/outcomes/", outcomes.outcomes, name="outcomes"),
    path("reports/outcomes.csv", outcomes.outcomes_csv, name="outcomes_csv"),
    path("reports/costs/", costs.costs, name="costs"),
    path("reports/costs.csv", costs.costs_csv, name="costs_csv"),
    path("reports/costs/<path:asset>/", costs.driver_cost, name="driver_cost"),
    path("reports/replaced/", costs.replaced, name="replaced"),
    path("reports/reorder/", reorder.reorder, name="reorder"),
    path("reports/reorder.csv", reorder.reorder_csv, name="reorder_csv"),
    path("reports/reorder/ordered/", reorder.ordered, name="ordered"),
    path("reports/trail/", trail.trail, name="trail"),
    path("reports/trail/seals/", trail.seals, name="seals"),
    path("reports/trail.csv", trail.trail_csv, name="trail_csv"),
    path("reports/morning/", digest.digest, name="digest"),
]
