"""Every page by keyboard alone: all that can be done is reached by Tab, in order, and seen when reached.

The rules are those of WCAG 2.2, https://www.w3.org/TR/WCAG22/: 2.1.1 keyboard, 2.1.2 no keyboard trap, 2.4.3
focus order, 2.4.7 focus visible. Within a group (radio buttons, the cells of a card) one member is a stop and
the arrows go on, as the ARIA Authoring Practices Guide has it.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from playwright.sync_api import Browser, Page

from shortpencil.scan.records.store import open_store
from tests.review.browser import LAPTOP, ThreadServer, chromium, come_in, pytestmark
from tests.review.test_year_browser import pages_of, server, tab_to

__all__ = ["chromium", "pytestmark", "server"]

#: What a person can do something with, in the order of the page: name, group that the arrows walk through
#: (-1: none), where it leads or whose words it takes, whether it is a stop. The page notes what is reached.
CONTROLS = """() => {
  for (const folded of document.querySelectorAll('details')) folded.open = true;
  const seen = el => el.checkVisibility({ visibilityProperty: true });
  const kinds = 'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex], [onclick]';
  const usable = el => seen(el) && !el.disabled && !el.closest('[inert]') && el.tagName !== 'MAIN';
  window.controls = [...document.querySelectorAll(kinds)].filter(usable);
  window.reached = [];
  document.addEventListener('focusin', event => {
    const el = event.target, look = getComputedStyle(el), box = el.getBoundingClientRect();
    const drawn = look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) >= 1;
    reached.push([controls.indexOf(el), drawn, box.bottom > 0 && box.top < innerHeight]);
  });
  document.activeElement.blur();
  const name = el => (el.getAttribute('aria-label') || el.labels?.[0]?.textContent || el.textContent
    || el.outerHTML).trim().slice(0, 60);
  const groups = [];
  const groupOf = el => {
    const group = el.type === 'radio' ? el.name : el.closest('[data-roving], [role=radiogroup]');
    if (group && !groups.includes(group)) groups.push(group);
    return groups.indexOf(group);
  };
  const leadsTo = el => {
    if (el.id.startsWith('w-')) return el.id;
    if (!el.hasAttribute('href')) return '';
    const to = new URL(el.getAttribute('href'), location), words = 'w-' + to.searchParams.get('at');
    return document.getElementById(words) ? words : to.href.replace('#edit', '');
  };
  return controls.map(el => [name(el), groupOf(el), leadsTo(el), el.tabIndex >= 0]);
}"""


def faults_by_keyboard(page: Page) -> list[str]:
    """What a person with a keyboard alone cannot do on the page that is open."""
    controls = page.evaluate(CONTROLS)
    for _ in range(sum(stop for *_, stop in controls) + 3):
        page.keyboard.down("Tab")  # held down: half as much to say as to press it each time
    page.keyboard.up("Tab")
    reached = [(index, *how) for index, *how in page.evaluate("reached") if index >= 0]
    stops = [index for index, *_ in reached]
    names = [name for name, *_ in controls]
    faults = [f"stands out by nothing: {names[index]}" for index, drawn, _ in reached if not drawn]
    faults += [f"is reached out of sight: {names[index]}" for index, _, inside in reached if not inside]
    once = stops[: stops.index(stops[0], 1)] if stops and stops[0] in stops[1:] else stops
    faults += [f"comes after what stands below it: {names[b]}" for a, b in pairwise(once) if b < a]
    groups = {controls[index][1] for index in stops} - {-1}
    at_hand = [index in stops or group in groups for index, (_, group, *_) in enumerate(controls)]
    # What lies on a picture for the mouse may be reached by another link or box for the same.
    led_to = {to for (_, _, to, _), there in zip(controls, at_hand, strict=True) if there} - {""}
    return faults + [
        f"is not reached: {name}"
        for (name, _, to, _), there in zip(controls, at_hand, strict=True)
        if not there and to not in led_to
    ]


def test_a_page_that_is_not_for_keyboards_is_told(chromium: Browser) -> None:
    page = chromium.new_page()
    page.set_content(
        "<style>a:focus { outline: none }</style><a href='#x'>Bare</a><button tabindex=-1>Shut out</button>"
        "<div onclick='1'>Mouse only</div><button>Right</button><button tabindex=1>First</button>"
    )
    assert set(faults_by_keyboard(page)) == {
        "stands out by nothing: Bare",
        "is not reached: Shut out",
        "is not reached: Mouse only",
        "comes after what stands below it: Bare",
    }
    page.close()


def test_everything_on_every_page_is_reached_in_order_and_seen(
    chromium: Browser, server: ThreadServer, serial: str
) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    found: dict[str, list[str]] = {}
    for path in [*pages_of(serial), "/focus", f"/glance/{serial}", "/who", "/ask", "/capture"]:
        page.goto(server.base + path)
        if page.locator("[hx-trigger=load]").count():  # else what comes after the page takes a link's place
            page.wait_for_load_state("networkidle")
        faults = faults_by_keyboard(page)
        if faults:
            found[path] = faults
    context.close()
    assert found == {}, json.dumps(found, indent=1)


def test_everything_is_saved_lost_and_taken_back_by_keyboard(
    chromium: Browser, server: ThreadServer, tmp_path: Path
) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    tab_to(page, "^Keep safe$")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:text('Keep it safe')")
    tab_to(page, "^Make a backup$")
    with page.expect_download() as made:
        page.keyboard.press("Enter")
    saved = tmp_path / "all.zip"
    made.value.save_as(saved)
    with open_store(server.store) as store:
        before = {round_.id for round_ in store.rounds()}
        store.set_aside("YEAR0020", datetime(2026, 9, 1, tzinfo=UTC), kept=False)
    tab_to(page, "^Backup")
    page.locator(":focus").set_input_files(saved)  # the window that Space opens is the browser's own
    page.keyboard.press("Tab")
    page.keyboard.type("replace")
    page.keyboard.press("Enter")
    page.wait_for_selector(".kept")
    context.close()
    with open_store(server.store) as store:
        assert {round_.id for round_ in store.rounds()} == before


def test_a_date_stands_out_at_each_of_its_parts_and_at_its_own_button(
    chromium: Browser, server: ThreadServer
) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(server.base + "/sessions")
    tab_to(page, "^Day$")
    drawn = []
    while page.evaluate("document.activeElement.type") == "date":
        drawn.append(page.evaluate("getComputedStyle(document.activeElement).outlineStyle"))
        page.keyboard.press("Tab")
    context.close()
    assert drawn == ["solid"] * 4  # day, month, year, the calendar's button


def test_a_session_is_told_and_a_player_forgotten_by_keyboard(
    chromium: Browser, server: ThreadServer
) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(server.base + "/sessions?player=Wren")
    tab_to(page, "^Practised")
    page.keyboard.type("Pu")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+a")
    page.keyboard.type("25")
    page.keyboard.press("Enter")
    page.wait_for_selector("h2:text('1 session told')")
    with open_store(server.store) as store:
        (told,) = store.told_sessions()
    assert (told.player, told.phase, told.minutes) == ("Wren", "putt", 25)

    page.goto(server.base + "/player?name=Wren")
    tab_to(page, "^Look at what would go$")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:text('Forget Wren?')")
    tab_to(page, "^Type Wren")
    page.keyboard.type("Wren")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:text('Wren is forgotten')")
    context.close()
    with open_store(server.store) as store:
        assert all(round_.player != "Wren" for round_ in store.rounds())
        assert store.told_sessions() == ()
