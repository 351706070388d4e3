"""Sessions that end one shift after the last page, and some hours after signing in, without a write for every page."""

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.http import HttpRequest, HttpResponse

from fleet.web import clock

RENEW_AFTER = 15 * 60  # seconds
_RENEWED = "renewed"
_SINCE = "signed in at"


def renewing(answer: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: renew a signed-in session at most every quarter of an hour.

    Django's own way (SESSION_SAVE_EVERY_REQUEST) writes for each page read, and then a page waits whenever a long
    import holds SQLite's one write lock. A session that has lasted its longest is emptied: the page asks to sign in.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        moment = int(clock.now().timestamp())
        if SESSION_KEY in request.session and moment - request.session.get(_SINCE, moment) >= settings.SESSION_LONGEST:
            request.session.flush()
        if SESSION_KEY in request.session and moment - request.session.get(_RENEWED, 0) >= RENEW_AFTER:
            request.session.setdefault(_SINCE, moment)
            request.session[_RENEWED] = moment
        return answer(request)

    return middleware
