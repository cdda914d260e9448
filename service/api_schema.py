"""What the API's description says of bodies that the routes read themselves."""

from typing import Any

from service.options import CHOICES, LENGTHS, PHOTO_OPTIONS
from service.problems import MEDIA_TYPE

_PROBLEM = {
    "description": "What went wrong, by RFC 9457",
    "content": {
        MEDIA_TYPE: {
            "schema": {
                "type": "object",
                "required": ["type", "title", "status", "detail"],
                "properties": {
                    "type": {"type": "string"},
                    "title": {"type": "string"},
                    "status": {"type": "integer"},
                    "detail": {"type": "string"},
                },
            }
        }
    },
}
RESPONSES: dict[int | str, dict[str, Any]] = {"4XX": _PROBLEM, "5XX": _PROBLEM}


def _option(name: str) -> dict[str, Any]:
    if name in CHOICES:
        return {"type": "string", "enum": list(CHOICES[name])}
    return {"type": "string", "description": LENGTHS.get(name, "see 'whichrotor measure --help'")}


def _body(media_type: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"requestBody": {"required": True, "content": {media_type: {"schema": schema}}}}


def _form(**more: dict[str, Any]) -> dict[str, Any]:
    properties = {"photo": {"type": "string", "format": "binary"}, **more}
    return _body("multipart/form-data", {"type": "object", "required": ["photo"], "properties": properties})


PHOTO_TO_MEASURE = _form(**{name: _option(name) for name in PHOTO_OPTIONS})
PHOTO_TO_KEEP = _form(consent={"type": "boolean", "description": "the owner agrees that the photo is kept"})
EVIDENCE = _body(
    "application/json",
    {
        "type": "object",
        "properties": {
            "vehicle": {"type": "object"},
            "option_codes": {"type": "array", "items": {"type": "string"}},
            "vin": {"type": "string"},
            "axles": {
                "type": "object",
                "properties": {axle: {"type": "object"} for axle in ("front", "rear", "unknown")},
            },
            "wanted": {"type": "array", "items": {"type": "object"}},
        },
        "additionalProperties": False,
    },
)
