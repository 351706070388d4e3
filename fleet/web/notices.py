"""Where a notice for the next page is kept: in a cookie as strict as the others, else in the session."""

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage


class NoticeCookie(CookieStorage):
    """Django's own; over HTTPS the browser takes it from this very host alone."""

    cookie_name = f"{settings.COOKIE_PREFIX}messages"


class Notices(FallbackStorage):
    """The cookie first."""

    storage_classes = (NoticeCookie, SessionStorage)
