"""Each request that must be refused is refused, before anything of it is believed."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from shortpencil.scan.records.store import Store
from shortpencil.scan.review.guard import MAX_FORM_BYTES, MAX_QUERY_BYTES
from tests.review.conftest import HOST, ORIGIN, Page

ANSWER = {"value": "clean", "seen": "0"}


@pytest.fixture
def browser(page: Page) -> TestClient:
    return page.browser()


def answer_to(serial: str) -> str:
    return f"/ask/{serial}/h05.drive"


def test_an_answer_from_our_own_page_is_kept(browser: TestClient, store: Store, serial: str) -> None:
    assert browser.post(answer_to(serial), data=ANSWER).status_code == 200
    assert [answer.value for answer in store.answers(serial)] == ["clean"]


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8467", "", HOST + "."]
)
def test_a_foreign_host_is_refused(browser: TestClient, host: str) -> None:
    refused = browser.get("/", headers={"host": host})
    assert refused.status_code == 421
    assert "not one that shortpencil answers to" in refused.text


def test_two_hosts_are_none(browser: TestClient) -> None:
    request = browser.build_request("GET", "/")
    request.headers = type(request.headers)([*request.headers.multi_items(), ("host", "evil.example")])
    assert browser.send(request).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": f"http://{HOST}.evil.example"},
        {"origin": f"http://{HOST}", "sec-fetch-site": "cross-site"},
        {"origin": f"http://{HOST}", "sec-fetch-site": "same-site"},
        {"origin": "http://evil.example", "sec-fetch-site": "same-origin"},
        {"sec-fetch-site": "none"},
        {},
    ],
)
def test_a_post_from_elsewhere_is_refused_and_changes_nothing(
    browser: TestClient, store: Store, serial: str, headers: dict[str, str]
) -> None:
    del browser.headers["origin"]
    refused = browser.post(answer_to(serial), data=ANSWER, headers=headers)
    assert refused.status_code == 403
    assert store.answers(serial) == ()


def test_either_header_may_speak_for_our_page(browser: TestClient, store: Store, serial: str) -> None:
    del browser.headers["origin"]  # some browsers send none with a form of the same origin
    sent = browser.post(answer_to(serial), data=ANSWER, headers={"sec-fetch-site": "same-origin"})
    assert sent.status_code == 200
    assert len(store.answers(serial)) == 1


def test_a_part_of_a_page_is_not_given_to_other_pages(browser: TestClient, serial: str) -> None:
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}
    assert browser.get(f"/picture/{serial}", headers=headers).status_code == 403
    framed = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "iframe"}
    assert browser.get("/", headers=framed).status_code == 403
    followed = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert browser.get("/", headers=followed).status_code == 200


@pytest.mark.parametrize(
    "path", ["/", "/ask", "/rounds", "/focus", "/phone", "/capture", "/card/X", "/picture/X", "/nothing"]
)
def test_without_a_cookie_nothing_is_shown(page: Page, path: str) -> None:
    stranger = page.stranger()
    for cookie in ({}, {"cookie": "shortpencil_8467=made-up"}, {"cookie": '=;"; x'}):
        refused = stranger.get(path, headers=cookie)
        assert refused.status_code == 401
        assert "one-time link" in refused.text


def test_without_a_cookie_nothing_is_kept(page: Page, store: Store, serial: str) -> None:
    refused = page.stranger().post(answer_to(serial), data=ANSWER, headers=ORIGIN)
    assert refused.status_code == 401
    assert store.answers(serial) == ()


def test_a_link_is_used_up_by_sending_it_not_by_looking_at_it(page: Page) -> None:
    secret = page.desk.door.link(page.clock(), 60.0, "laptop")
    stranger = page.stranger()
    for _ in range(3):
        assert stranger.get(f"/enter?secret={secret}").status_code == 200
    entered = stranger.post("/enter", data={"secret": secret}, headers=ORIGIN)
    assert entered.status_code == 303
    cookie = entered.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    again = page.stranger().post("/enter", data={"secret": secret}, headers=ORIGIN)
    assert again.status_code == 403
    assert "used before" in again.text


def test_an_idle_session_ends(page: Page) -> None:
    browser = page.browser()
    page.clock.now_s += 13 * 3600
    assert browser.get("/").status_code == 401


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
def test_other_methods_are_refused(browser: TestClient, method: str) -> None:
    refused = browser.request(method, "/")
    assert refused.status_code == 405
    assert refused.headers["allow"] == "GET, HEAD, POST"


def test_a_form_larger_than_an_answer_is_refused(browser: TestClient, store: Store, serial: str) -> None:
    data = {**ANSWER, "more": "x" * MAX_FORM_BYTES}
    assert browser.post(answer_to(serial), data=data).status_code == 413
    assert store.answers(serial) == ()


def test_a_body_that_says_no_length_is_counted_while_it_comes(
    browser: TestClient, store: Store, serial: str
) -> None:
    def endless():
        for _ in range(200):  # 13 MB
            yield b"value=clean&seen=0&more=" + b"x" * 65_000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert browser.post(answer_to(serial), content=endless(), headers=headers).status_code == 413
    assert store.answers(serial) == ()


@pytest.mark.parametrize("length", ["-1", "1e9", "٣", " ", "1, 2"])
def test_a_length_that_is_no_number_is_refused(browser: TestClient, length: str) -> None:
    headers = [("content-length", length.encode())]
    request = browser.build_request("POST", "/name", headers={**ORIGIN})
    request.headers = type(request.headers)(
        [*((k, v) for k, v in request.headers.multi_items() if k != "content-length"), *headers]
    )
    assert browser.send(request).status_code == 400


def test_a_query_longer_than_any_of_ours_is_refused(browser: TestClient) -> None:
    assert browser.get("/rounds?player=" + "x" * MAX_QUERY_BYTES).status_code == 414


@pytest.mark.parametrize(
    "path",
    ["/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd", "/static/",
     "/static/page.css/", "/picture/..%2f..%2frounds.sqlite", "/card/%00", "/ask/x/..%2f..%2fy",
     "/ask/%ff", "/.git/config"],
)  # fmt: skip
def test_path_tricks_lead_nowhere(browser: TestClient, path: str) -> None:
    browser.follow_redirects = False
    found = browser.get(path)
    assert found.status_code in (404, 307)
    assert "evil.example" not in found.headers.get("location", "").replace(HOST, "")


def test_every_answer_has_the_headers_that_keep_a_page_closed(browser: TestClient, serial: str) -> None:
    for path in ("/", f"/picture/{serial}", "/static/page.js", "/nothing"):
        headers = browser.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
    assert browser.get("/").headers["cache-control"] == "no-store"
    refused = browser.get("/", headers={"host": "evil.example"})
    assert "default-src 'none'" in refused.headers["content-security-policy"]


def test_a_web_socket_is_closed(browser: TestClient) -> None:
    from starlette.websockets import WebSocketDisconnect

    with pytest.raises(WebSocketDisconnect), browser.websocket_connect("/"):
        pass
