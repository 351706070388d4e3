"""What a web server loads: `gunicorn fleet.wsgi`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

application = get_wsgi_application()

# After the line above, which loads the apps; a web server runs no management command and so no checks by itself.
from fleet.web.checks import require_sound_settings  # noqa: E402 - after the settings are named

require_sound_settings()
