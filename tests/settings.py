"""The product's settings, with what only tests need.

DATABASE_URL and BENCHWARD_BROKER_URL count here too: the same suite runs on SQLite with files for a broker, and on
PostgreSQL with Redis.
"""

import os
import tempfile
from pathlib import Path

# Each run has its own folder and database: two runs side by side don't meet, and no run touches var/.
TEST_VAR = Path(tempfile.mkdtemp(prefix="benchward-test-"))
os.environ["BENCHWARD_VAR"] = str(TEST_VAR)
os.environ["BENCHWARD_SECRET_KEY"] = "only-for-tests-" * 4
for name in (
    "DEMO",
    "DEBUG",
    "HTTPS",
    "ORIGIN",
    "PORT",
    "ALLOWED_HOSTS",
    "TIME_ZONE",
    "CURRENCY",
    "INTAKE_MB",
    "EMAIL_URL",
    "EMAIL_FROM",
):
    os.environ.pop(f"BENCHWARD_{name}", None)

from fleet.settings import *  # noqa: E402 - read after the environment is made

DATABASES["default"]["TEST"] = (
    # A file, not memory: the server thread of a browser test and a worker process must see the same rows.
    {"NAME": str(TEST_VAR / "test.sqlite3")}
    if DATABASES["default"]["ENGINE"].endswith("sqlite3")
    # UTF-8 by name: a cluster made on a machine without a locale would hand out bytes.
    else {"NAME": f"test_benchward_{os.getpid()}", "CHARSET": "UTF8", "TEMPLATE": "template0"}
)
DATABASES["default"]["CONN_MAX_AGE"] = 0
if USES_REDIS:
    # Runs side by side, and a server on this machine, don't take each other's messages, nor count each other's visits.
    CELERY_BROKER_TRANSPORT_OPTIONS["global_keyprefix"] = f"benchward-test-{os.getpid()}:"
    CACHES["default"]["KEY_PREFIX"] = f"benchward-test-{os.getpid()}"

# Hashing slowly is the point of the real one, and most of the time of a sign-in test.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
WHITENOISE_USE_FINDERS = True
LOGGING["root"]["level"] = "WARNING"
LOGGING["loggers"]["django"]["level"] = "ERROR"
