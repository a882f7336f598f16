"""The project's settings over a throw-away data folder, without TLS and with a quick password hash."""

import os
import tempfile

os.environ["TALLYBENCH_DATA"] = tempfile.mkdtemp(prefix="tallybench-test-")
os.environ["TALLYBENCH_PLAIN_HTTP"] = "1"
os.environ["TALLYBENCH_HOSTS"] = "testserver,localhost,127.0.0.1"

from shop.config.settings import *

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"
WHITENOISE_USE_FINDERS = True
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
os.makedirs(STATIC_ROOT, exist_ok=True)
OUTBOX_BROKER = False  # tests drain by hand, or start the processes themselves
if "postgresql" in DATABASES["default"]["ENGINE"]:
    # a test's own transaction may stand idle for long while examples are thought up
    DATABASES["default"]["OPTIONS"]["options"] = "-c lock_timeout=10s"
