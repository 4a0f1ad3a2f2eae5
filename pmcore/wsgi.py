import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")
application = get_wsgi_application()

from pmcore.checks import refuse_to_start_unguarded  # noqa: E402

refuse_to_start_unguarded()
