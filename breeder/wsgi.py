"""The WSGI door that `manage.py serve` and any other server use."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
application = get_wsgi_application()
