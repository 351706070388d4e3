"""Sessions that end one shift after the last page, without a write for every page."""

from collections.abc import Callable

from django.contrib.auth import SESSION_KEY
from django.http import HttpRequest, HttpResponse

from fleet.web import clock

RENEW_AFTER = 15 * 60  # seconds
_RENEWED = "renewed"


def renewing(answer: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: renew a signed-in session at most every quarter of an hour.

    Django's own way (SESSION_SAVE_EVERY_REQUEST) writes for each page read, and then a page waits whenever a long
    import holds SQLite's one write lock.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        moment = int(clock.now().timestamp())
        if SESSION_KEY in request.session and moment - request.session.get(_RENEWED, 0) >= RENEW_AFTER:
            request.session[_RENEWED] = moment
        return answer(request)

    return middleware
