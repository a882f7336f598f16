#!/usr/bin/env python
"""Django's command line for Tallybench."""

import os
import sys


def main() -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.config.settings")
    if sys.argv[1:2] == ["demo"]:  # serves this machine only, without TLS
        os.environ.setdefault("TALLYBENCH_PLAIN_HTTP", "1")
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:
        print(f"Settings: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
