"""The description of the API itself."""

from __future__ import annotations

from typing import Any

from drf_spectacular.renderers import OpenApiJsonRenderer
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import AllowAny


class Description(SpectacularAPIView):
    """OpenAPI 3.1 as JSON; open to anyone, since it holds no data of the shop."""

    permission_classes = (AllowAny,)
    renderer_classes = [OpenApiJsonRenderer]
    right = None

    def right_of(self, method: str) -> Any:
        return None
