"""The schema of what ``grade --json`` prints, as strict as it can be.

It lets new keys be, so that a script for one version can read the next; here it is closed, so that
no key goes out undescribed.
"""

import json
from typing import Any

from jsonschema import Draft202012Validator

from playalong.commands.grade import SCHEMA_FILE

SCHEMA: dict[str, Any] = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))


def _closed(schema: Any) -> Any:
    """The schema, with no room for a key that it does not name."""
    if isinstance(schema, list):
        return [_closed(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: _closed(value) for key, value in schema.items()}
    if isinstance(schema.get("properties"), dict):
        found.setdefault("additionalProperties", False)
    return found


CLOSED = Draft202012Validator(_closed(SCHEMA))
