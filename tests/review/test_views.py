"""Which part of the card shows a field."""

from __future__ import annotations

from scan.records.store import Store
from scan.review.views import box_of, close_up, surroundings, whole


def test_every_field_is_seen_whole_and_on_the_sheet(store: Store, serial: str) -> None:
    from forms.field_map import layout_from_json

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
    from forms.field_map import layout_from_json

    card = store.card(serial)
    layout = layout_from_json(store.form_text(card.reading.form or "") or "")
    row = surroundings(layout, layout.form.field("h07.drive")).view
    for cell in layout.cells:
        if cell.field.startswith("h07."):
            assert row.contains(cell.box), cell.id
    assert row.h < 16  # mm; the rows above and below are not in it as a whole
