"""A round taken out of an export's line the quick way: half the time of going through it key by key.

`record_json` writes a round in one form: it leaves out what is null, empty or the default. Of a record in
that form nobody needs to make the JSON anew, only to put its keys in order. Whether it is says a schema that
is derived from the published one and allows less. What that does not let pass is gone through the other way,
and may be right all the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

import msgspec

from shortpencil.forms.form import USUAL_PHASES
from shortpencil.scan.records.composing.rounds import Round, counts_of
from shortpencil.scan.records.recording.schema import problems_of, schema_of

if TYPE_CHECKING:
    from jsonschema_rs import Draft202012Validator

#: A time as `record_json.time_text` writes it: in UTC, and without digits of a second where all are nought.
_TIME = (
    r"^[0-9]{4}-[0-9][0-9]-[0-9][0-9]T[0-9][0-9]:[0-9][0-9]:[0-9][0-9]"
    r"(\.([0-9]{5}[1-9]|[0-9]{4}[1-9]0|[0-9]{3}[1-9]00|[0-9]{2}[1-9]000|[0-9][1-9]0000|[1-9]00000))?Z$"
)
_ANY_TIME = "^[0-9]{4}-[0-9][0-9]-[0-9][0-9]T"
_LARGE = 10**15  # from 1e16 on Python writes numbers in another way than msgspec


def round_as_written(line: str) -> tuple[Round, str] | None:
    """Return the round of a text in the form that `round_to_json` gives, and the text that stands for it.

    They are what `round_from_json` and `round_text` give, and nothing is wrong with the record. None does not
    say that something is: then the text must be gone through key by key.
    """
    if "\\" in line:  # behind it a colon may hide, or half a character
        return None
    try:
        data = msgspec.json.decode(line)
        if not _narrower().is_valid(data):
            return None
        round_ = msgspec.convert(data, Round)
    # A time that does not exist, 7.0 for 7, a number beyond all, …
    except (msgspec.MsgspecError, ValueError, TypeError, OverflowError, RecursionError):
        return None
    text = msgspec.json.encode(data, order="sorted").decode()
    if (
        line.count(":") != text.count(":")  # a key stands twice
        or _has_a_small_number(text)
        or ("phases" in data and round_.phases == USUAL_PHASES)
        or any(isinstance(count.value, float) for count in counts_of(round_))
        or problems_of(data, fits=True, entered=False)
    ):
        return None
    return round_, text


def _has_a_small_number(text: str) -> bool:
    """Say whether there may be a number below 0.0001, which Python writes otherwise than 0.00001 and 1e-7.

    Cut at dashes, since to look for two signs takes ten times as long as for one.
    """
    return "0.0000" in text or any(part[-1:] == "e" and part[-2:-1].isdigit() for part in text.split("-"))


@cache
def _narrower() -> Draft202012Validator:
    """Return what lets pass only what `round_to_json` writes, of what the published schema lets pass."""
    from jsonschema_rs import Draft202012Validator

    return Draft202012Validator(_narrow(schema_of("round")))


def _narrow(node: Any) -> Any:
    if isinstance(node, list):
        return [_narrow(item) for item in node]
    if not isinstance(node, Mapping):
        return node
    out = {key: _narrow(item) for key, item in node.items()}
    if "required" in node:
        for name in set(node.get("properties", ())) - {*node["required"]}:
            out["properties"][name] = _given(out["properties"][name])
    if str(node.get("pattern")).startswith(_ANY_TIME):
        out["pattern"] = _TIME
    return _small(out) if "number" in node.get("type", ()) and "maximum" not in node else out


def _given(node: Mapping[str, Any]) -> dict[str, Any]:
    """Return the schema of what may be left out, and therefore is neither null nor empty nor the default."""
    out = dict(node)
    if isinstance(node.get("type"), list):
        out["type"] = [kind for kind in node["type"] if kind != "null"]
    if "default" in node:
        out["enum"] = [item for item in node["enum"] if item != node["default"]]
    return out | {"minItems": max(1, node.get("minItems", 0)), "minProperties": 1}


def _small(node: Mapping[str, Any]) -> dict[str, Any]:
    return {**node, "minimum": -_LARGE, "maximum": _LARGE}
