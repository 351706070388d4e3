"""Django's settings, read from the environment (see `fleet.web.environment` and the table in README.md)."""

import os
from datetime import timedelta
from pathlib import Path
from typing import Any

from csp.constants import NONE, SELF

from fleet.web import environment

BASE_DIR = Path(__file__).resolve().parent.parent
ENVIRONMENT = environment.read(os.environ, BASE_DIR)
VAR = ENVIRONMENT.var

# Where Benchward is reached
DEBUG = ENVIRONMENT.debug
SECRET_KEY = ENVIRONMENT.secret_key
ALLOWED_HOSTS = ENVIRONMENT.allowed_hosts
ORIGIN = ENVIRONMENT.origin
CSRF_TRUSTED_ORIGINS = [ORIGIN]
ROOT_URLCONF = "fleet.urls"
WSGI_APPLICATION = "fleet.wsgi.application"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "axes",
    "csp",
    "django_filters",
    "django_htmx",
    "django_tables2",
    "django_otp.plugins.otp_totp",
    "fleet.apps.FleetConfig",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "fleet.web.sessions.renewing",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "fleet.people.access.refusals",
    "django.contrib.messages.middleware.MessageMiddleware",
    "fleet.web.collisions.telling",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",  # last, as its authors ask
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "libraries": {"house": "fleet.web.templatetags.house"},
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "fleet.people.navigation.navigation",
            ],
        },
    },
]

# What is kept
DATABASES = {"default": ENVIRONMENT.database}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
USES_REDIS = ENVIRONMENT.broker_url.startswith("redis")
CACHES: dict[str, dict[str, Any]] = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": ENVIRONMENT.broker_url,
        "KEY_PREFIX": "benchward",
    }
    if USES_REDIS
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"},
}

# Jobs: the broker only wakes workers; the job table is the truth
CELERY_BROKER_URL = ENVIRONMENT.broker_url
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any] = (
    # A worker killed in mid-job gives its message back after `visibility_timeout`, longer than the longest job.
    {"visibility_timeout": 3600, "unacked_restore_interval": 10, "unacked_restore_throttle": 1}
    if USES_REDIS
    else {
        "data_folder_in": str(VAR / "broker" / "messages"),
        "data_folder_out": str(VAR / "broker" / "messages"),
        "polling_interval": 0.1,  # measured: at the default, 180 of 300 small tasks in 90 s; at 0.1, 300 in 15 s
    }
)

# Who signs in
AUTH_USER_MODEL = "fleet.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "signed-out"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("username", "display_name", "email")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
AXES_HANDLER = "axes.handlers.database.AxesDatabaseHandler"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
# The pair: a stranger who guesses elsewhere must not lock a technician out of the bench.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "registration/locked.html"
AXES_RESET_ON_SUCCESS = True
# What was typed at a failure is kept for its span; a code may be one that still counts.
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "code"]
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# The second factor. Wrong codes are counted with wrong passwords (`fleet.people.proof`); the library's own waiting time
# doubles without end, with which whoever has the password could keep its owner out.
# A code counts half a minute before and after its own; phones set their clocks, so the span does not move with one.
OTP_TOTP_ISSUER = "Benchward"
OTP_TOTP_SYNC = False
OTP_TOTP_THROTTLE_FACTOR = 0

# A session ends after so long without a page (one shift), and so long after signing in whatever is done (both kept by
# `fleet.web.sessions`)
SESSION_COOKIE_AGE = ENVIRONMENT.idle_hours * 60 * 60
SESSION_LONGEST = ENVIRONMENT.session_hours * 60 * 60
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"

# With this beginning of its name a browser takes a cookie only over HTTPS and for this host alone
COOKIE_PREFIX = "__Host-" if ENVIRONMENT.https else ""
MESSAGE_STORAGE = "fleet.web.notices.Notices"

# What a browser may do
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "form-action": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    },
}
if ENVIRONMENT.https:
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    SESSION_COOKIE_NAME = f"{COOKIE_PREFIX}session"
    CSRF_COOKIE_NAME = f"{COOKIE_PREFIX}csrf"
# What the other names under the hospital's domain do is not ours to promise to browsers.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

# Static files: hashed names and far-future caching from STATIC_ROOT; straight from the folders while debugging
STATIC_URL = "static/"
STATIC_ROOT = VAR / "static"
WHITENOISE_USE_FINDERS = DEBUG
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage",
    },
}
DJANGO_TABLES2_TEMPLATE = "tables/lean.html"

# Words, times, money
LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
TIME_ZONE = ENVIRONMENT.time_zone
CURRENCY = ENVIRONMENT.currency

# The largest file of records that is taken in
INTAKE_MEGABYTES = ENVIRONMENT.intake_megabytes

# Mail
EMAIL_BACKEND: str
globals().update(ENVIRONMENT.mail)
SERVER_EMAIL = ENVIRONMENT.mail["DEFAULT_FROM_EMAIL"]

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["console"], "level": "INFO"},
    "loggers": {"django": {"handlers": ["console"], "level": "INFO", "propagate": False}},
}
