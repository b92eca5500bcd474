"""Which part of the card shows a field."""

from __future__ import annotations

from shortpencil.scan.records.store import Store
from shortpencil.scan.review.views import box_of, close_up, surroundings, whole


def test_every_field_is_seen_whole_and_on_the_sheet(store: Store, serial: str) -> None:
    from shortpencil.forms.field_map import layout_from_json

    card = store.card(serial)
    layout = layout_from_json(store.form_text(card.reading.form or "") or "")
    sheet = whole(layout)
    for field in layout.form.fields:
        box = box_of(layout, field.id)
        for region in (close_up(layout, field), surroundings(layout, field)):
            assert region.view.contains(box), field.id
            assert sheet.contains(region.view.grown(-1e-9)), field.id
            assert region.asked.contains(box)


def test_a_row_is_shown_with_all_its_cells(store: Store, serial: str) -> None:
    from shortpencil.forms.field_map import layout_from_json

    card = store.card(serial)
    layout = layout_from_json(store.form_text(card.reading.form or "") or "")
    row = surroundings(layout, layout.form.field("h07.drive")).view
    for cell in layout.cells:
        if cell.field.startswith("h07."):
            assert row.contains(cell.box), cell.id
    assert row.h < 16  # mm; the rows above and below are not in it as a whole


def test_a_long_season_is_drawn_without_numbers_that_nobody_could_read() -> None:
    from datetime import date, timedelta

    from shortpencil.forms.rules import in_tables_said
    from shortpencil.scan.records.storing.summary import Summary
    from shortpencil.scan.review.naming import names_of
    from shortpencil.scan.review.pages import season
    from shortpencil.scan.review.rendering import Pages

    def lines(count: int) -> list[Summary]:
        first = date(2020, 1, 1)
        return [
            Summary(
                f"R{i}",
                first + timedelta(i),
                None,
                None,
                None,
                18,
                18,
                60,
                57,
                0,
                (("drive", i % 7), ("approach", 2), ("putt", 9)),
            )
            for i in range(count)
        ]

    def page(count: int) -> str:
        found = lines(count)
        return Pages().render(
            "rounds.html",
            lines=found,
            players=[],
            player="",
            names=names_of(found),
            seasons=[("", season(found))],
            games=[(("drive", "approach", "putt"), found)],
            heads=in_tables_said,
            aside=(),
            others=(),
            session=None,
            path="/rounds",
            lan=False,
        )

    assert season(lines(3))[0].said == "Missed drives, round by round: 0, 1, 2."
    assert [height for height, _, _ in season(lines(3))[2].bars] == [1.0, 1.0, 1.0]
    assert page(24).count("<rect") == page(24).count("<text") == 3 * 24
    assert page(60).count("<rect") == 3 * 60
    assert "<text" not in page(60)
