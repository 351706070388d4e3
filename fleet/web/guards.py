"""Who may open a page, and what they may know exists: 404 outside your places, 403 for what you may only read."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Protocol, Self, TypeVar, cast

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404

from fleet.core.permissions import May

View = Callable[..., HttpResponseBase]
M = TypeVar("M", bound=models.Model)


class Placed(Protocol):
    """A queryset that can be narrowed to a person's places."""

    def within(self, person: Any) -> Self:
        """Only the rows the person may know of."""


def guard(*duties: May) -> Callable[[View], View]:
    """Open the view only to signed-in people who hold one of `duties`; others get 403 (or the sign-in page)."""

    def wrap(view: View) -> View:
        @login_required
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not any(request.user.has_perm(f"fleet.{duty.value}") for duty in duties):
                raise PermissionDenied(_missing(duties))
            return view(request, *args, **kwargs)

        return _mark(guarded, guarded_by=duties)

    return wrap


def signed_in(view: View) -> View:
    """Open the view to everyone who is signed in, whatever their duties (their own account, for instance)."""
    return _mark(login_required(view), guarded_by=("signed in",))


def public(*, reason: str) -> Callable[[View], View]:
    """Open the view to all, and say why: the house rules list every such view with its reason."""

    def wrap(view: View) -> View:
        return _mark(view, guarded_by=(f"public: {reason}",))

    return wrap


def demand(request: HttpRequest, duty: May) -> None:
    """Refuse with 403 a person who may read this page but not do this."""
    if not request.user.has_perm(f"fleet.{duty.value}"):
        raise PermissionDenied(_missing((duty,)))


def fetch(rows: models.QuerySet[M], request: HttpRequest, **lookup: Any) -> M:
    """The one row of `rows` within the person's places; 404 when there is none they may know of."""
    placed = cast("Any", rows).within(request.user)
    try:
        return cast("M", get_object_or_404(placed, **lookup))
    except Http404:
        # The reader is told nothing of it; the log of refusals is.
        request.elsewhere = rows.filter(**lookup).exists()  # type: ignore[attr-defined] # read by is_elsewhere
        raise


def is_elsewhere(request: HttpRequest) -> bool:
    """Whether the page asked for a row that there is, but not within the person's places."""
    return bool(getattr(request, "elsewhere", False))


def _mark(view: View, *, guarded_by: tuple[object, ...]) -> View:
    view.guarded_by = guarded_by  # type: ignore[attr-defined] # read by the house rules
    return view


def _missing(duties: tuple[May, ...]) -> str:
    wanted = " or ".join(f"“{duty.label}”" for duty in duties)
    return f"This needs the duty {wanted}. A manager can arrange it."
