"""One's own account: name, phone, morning e-mail, password, and how the second factor stands."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from fleet.people import actions, queries
from fleet.people.forms import OwnForm
from fleet.people.models import Person
from fleet.people.queries import person_of
from fleet.people.tables import places_words
from fleet.web.guards import signed_in


@signed_in
def account(request: HttpRequest) -> HttpResponse:
    """What is kept of the person who is signed in; their own part of it can be changed."""
    person = person_of(request)
    form = OwnForm(request.POST or None, instance=Person.objects.get(pk=person.pk))
    if request.method == "POST" and form.is_valid():
        actions.edit_own(person, **form.cleaned_data, by=queries.acting(request))
        messages.success(request, "Your account is saved.")
        return redirect("people:account")
    shown = {"form": form, "facts": _facts(person), "duties": _duties(request), "factor": queries.factor_of(person)}
    return render(request, "people/account.html", {**shown, "left": queries.codes_left(person)})


@signed_in
def password(request: HttpRequest) -> HttpResponse:
    """Change one's own password; this session goes on, all others end."""
    person = person_of(request)
    form = PasswordChangeForm(person, request.POST or None)
    if request.method == "POST" and form.is_valid():
        changed = actions.set_password(person, form.cleaned_data["new_password1"], by=queries.acting(request))
        update_session_auth_hash(request, changed)
        messages.success(request, "Your password is changed. Wherever else you were signed in, you are signed out.")
        return redirect("people:account")
    return render(
        request, "people/password.html", {"form": form, "above": [("Your account", reverse("people:account"))]}
    )


def _facts(person: Person) -> list[tuple[str, object]]:
    role = queries.role_of(person)
    return [
        ("Sign-in name", person.username),
        ("E-mail", person.email or "none on record"),
        ("Role", role.label if role else "none"),
        ("You see", places_words(person)),
    ]


def _duties(request: HttpRequest) -> list[str]:
    return sorted(duty.label.removeprefix("May ").capitalize() for duty in queries.acting(request).duties)
