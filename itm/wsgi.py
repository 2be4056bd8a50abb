"""WSGI entry: `gunicorn itm.wsgi`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
application = get_wsgi_application()

from itm.core import outbox  # noqa: E402  (models exist only after the line above)

# Jobs promised before the last stop are taken up at the start, not at the next hand-in.
outbox.nudge()
