"""The JSON Schemas that are published with the program, made from what the checks go by.

`forms/form.schema.json` describes a form's TOML (as the JSON of the same tables), so that an editor can point
at a wrong key while it is typed; `forms/field_map.schema.json` describes what `print --map` writes.
A test makes the first anew and compares, and holds every field map of the tests against the second.

References
----------
JSON Schema, draft 2020-12.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from shortpencil.forms.form_check import CAUSE, FIELD, FORM, OPTION, PHASE, ROWS, SENTENCES, Key

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema_text(name: str) -> str:
    """Return a published schema: ``form`` or ``field_map``."""
    return files("shortpencil.forms").joinpath(f"{name}.schema.json").read_text("utf-8")


def form_schema() -> dict[str, Any]:
    """Make the schema of a form's tables, which `forms/form.schema.json` must hold."""
    return {
        "$schema": DRAFT,
        "title": "A form: what a card asks",
        "description": "The tables of a form's TOML. Double ids, and what goes with which type or place, are "
        "checked by the program beyond this.",
        **_table(FORM),
        "$defs": {
            "field": _table(FIELD),
            "option": _table(OPTION),
            "cause": _table(CAUSE),
            "phase": _table(PHASE),
            "rows": _table(ROWS),
            "words": _table(SENTENCES),
        },
    }


def _table(keys: dict[str, Key]) -> dict[str, Any]:
    return {
        "type": "object",
        "additionalProperties": False,
        "required": [name for name, key in keys.items() if key.required],
        "properties": {name: _key(name, key) for name, key in keys.items()},
    }


def _key(name: str, key: Key) -> dict[str, Any]:
    says = {"description": key.says}
    match key.kind:
        case "text":
            return {**says, "type": "string", "maxLength": key.longest, "minLength": 0 if key.empty else 1}
        case "id":
            return {**says, "type": "string", "pattern": f"^{key.pattern}$"}
        case "whole":
            return {**says, "type": "integer", "minimum": key.low, "maximum": key.high}
        case "mm":
            return {**says, "type": "number", "minimum": key.low, "maximum": key.high}
        case "flag":
            return {**says, "type": "boolean"}
        case "choice":
            return {**says, "enum": list(key.allowed)}
        case "texts":
            items = {"type": "string", "maxLength": key.longest}
            return {**says, "type": "array", "maxItems": key.high, "items": items}
        case "table":
            return {**says, "$ref": f"#/$defs/{name}"}
        case _:
            return {**says, "type": "array", "maxItems": key.high, "items": {"$ref": f"#/$defs/{key.item}"}}
