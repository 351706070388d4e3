"""Answers that belong to no room."""

from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from fleet.web.guards import public


@public(reason="a load balancer asks whether the server answers; it learns nothing else")
@never_cache
@require_safe
def health(_request: HttpRequest) -> HttpResponse:
    """Say whether the server and its database answer: 200 "ok", or 503."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return HttpResponse("database unreachable\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")
