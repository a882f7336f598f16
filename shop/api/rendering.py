"""JSON without a charset parameter (RFC 8259 has none). Apart from `problems`, since DRF loads it while that one loads."""

from __future__ import annotations

from rest_framework.renderers import JSONRenderer


class JSON(JSONRenderer):
    charset = None
