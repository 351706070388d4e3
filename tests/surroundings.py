"""Where the tests run. Without Django, so that a plugin may ask."""

import os

IN_CI = os.environ.get("CI", "").lower() in {"1", "true"}
