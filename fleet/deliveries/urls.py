"""The addresses of deliveries."""

from django.urls import path

from fleet.deliveries.views import lists, scanning

app_name = "deliveries"
urlpatterns = [
    path("", lists.deliveries, name="deliveries"),
    path("new/", lists.new, name="new"),
    path("<int:pk>/", scanning.one, name="one"),
    path("<int:pk>/edit/", lists.edit, name="edit"),
    path("<int:pk>/scan/", scanning.scan, name="scan"),
    path("<int:pk>/learn/", scanning.learn, name="learn"),
    path("<int:pk>/lines/<int:line>/out/", scanning.take_out, name="take_out"),
    path("<int:pk>/compared/", scanning.compared, name="compared"),
    path("<int:pk>/finish/", scanning.finish, name="finish"),
    path("<int:pk>/drop/", scanning.drop, name="drop"),
    path("<int:pk>/labels/", scanning.labels, name="labels"),
]
