"""Links let one browser in once; sessions end when nobody uses them."""

from __future__ import annotations

from shortpencil.scan.review.door import MOST_LINKS, MOST_SESSIONS, SESSION_IDLE_S, SESSION_MOST_S, Door


def test_a_link_works_once() -> None:
    door = Door("Wren")
    secret = door.link(0.0, 60.0, "laptop")
    cookie = door.enter(secret, 10.0)
    session = door.session(cookie, 11.0)
    assert session is not None
    assert (session.name, session.kind) == ("Wren", "laptop")
    assert door.enter(secret, 12.0) is None


def test_an_old_link_and_a_made_up_one_let_nobody_in() -> None:
    door = Door("Wren")
    secret = door.link(0.0, 60.0, "laptop")
    assert door.enter(secret, 60.0) is None
    assert door.enter("", 0.0) is None
    assert door.session(None, 0.0) is None
    assert door.session("made up", 0.0) is None


def test_secrets_have_256_bits_and_differ() -> None:
    door = Door("Wren")
    secrets = {door.link(0.0, 60.0, "phone") for _ in range(20)}
    assert len(secrets) == 20
    assert all(len(secret) == 43 for secret in secrets)  # 32 bytes in base64


def test_phones_are_told_apart_and_can_be_named() -> None:
    door = Door("Wren")
    cookies = [door.enter(door.link(0.0, 60.0, "phone"), 1.0) for _ in range(2)]
    sessions = [door.session(cookie, 2.0) for cookie in cookies]
    assert [session.name for session in sessions if session] == ["Wren, phone 1", "Wren, phone 2"]
    door.rename(cookies[0] or "", "Robin")
    named = door.session(cookies[0], 3.0)
    assert named is not None
    assert named.name == "Robin"


def test_a_session_ends_when_idle_and_lives_while_used() -> None:
    door = Door("Wren")
    cookie = door.enter(door.link(0.0, 60.0, "laptop"), 0.0)
    assert door.session(cookie, SESSION_IDLE_S) is not None
    assert door.session(cookie, 2 * SESSION_IDLE_S) is not None
    assert door.session(cookie, 3 * SESSION_IDLE_S + 1) is None


def test_neither_links_nor_sessions_pile_up() -> None:
    door = Door("Wren")
    first = door.link(0.0, 60.0, "phone")
    for _ in range(MOST_LINKS):
        door.link(0.0, 60.0, "phone")
    assert door.enter(first, 1.0) is None
    cookies = [door.enter(door.link(0.0, 60.0, "phone"), i / 10) for i in range(MOST_SESSIONS + 1)]
    assert door.session(cookies[0], 50.0) is None
    assert door.session(cookies[-1], 50.0) is not None


def test_signing_phones_out_ends_theirs_and_their_links_and_nobody_elses() -> None:
    door = Door("Wren")
    laptop, phone = (door.enter(door.link(0.0, 60.0, kind), 1.0) for kind in ("laptop", "phone"))
    unused = {kind: door.link(1.0, 60.0, kind) for kind in ("laptop", "phone")}
    door.sign_out_phones()
    assert door.session(phone, 2.0) is None
    assert door.session(laptop, 2.0) is not None
    assert door.enter(unused["phone"], 3.0) is None
    assert door.enter(unused["laptop"], 3.0) is not None


def test_a_session_ends_after_a_weekend_however_much_it_is_used() -> None:
    door = Door("Wren")
    cookie = door.enter(door.link(0.0, 60.0, "laptop"), 0.0)
    at = 0.0
    while at + SESSION_IDLE_S / 2 <= SESSION_MOST_S:
        at += SESSION_IDLE_S / 2
        assert door.session(cookie, at) is not None
    assert door.session(cookie, SESSION_MOST_S + 1) is None


def test_where_too_many_are_in_the_one_that_was_used_longest_ago_goes() -> None:
    door = Door("Wren")
    cookies = [door.enter(door.link(0.0, 60.0, "phone"), 1.0 + i / 10) for i in range(MOST_SESSIONS)]
    assert door.session(cookies[0], 20.0) is not None  # the first one is in use
    assert door.enter(door.link(20.0, 60.0, "phone"), 21.0) is not None
    assert door.session(cookies[0], 22.0) is not None
    assert door.session(cookies[1], 22.0) is None
    assert door.session(cookies[-1], 22.0) is not None
