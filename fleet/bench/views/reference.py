"""Reference limits by profile: the list, one limit with its history, and the policy of each place."""

from collections.abc import Callable

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet.bench.actions import reference as actions
from fleet.bench.models import LimitPolicy, LimitProfile, ReferenceLimit
from fleet.bench.queries import reference as queries
from fleet.bench.reference_forms import (
    BetterLimitForm,
    EndLimitForm,
    LimitForm,
    NarrowLimitsForm,
    PolicyForm,
    ProfileForm,
    VerifyLimitForm,
)
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.permissions import May
from fleet.core.safety import Quantity
from fleet.people.queries import acting, person_of
from fleet.people.scope import in_tree_order
from fleet.registry.models import Place
from fleet.registry.queries import open_places
from fleet.web import phrases
from fleet.web.forms import put_beside
from fleet.web.guards import demand, fetch, guard

REFUSED = 422


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def limits(request: HttpRequest) -> HttpResponse:
    """The limits that hold, by profile; who checked each against its source."""
    form = NarrowLimitsForm(request.GET or None)
    rows = sorted(
        queries.reference_limits().filter(**form.where()), key=lambda row: list(Quantity).index(Quantity(row.quantity))
    )
    groups = [
        (profile, [row for row in rows if row.profile_id == profile.pk]) for profile in LimitProfile.objects.all()
    ]
    chosen = bool(form.where())
    context = {
        "groups": [(profile, held) for profile, held in groups if held or not chosen],
        "form": form,
        "count": len(rows),
        "unverified": sum(row.verified_on is None for row in rows),
        "narrowed": chosen,
    }
    return render(request, "bench/reference_limits.html", context)


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def limit_new(request: HttpRequest) -> HttpResponse:
    """State a limit."""
    form = LimitForm(request.POST or None, initial={"profile": request.GET.get("profile")})
    if _done(form, lambda: actions.state_limit(form.limit(), by=acting(request))):
        messages.success(request, "The limit holds from now on. Somebody else verifies it against its source.")
        return redirect("bench:reference_limits")
    context = {"form": form, "title": "State a reference limit", "button": "State this limit", "above": _above()}
    return render(request, "bench/reference_form.html", context, status=_status(form))


@guard(May.EDIT_REGISTRY)
@require_http_methods(["GET", "HEAD", "POST"])
def profile_new(request: HttpRequest) -> HttpResponse:
    """Add a set of limits."""
    form = ProfileForm(request.POST or None)
    if _done(form, lambda: actions.add_profile(**form.cleaned_data, by=acting(request))):
        messages.success(request, f"{form.cleaned_data['name']} is added. State its limits.")
        return redirect("bench:reference_limits")
    context = {"form": form, "title": "Add a profile", "button": "Add this profile", "above": _above()}
    return render(request, "bench/reference_form.html", context, status=_status(form))


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def limit(request: HttpRequest, pk: int) -> HttpResponse:
    """One limit with what stood in its place before; verified, replaced or ended here."""
    row = get_object_or_404(ReferenceLimit.objects.select_related("profile", "replaced_by"), pk=pk)
    better = BetterLimitForm(request.POST if "replace" in request.POST else None, instance=row, prefix="better")
    end = EndLimitForm(request.POST if "end" in request.POST else None, prefix="end")
    verify = VerifyLimitForm(request.POST if "verify" in request.POST else None, prefix="verify")
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        made: list[ReferenceLimit] = [row]

        def replace() -> None:
            made[0] = actions.replace_limit(row, better.changes(), better.cleaned_data["why"], by=acting(request))

        if _done(better, replace):
            messages.success(request, "The better limit holds from now on; it is not verified yet.")
            return redirect("bench:reference_limit", made[0].pk)
        if _done(end, lambda: actions.end_limit(row, end.cleaned_data["why"], by=acting(request))):
            messages.success(request, "The limit holds no longer. It stays on record.")
            return redirect("bench:reference_limits")
        if _done(verify, lambda: actions.verify_limit(row, verify.cleaned_data["against"], by=acting(request))):
            messages.success(request, "The limit is verified by you, today.")
            return redirect("bench:reference_limit", row.pk)
    return _limit_page(request, row, better, end, verify)


