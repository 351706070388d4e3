"""The ward's addresses. `/r/<token>/` is what a QR code carries, so it is short."""

from django.urls import path

from fleet.tags.views import label, quarantine, report, ward

app_name = "tags"
urlpatterns = [
    path("r/<str:token>/", label.label, name="label"),
    path("r/<str:token>/sent/", label.label_sent, name="label_sent"),
    path("r/<str:token>/found/", label.label_found, name="label_found"),
    path("r/<str:token>/slip/", label.label_slip, name="label_slip"),
    path("tags/", ward.find, name="find"),
    path("tags/ours/", ward.ours, name="ours"),
    path("tags/use/<path:asset>/", ward.say_use, name="say_use"),
    path("tags/quarantines/", quarantine.quarantines, name="quarantines"),
    path("tags/quarantines/<int:pk>/", quarantine.quarantine, name="quarantine"),
    path("tags/quarantines/<int:pk>/custody/", quarantine.custody, name="custody"),
    path("tags/quarantines/<int:pk>/incident/", quarantine.incident, name="incident"),
    path("tags/quarantines/<int:pk>/aware/", quarantine.aware, name="aware"),
    path("tags/quarantines/<int:pk>/lift/", quarantine.lift, name="lift"),
    path("tags/report/<path:asset>/", report.report, name="report"),
    path("tags/missing/<path:asset>/", ward.missing, name="missing"),
    path("tags/found/<path:asset>/", ward.found, name="found"),
    path("tags/<str:number>/", ward.tag, name="tag"),
    path("tags/<str:number>/sent/", report.sent, name="sent"),
    path("tags/<str:number>/slip/", report.slip, name="slip"),
]
