"""/api/v1/needs/, /draws/, /trays/, /traces/"""

from __future__ import annotations

from typing import Any

from .draws import Draws, Traces
from .needs import Needs
from .trays import Trays


def register(router: Any) -> None:
    router.register("needs", Needs, basename="needs")
    router.register("draws", Draws, basename="draws")
    router.register("trays", Trays, basename="trays")
    router.register("traces", Traces, basename="traces")