def _limit_page(
    request: HttpRequest, row: ReferenceLimit, better: BetterLimitForm, end: EndLimitForm, verify: VerifyLimitForm
) -> HttpResponse:
    person = person_of(request)
    context = {
        "row": row,
        "better": better,
        "end": end,
        "verify": verify,
        "others": queries.earlier_ones(row),
        "may_edit": person.may(May.EDIT_REGISTRY) and row.ended_at is None,
        "own": row.entered_by_id == person.pk,
        "above": _above(),
    }
    return render(request, "bench/reference_limit.html", context, status=_status(better, end, verify))


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_safe
def policies(request: HttpRequest) -> HttpResponse:
    """By which profile and rule readings are judged at each place."""
    places = in_tree_order(open_places().within(person_of(request)))
    depths = {place.pk: (place, depth) for place, depth in places}
    rows = [
        (place, depths[place.pk][1], policy, own)
        for place, policy, own in queries.placed_policies(place for place, _ in depths.values())
    ]
    return render(request, "bench/limit_policies.html", {"rows": rows, "above": _above()})


@guard(May.WORK_ON_BENCH, May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def policy(request: HttpRequest, pk: int) -> HttpResponse:
    """What holds at one place, and where it comes from; stated here."""
    place = fetch(Place.objects.select_related("parent"), request, pk=pk)
    own = LimitPolicy.objects.filter(place=place).first() or LimitPolicy(place=place)
    form = PolicyForm(request.POST or None, instance=own, inherits=_inherited(place))
    if request.method == "POST":
        demand(request, May.EDIT_REGISTRY)
        if form.is_valid() and _saved(request, place, form):
            messages.success(request, f"Readings of drivers at home in {place} are judged so from now on.")
            return redirect("bench:limit_policies")
    context = {"place": place, "policy": queries.policy_at(place), "form": form, "above": [*_above(), _policies()]}
    return render(request, "bench/limit_policy.html", context, status=_status(form))


def _inherited(place: Place) -> dict[str, str]:
    """What would hold at a place that states nothing itself, in words."""
    above = queries.policy_at(place.parent) if place.parent else queries.Policy()
    return {
        "profile": f"{above.profile or 'none'}, {above.profile_origin}",
        "acceptance": f"{above.rule.label.partition(':')[0].lower()}, {above.rule_origin}",
        "unnamed": f"{above.unnamed.label.partition(':')[0].lower()}, {above.unnamed_origin}",
        "jump_share": f"{phrases.quantity(above.jump_share)}, {above.share_origin}",
    }


def _saved(request: HttpRequest, place: Place, form: PolicyForm) -> bool:
    opened = form.cleaned_data.get("opened")
    try:
        actions.set_policy(place, form.changes(), by=acting(request), why=form.cleaned_data["why"], opened=opened)
    except ConflictError as error:
        form.add_error(None, str(error))
        form.show_what_stands(LimitPolicy.objects.get(place=place))
    except BenchwardError as error:
        put_beside(form, error)
    else:
        return True
    return False


def _done(form: BaseForm, act: Callable[[], object]) -> bool:
    """Whether a valid form was acted on; else what is wrong stands in it."""
    if not form.is_valid():
        return False
    try:
        act()
    except BenchwardError as error:
        put_beside(form, error)
        return False
    return True


def _above() -> list[tuple[str, str]]:
    return [("Bench queue", reverse("bench:queue")), ("Reference limits", reverse("bench:reference_limits"))]


def _policies() -> tuple[str, str]:
    return ("Which limits hold where", reverse("bench:limit_policies"))


def _status(*forms: BaseForm) -> int:
    return REFUSED if any(form.errors for form in forms) else 200
