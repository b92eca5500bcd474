"""Whatever is sent to whichever address, the server answers, and never with an error of its own."""

from __future__ import annotations

from urllib.parse import quote

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tests.review.conftest import Page

NASTY = ["", "..", "%2e%2e", "\x00", "\u202e", "é", "٣", "-1", "0", "9" * 20, "NaN", "'", '"', "<b>",
         "h05.drive", "h05.putt1.distance", "h01.way", "h01.words", "total", "date.day",
         "@card", "a/b", "x" * 300]  # fmt: skip
texts = st.sampled_from(NASTY) | st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
PARTS = [
    "ask",
    "undo",
    "card",
    "picture",
    "rounds",
    "static",
    "capture",
    "focus",
    "phone",
    "name",
    "enter",
    "",
]
NAMES = [
    "value",
    "seen",
    "then",
    "name",
    "secret",
    "photos",
    "photo",
    "card",
    "done",
    "at",
    "zoom",
    "marks",
    "minutes",
    "player",
]
pairs = st.lists(st.tuples(st.sampled_from(NAMES) | texts, texts), max_size=5)


def browser_of(page: Page, known: dict[int, TestClient] = {}) -> TestClient:  # noqa: B006, one a test
    return known.setdefault(id(page.desk), known.get(id(page.desk)) or page.browser())


@given(
    method=st.sampled_from(["GET", "POST", "HEAD"]),
    parts=st.lists(st.sampled_from(PARTS) | st.just("SERIAL") | texts, max_size=4),
    query=pairs,
    data=pairs,
    as_files=st.booleans(),
)
@settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_request_makes_the_server_fail(
    page: Page,
    serial: str,
    method: str,
    parts: list[str],
    query: list[tuple[str, str]],
    data: list[tuple[str, str]],
    as_files: bool,
) -> None:
    browser = browser_of(page)
    path = "/" + "/".join(quote(serial if part == "SERIAL" else part, safe="") for part in parts)
    body: dict[str, object] = {}
    if method == "POST" and as_files:
        body = {"files": [(name or "x", ("n", text.encode(), "image/jpeg")) for name, text in data]}
    elif method == "POST":
        fields: dict[str, list[str]] = {}
        for name, text in data:
            fields.setdefault(name, []).append(text)
        body = {"data": fields}
    if method == "POST" and path == "/capture" and as_files:
        return  # each is a process of its own; their own tests send broken files
    answer = browser.request(method, path, params=query, **body)
    assert answer.status_code < 500, (method, path, answer.text[-300:])
