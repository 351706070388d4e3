"""What a sign-in asks for: stated by whoever manages people."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people import actions, queries
from fleet.people.forms import SignInRuleForm
from fleet.web.forms import put_beside
from fleet.web.guards import guard


@guard(May.MANAGE_PEOPLE)
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_rule(request: HttpRequest) -> HttpResponse:
    """Who must have a second factor, and how many of them have."""
    rule = queries.sign_in_rule()
    form = SignInRuleForm(request.POST or None, initial={"second_factor": rule.second_factor})
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_sign_in_rule(**form.cleaned_data, by=queries.acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, "Saved. It holds from each person's next sign-in on.")
            return redirect("people:sign_in_rule")
    shown = {
        "rule": rule,
        "form": form,
        "having": queries.having_factor(),
        "above": [("People", reverse("people:list"))],
    }
    return render(request, "people/sign_in_rule.html", shown)
