"""WSGI entry point."""

from __future__ import annotations

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "projectsite.settings")

application = get_wsgi_application()

# A page makes some ten thousand short-lived objects, and the collector would look through the
# whole program again and again while it is made. What is loaded now stays loaded; the rest is
# collected less often.
gc.collect()
gc.freeze()
gc.set_threshold(20_000, 20, 20)
