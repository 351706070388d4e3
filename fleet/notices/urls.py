"""Addresses of the notices room, under /notices/."""

from django.urls import path

from fleet.notices.views import acts, lists, one, writing

app_name = "notices"
urlpatterns = [
    path("", lists.notices, name="notices"),
    path("ours/", lists.ours, name="ours"),
    path("new/", writing.new, name="new"),
    path("<str:number>/", one.one, name="one"),
    path("<str:number>/csv/", one.proof, name="csv"),
    path("<str:number>/sheet/", one.sheet, name="sheet"),
    path("<str:number>/files/<int:pk>/", one.file, name="file"),
    path("<str:number>/draft/", writing.draft, name="draft"),
    path("<str:number>/draft/facts/", writing.facts, name="facts"),
    path("<str:number>/draft/drop/<int:pk>/", writing.drop, name="drop"),
    path("<str:number>/draft/open/", writing.open_, name="open"),
    path("<str:number>/correct/", writing.correct, name="correct"),
    path("<str:number>/close/", writing.close, name="close"),
    path("<str:number>/act/", acts.act, name="act"),
    path("<str:number>/drivers/<path:asset>/", acts.driver, name="driver"),
]
