"""Pages for the tests of the look: a report form on the real base and what it was sent, a refusal, a failure."""

from django import forms
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template import RequestContext, Template
from django.urls import include, path

LOST_SESSION = "my session has ended"
PAGE = """
{% extends "base.html" %}{% load house %}
{% block main %}
<h1>Report</h1>
<p data-ago="2020-01-01T00:00:00+00:00">stale</p>
{% ident "SD-10414" %}
<form id="report" method="post" data-keep-draft="report">{% csrf_token %}
  {% field form.scan %}{% field form.what keys=True %}{% field form.words %}
</form>
{% endblock %}
{% block actions %}<button class="primary" form="report" type="submit" data-key="t">Tag</button>{% endblock %}
"""

received: list[dict[str, str]] = []


class Report(forms.Form):
    """A form with a scan field, choices and free text."""

    scan = forms.CharField(widget=forms.TextInput(attrs={"data-scan": ""}))
    what = forms.ChoiceField(choices=[("a", "Stopped"), ("b", "Fell")], widget=forms.RadioSelect, required=False)
    words = forms.CharField(required=False)


def report(request: HttpRequest) -> HttpResponse:
    """Keep what is sent, or answer as if the session had ended."""
    if request.method == "POST":
        if request.POST["words"] == LOST_SESSION:
            return render(request, "registration/sign_in.html", {"form": forms.Form()})
        received.append(request.POST.dict())
        return redirect("report")
    return HttpResponse(Template(PAGE.strip()).render(RequestContext(request, {"form": Report()})))


def forbidden(_request: HttpRequest) -> HttpResponse:
    """Refuse."""
    raise PermissionDenied


def broken(_request: HttpRequest) -> HttpResponse:
    """Fail."""
    msg = "broken on purpose"
    raise RuntimeError(msg)


urlpatterns = [
    path("report/", report, name="report"),
    path("forbidden/", forbidden),
    path("broken/", broken),
    # The header and the menus around each page link to the product's own addresses.
    path("", include("fleet.urls")),
]
