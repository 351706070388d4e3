"""What every answer tells the browser to do and to leave, over HTTPS (OWASP ASVS 5.0.0, chapter 3)."""

import json
from typing import Any

import pytest

from tests.web.test_checks import run

# The sign-in page asks the database nothing, so a child with production's settings can answer it.
CODE = """
import json
import django
from django.conf import settings
settings.STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"
settings.STATIC_ROOT.mkdir()
django.setup()
from django.test import Client
answer = Client().get("/sign-in/", secure=True, headers={"host": "benchward.example.org"})
plain = Client().get("/sign-in/", headers={"host": "benchward.example.org"})
other = Client().get("/sign-in/", secure=True, headers={"host": "evil.example.org"})
csrf = answer.cookies[settings.CSRF_COOKIE_NAME]
from fleet.web.notices import NoticeCookie
print(json.dumps({
    "headers": dict(answer.headers), "status": answer.status_code, "redirect": plain.headers.get("Location"),
    "other": other.status_code, "debug": settings.DEBUG,
    "csrf": {key: csrf[key] for key in ("secure", "httponly", "samesite", "path", "domain")},
    "names": [settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME, NoticeCookie.cookie_name],
    "session": [settings.SESSION_COOKIE_SECURE, settings.SESSION_COOKIE_HTTPONLY, settings.SESSION_COOKIE_PATH,
                settings.SESSION_COOKIE_DOMAIN, settings.SESSION_COOKIE_SAMESITE],
}))
"""


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a server with production's settings answers."""
    done = run(
        tmp_path_factory.mktemp("https"),
        "-c",
        CODE,
        BENCHWARD_SECRET_KEY="".join(chr(33 + i % 90) for i in range(70)),
        BENCHWARD_HTTPS="1",
        BENCHWARD_ORIGIN="https://benchward.example.org",
        DJANGO_SETTINGS_MODULE="fleet.settings",
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def test_every_cookie_is_for_this_host_alone(told: dict[str, Any]) -> None:
    """Named __Host-, sent over HTTPS only, without a domain, for the whole host (3.3.1)."""
    assert all(name.startswith("__Host-") for name in told["names"])
    assert told["session"] == [True, True, "/", None, "Lax"]
    assert told["csrf"] == {"secure": True, "httponly": True, "samesite": "Lax", "path": "/", "domain": ""}


def test_the_browser_comes_back_over_https_for_a_year(told: dict[str, Any]) -> None:
    """Strict transport for a year at least, and plain requests are led to HTTPS (3.4.1)."""
    assert int(told["headers"]["Strict-Transport-Security"].split(";")[0].removeprefix("max-age=")) >= 365 * 86400
    assert told["redirect"] == "https://benchward.example.org/sign-in/"


@pytest.mark.parametrize(
    "rule",
    ["object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "default-src 'self'", "script-src 'self'"],
)
def test_the_content_policy_is_strict(rule: str, told: dict[str, Any]) -> None:
    """No plug-ins, no other base, no frames, no script but ours, none written into a page (3.4.3)."""
    policy = told["headers"]["Content-Security-Policy"]
    assert rule in policy.split("; ")
    assert "unsafe" not in policy


def test_content_is_what_it_says_and_addresses_stay_here(told: dict[str, Any]) -> None:
    """No guessing of types, no address of ours told to others, no frame (3.4.4, 3.4.5, 3.4.6)."""
    assert told["headers"]["X-Content-Type-Options"] == "nosniff"
    assert told["headers"]["Referrer-Policy"] == "same-origin"
    assert told["headers"]["X-Frame-Options"] == "DENY"


def test_no_debug_pages_and_no_foreign_host(told: dict[str, Any]) -> None:
    """Debug pages are off unless asked for (13.4.2), and a forged host name is refused."""
    assert (told["status"], told["debug"], told["other"]) == (200, False, 400)
