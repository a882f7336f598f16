"""Reading a JSON body: of bearable size, of text that any database takes."""

from __future__ import annotations

import json
from typing import Any

from django.conf import settings
from rest_framework import status
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

from .rendering import JSON

DEEPEST = 30


class TooLarge(APIException):
    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE
    default_detail = "The body is larger than this service takes at once. Send it in parts."


class JSONBody(BaseParser):
    """JSON in UTF-8. DRF's own parser reads without end, lets "1e999" become infinity, and takes half surrogate pairs
    that no database can keep."""

    media_type = "application/json"
    renderer_class = JSON

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        raw = stream.read(most + 1)
        if len(raw) > most:
            raise TooLarge
        try:
            data = json.loads(raw.decode("utf-8"), parse_constant=_no_number, parse_float=_float)
            if b"\\u" in raw:
                json.dumps(data, ensure_ascii=False).encode("utf-8")
        except UnicodeError as error:
            raise ParseError("The text is not valid Unicode in UTF-8.") from error
        except RecursionError as error:
            raise ParseError("The body is nested too deeply.") from error
        except ValueError as error:
            raise ParseError(f"This is not JSON: {error}") from error
        if _depth(data) > DEEPEST:
            raise ParseError("The body is nested too deeply.")
        return data


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no JSON number")


def _float(text: str) -> float:
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise ValueError(f"the number {text[:20]} is too large")
    return value


def _depth(data: Any) -> int:
    level, depth = [data], 0
    while level := [x for node in level for x in _inside(node)]:
        depth += 1
        if depth > DEEPEST:
            break
    return depth


def _inside(node: Any) -> list[Any]:
    if isinstance(node, dict):
        return list(node.values())
    return node if isinstance(node, list) else []
