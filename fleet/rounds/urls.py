"""The addresses of visit rounds."""

from django.urls import path

from fleet.rounds import views

app_name = "rounds"
urlpatterns = [
    path("", views.rounds, name="rounds"),
    path("keeper.js", views.keeper, name="keeper"),
    path("<int:pk>/", views.one, name="one"),
    path("<int:pk>/scan/", views.scan, name="scan"),
    path("<int:pk>/answer/", views.answer, name="answer"),
    path("<int:pk>/stop/<path:asset>/", views.stop, name="stop"),
    path("<int:pk>/undo/<path:asset>/", views.undo, name="undo"),
    path("<int:pk>/paper/", views.paper, name="paper"),
    path("<int:pk>/end/", views.end, name="end"),
    path("<int:pk>/sheet/", views.sheet, name="sheet"),
]
