"""The addresses of what is told: the first page, search, a driver's page and the reports."""

from django.urls import path

from fleet.reports.views import (
    costs,
    device,
    digest,
    findings,
    home,
    outcomes,
    overview,
    reorder,
    search,
    support,
    trail,
    turnaround,
)

app_name = "reports"
urlpatterns = [
    path("", home.home, name="home"),
    path("search/", search.search, name="search"),
    path("devices/<path:asset>/", device.device, name="device"),
    path("history/<path:asset>.csv", device.history_csv, name="history_csv"),
    path("history/<path:asset>/", device.history, name="history"),
    path("reports/", overview.overview, name="overview"),
    path("reports/drivers/<slug:standing>/", overview.drivers, name="drivers"),
    path("reports/turnaround/", turnaround.turnaround, name="turnaround"),
    path("reports/findings/", findings.findings, name="findings"),
    path("reports/findings.csv", findings.findings_csv, name="findings_csv"),
    path("reports/outcomes/", outcomes.outcomes, name="outcomes"),
    path("reports/outcomes.csv", outcomes.outcomes_csv, name="outcomes_csv"),
    path("reports/costs/", costs.costs, name="costs"),
    path("reports/costs.csv", costs.costs_csv, name="costs_csv"),
    path("reports/costs/<path:asset>/", costs.driver_cost, name="driver_cost"),
    path("reports/replaced/", costs.replaced, name="replaced"),
    path("reports/support/", support.support, name="support"),
    path("reports/support.csv", support.support_csv, name="support_csv"),
    path("reports/sent-out/", support.sent_out, name="sent_out"),
    path("reports/departures/", support.departed, name="departures"),
    path("reports/departures.csv", support.departed_csv, name="departures_csv"),
    path("reports/reorder/", reorder.reorder, name="reorder"),
    path("reports/reorder.csv", reorder.reorder_csv, name="reorder_csv"),
    path("reports/reorder/ordered/", reorder.ordered, name="ordered"),
    path("reports/trail/", trail.trail, name="trail"),
    path("reports/trail.csv", trail.trail_csv, name="trail_csv"),
    path("reports/morning/", digest.digest, name="digest"),
]
