"""What each place asks of work by somebody without training in date."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.audit.changes import fingerprint
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.people.scope import in_tree_order
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.staff import actions, queries
from fleet.staff.forms import TrainingPolicyForm
from fleet.staff.models import TrainingPolicy
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

REFUSED = 422
_KINDS = (Place.Kind.SITE, Place.Kind.BUILDING, Place.Kind.BENCH)


@guard(May.KEEP_TEAM, May.EDIT_REGISTRY)
@require_safe
def policies(request: HttpRequest) -> HttpResponse:
    """What holds at each bench, and at the buildings and sites that it takes its rule from."""
    places = list(in_tree_order(open_places(*_KINDS).within(person_of(request)).select_related("site")))
    told = queries.rules(place for place, _ in places)
    rows = [(place, depth, placed, own) for (place, depth), (_, placed, own) in zip(places, told, strict=True)]
    return render(request, "staff/policies.html", {"rows": rows, "above": _above()})


@guard(May.KEEP_TEAM, May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def policy(request: HttpRequest, pk: int) -> HttpResponse:
    """What holds at one place, and where it comes from; stated here."""
    place = fetch(Place.objects.select_related("parent"), request, pk=pk)
    form = _form(request, place)
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid() and _saved(request, place, form):
            return redirect("staff:policies")
    context = {"place": place, "placed": queries.rule_at(place), "form": form, "above": [*_above(), _policies()]}
    return render(request, "staff/policy.html", context, status=REFUSED if form.errors else 200)


def _form(request: HttpRequest, place: Place) -> TrainingPolicyForm:
    own = TrainingPolicy.objects.filter(place=place).first() or TrainingPolicy(place=place)
    above = queries.rule_at(place.parent) if place.parent else queries.Placed(queries.Rule.MARK)
    words = f"{above.rule.label.partition(':')[0].lower()}, {above.origin}"
    initial = {"opened": fingerprint(own, actions.POLICY_FACTS), "rule": own.rule}
    return TrainingPolicyForm(request.POST or None, above=words, initial=initial)


def _saved(request: HttpRequest, place: Place, form: TrainingPolicyForm) -> bool:
    try:
        actions.set_training_policy(place, **form.cleaned_data, by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(request, f"This holds for orders at {place} from now on.")
    return True


def _above() -> list[tuple[str, str]]:
    return [("Training", reverse("staff:matrix"))]


def _policies() -> tuple[str, str]:
    return ("What places ask", reverse("staff:policies"))
