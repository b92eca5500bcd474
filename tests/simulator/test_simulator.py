import ast
import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from shortpencil.forms.catalog import load_form
from shortpencil.forms.rules import rules_of
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.filling import TROUBLES
from tests.simulator.handwriting import digit_strokes, wider
from tests.simulator.marks import MARKS
from tests.simulator.paper import PrintJob, print_sheet, sheened
from tests.simulator.pens import PENS, Stroke, draw
from tests.simulator.rounds import PHASE_OF, Player, cells_of, round_answers
from tests.simulator.scenario import (
    CONDITIONS,
    EVERYDAY,
    condition,
    fill,
    mixed,
    photograph,
    some_player,
    some_writer,
    truth_json,
)
from tests.simulator.sensor import Output, encoded

PX_PER_MM = 8.0
DOT_MM = 1.3


def dotted_page(centres_mm):
    """A page of A4 with round dots at exactly known places."""
    page = np.full((round(297 * PX_PER_MM), round(210 * PX_PER_MM)), 255, dtype=np.uint8)
    for x_mm, y_mm in centres_mm:
        # Pixel i covers (i + 1/2) / PX_PER_MM mm at its centre.
        x, y = x_mm * PX_PER_MM - 0.5, y_mm * PX_PER_MM - 0.5
        left, top = round(x) - 14, round(y) - 14
        ys, xs = np.mgrid[top : top + 29, left : left + 29]
        ink = np.clip(DOT_MM * PX_PER_MM + 0.5 - np.hypot(xs - x, ys - y), 0, 1)
        part = page[top : top + 29, left : left + 29]
        part[:] = np.minimum(part, 255 * (1 - ink)).astype(np.uint8)
    return page


def ring_mm(centre, radius):
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    return centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def centre_of_area(polygon):
    x, y = polygon.T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    both = np.array([((x + np.roll(x, -1)) * cross).sum(), ((y + np.roll(y, -1)) * cross).sum()])
    return both / (3 * cross.sum())


def found_dot(grey, polygon):
    """Centre of the darkness inside a polygon grown by a third, or None at the picture's rim."""
    middle = polygon.mean(axis=0)
    reach = 1.35 * np.linalg.norm(polygon - middle, axis=1).max()
    x0, y0 = (int(v - reach) for v in middle)
    size = int(2 * reach) + 2
    if min(x0, y0) < 1 or y0 + size >= grey.shape[0] or x0 + size >= grey.shape[1]:
        return None
    part = grey[y0 : y0 + size, x0 : x0 + size]
    dark, light = np.percentile(part, [5, 93])
    weight = np.clip((light - part) / (light - dark) - 0.25, 0, 0.5)
    ys, xs = np.mgrid[y0 : y0 + size, x0 : x0 + size]
    return np.array([(weight * xs).sum(), (weight * ys).sum()]) / weight.sum()


HARD_GEOMETRY = [
    ("clean", 0.0),
    ("fit-to-page", 1.0),
    ("tilt", 0.7),
    ("wide-angle", 1.0),
    ("bend", 1.0),
    ("fold", 1.0),
    ("crumple", 1.0),
    ("messenger", 0.3),
    ("flatbed", 0.5),
]


@pytest.mark.parametrize(("name", "severity"), HARD_GEOMETRY)
def test_a_printed_dot_lands_where_the_truth_map_says(name, severity):
    xs, ys = np.meshgrid(np.arange(13.0, 200, 23.0), np.arange(12.0, 290, 22.5))
    centres = np.column_stack([xs.ravel(), ys.ravel()])
    how = condition(name, severity, 3, long_px=2000)
    # Light and print faults would move a dot's centre of darkness, not its place.
    how = replace(
        how,
        job=replace(how.job, kind="grey", toner=1.0, streaks=0.0),
        wear=replace(how.wear, folds=(), smudge=0.0, dirt=0.0),
        background="concrete",
        sensor=replace(how.sensor, far_defocus_px=0.0),
    )
    sheet = print_sheet(dotted_page(centres), PX_PER_MM, how.job, "office", np.random.default_rng(0))
    shot = photograph(sheet, how, 3)
    grey = cv2.cvtColor(shot.image, cv2.COLOR_RGB2GRAY).astype(float)
    misses = []
    for centre in centres:
        polygon = shot.sheet_to_photo[0](ring_mm(centre, DOT_MM))
        found = found_dot(grey, polygon)
        if found is not None:
            misses.append(np.linalg.norm(found - centre_of_area(polygon)))
    assert len(misses) > 0.8 * len(centres)
    assert max(misses) < 0.3


def test_the_dot_finder_can_fail():
    centres = np.array([[100.0, 150.0]])
    how = condition("clean", 0.0, 3, long_px=2000)
    sheet = print_sheet(dotted_page(centres + 0.2), PX_PER_MM, PrintJob(), "office", np.random.default_rng(0))
    shot = photograph(sheet, how, 3)
    grey = cv2.cvtColor(shot.image, cv2.COLOR_RGB2GRAY).astype(float)
    polygon = shot.sheet_to_photo[0](ring_mm(centres[0], DOT_MM))
    assert np.linalg.norm(found_dot(grey, polygon) - centre_of_area(polygon)) > 0.6


def test_a_shrunk_print_moves_its_points_as_scale_and_shift_say():
    # By hand: about the middle (105, 148.5), 0.95 of the way, then 2 mm right and 1 mm up.
    job = PrintJob(scale_x=0.95, scale_y=0.95, shift_mm=(2.0, -1.0))
    sheet = print_sheet(np.full((2376, 1680), 255, np.uint8), 8.0, job, "office", np.random.default_rng(0))
    assert sheet.on_sheet(np.array([[105.0, 148.5], [5.0, 48.5]])) == pytest.approx(
        np.array([[107.0, 147.5], [12.0, 52.5]])
    )


def test_several_sheets_lie_apart_and_each_has_its_map():
    blanks = [blank_card(seed=s, px_per_mm=3.0) for s in range(3)]
    sheets = [
        print_sheet(b.page, 3.0, PrintJob(), "office", np.random.default_rng(s)) for s, b in enumerate(blanks)
    ]
    shot = photograph(sheets, condition("clean", 0.0, 2, long_px=1000), 2)
    corners = np.array([[0.0, 0.0], [210, 0], [210, 297], [0, 297]])
    hulls = [m(corners).astype(np.float32) for m in shot.sheet_to_photo]
    for i, a in enumerate(hulls):
        for b in hulls[i + 1 :]:
            assert cv2.intersectConvexConvex(a, b)[0] == 0.0
    height, width = shot.image.shape[:2]
    assert all((h > 0).all() and (h < [width, height]).all() for h in hulls)


#: Of sheets that are drawn but of which no fine detail is looked at.
COARSE = 4.0


def a_round(form="round18", seed=5, **traits):
    blank = blank_card(form, px_per_mm=COARSE)
    return blank, round_answers(blank.field_map, Player(**traits), seed)


@pytest.mark.parametrize("form", ["round9", "round18", "round27"])
def test_sums_of_an_invented_round_hold(form):
    rules = rules_of(load_form(form))
    if not rules.holes:
        pytest.skip("promises no sums")
    for seed in range(8):
        _, answers = a_round(form, seed, forgets=0.0, slip=0.0)
        full = 0
        for hole in rules.holes:
            marked = [answers.get(name) for name, _ in hole.throws]
            throws = sum(value is not None for value in marked) + int(answers.get(hole.penalty) or 0)
            assert throws <= answers[hole.score]
            full += throws == answers[hole.score]
        # Some holes take more throws than the card has columns.
        assert full >= 0.8 * len(rules.holes)
        for tally in rules.tallies:
            assert answers[tally.tally] == sum(answers.get(t) == "miss" for t in tally.throws)
        assert rules.total is not None
        assert answers["total"] == sum(answers[s] for s in rules.total.scores)


def test_a_player_who_always_slips_adds_wrongly():
    rules = rules_of(load_form("round18"))
    _, answers = a_round(seed=1, slip=1.0)
    assert rules.total is not None
    assert answers["total"] != sum(answers[s] for s in rules.total.scores)


def test_the_second_pass_is_about_the_worst_phase_only():
    for seed in range(6):
        _, answers = a_round(seed=seed)
        worst = answers["worst"]
        missed = {n[:3] for n, v in answers.items() if v == "miss" and PHASE_OF.get(n[4:]) == worst}
        marked = {n[:3] for n in answers if n.endswith((".way", ".why", ".forehand", ".words"))}
        assert marked <= missed


def test_truth_names_every_cell_of_the_card_and_agrees_with_the_answers():
    blank, answers = a_round(seed=9)
    rng = np.random.default_rng(1)
    writer = some_writer(rng, small_bank())
    sheet = fill(
        blank.page,
        COARSE,
        blank.field_map,
        answers,
        writer,
        9,
        bank=small_bank(),
        serial=blank.serial,
        trouble={"h03.drive": "both", "h05.score": "overwritten"} | {"h07.drive": "erased"},
    )
    truth = json.loads(json.dumps(truth_json(sheet)))
    assert set(truth["cells"]) == {c["id"] for c in blank.field_map["cells"]}
    assert truth["review"] == ["h03.drive", "h05.score"]
    assert truth["cells"]["h03.drive.clean"] is truth["cells"]["h03.drive.miss"] is True
    assert truth["fields"]["h03.drive"] is None
    assert truth["fields"]["h07.drive"] == answers["h07.drive"]
    assert sorted([truth["cells"]["h07.drive.clean"], truth["cells"]["h07.drive.miss"]]) == [False, True]
    boxes = [truth["cells"][c["id"]] for c in cells_of(blank.field_map)["total"]]
    assert int("".join("" if b is None else str(b) for b in boxes)) == answers["total"]


def test_an_unknown_trouble_is_refused_by_name():
    blank, answers = a_round()
    writer = some_writer(np.random.default_rng(1), None)
    with pytest.raises(ValueError, match="smashed"):
        fill(blank.page, COARSE, blank.field_map, answers, writer, 1, trouble={"total": "smashed"})


@cache
def filled_sheet(trouble):
    """A filled sheet; `trouble` names what goes wrong in which field, as (field, name) pairs."""
    blank, answers = a_round(seed=2, slip=0.0)
    writer = some_writer(np.random.default_rng(3), None)
    return fill(blank.page, COARSE, blank.field_map, answers, writer, 4, trouble=dict(trouble))


@pytest.mark.parametrize("name", TROUBLES)
def test_each_trouble_changes_the_sheet(name):
    blank, answers = a_round(seed=2, slip=0.0)
    field = next(
        f
        for f, about in blank.field_map["fields"].items()
        if about["type"] in TROUBLES[name].kinds
        and (f in answers) == (name != "dash")
        and (len(cells_of(blank.field_map)[f]) > len(str(answers.get(f, ""))) or "choose" in about["type"])
        and f.startswith("h")
    )
    plain, spoilt = filled_sheet(()), filled_sheet(((field, name),))
    assert (plain.rgb != spoilt.rgb).any()
    assert (field in spoilt.review) == TROUBLES[name].unclear


#: Share of a round bubble 3.4 mm wide that a gel pen covers: (least, most) over ten hands.
COVERS = {
    "solid": (0.85, 1.0),
    "scribble": (0.5, 1.0),
    "spiral": (0.5, 1.0),
    "partial": (0.6, 0.97),
    "overrun": (0.8, 1.0),
    "dash": (0.25, 0.9),
    "cross": (0.2, 0.6),
    "tick": (0.1, 0.45),
    "slash": (0.05, 0.35),
    "dot": (0.0, 0.10),
    "specks": (0.0, 0.10),
    "ring": (0.0, 0.35),
    "cancelled": (0.85, 1.0),
}


@pytest.mark.parametrize("kind", COVERS)
def test_a_mark_covers_what_it_says(kind):
    least, most = COVERS[kind]
    scale = 20.0
    ys, xs = (np.mgrid[0:200, 0:200] + 0.5) / scale
    disc = np.hypot(xs - 5.0, ys - 5.0) < 1.6
    for seed in range(10):
        rng = np.random.default_rng(seed)
        sheet = np.full((200, 200, 3), 250, dtype=np.uint8)
        draw(sheet, scale, MARKS[kind].draw((3.3, 3.3, 3.4, 3.4), rng), PENS["gel-black"], rng)
        covered = (sheet[..., 1] < 150)[disc].mean()
        assert least <= covered <= most, seed


def test_a_struck_out_mark_reaches_beyond_its_bubble():
    rng = np.random.default_rng(1)
    strokes = MARKS["cancelled"].draw((3.3, 3.3, 3.4, 3.4), rng)
    reach = max(np.hypot(*(s.points_mm - 5.0).T).max() for s in strokes)
    assert reach > 2.2


def test_a_faint_mark_is_paler_than_a_usual_one_and_still_there():
    level = {"faint": [], "scribble": []}
    for kind, found in level.items():
        for seed in range(10):
            rng = np.random.default_rng(seed)
            sheet = np.full((200, 200, 3), 250, dtype=np.uint8)
            draw(sheet, 20.0, MARKS[kind].draw((3.3, 3.3, 3.4, 3.4), rng), PENS["pencil-HB"], rng)
            found.append(250 - sheet[75:125, 75:125].mean())
    assert min(level["faint"]) > 4
    assert np.mean(level["faint"]) < 0.6 * np.mean(level["scribble"])


def test_every_digit_of_the_bank_is_drawn_inside_its_box():
    bank, rng = small_bank(), np.random.default_rng(2)
    writer = replace(some_writer(rng, bank, careful=1.0, share_styled=0.0), size=0.6, drift_mm=(0.0, 0.0))
    for digit in range(10):
        points = np.concatenate(
            [s.points_mm for s in digit_strokes(digit, (10, 20, 5, 7), writer, rng, bank)]
        )
        assert (points > [9, 19]).all()
        assert (points < [16, 28]).all()
        assert np.ptp(points[:, 1]) > 2.0


def test_a_wider_hand_bends_its_digits_and_they_stay_in_their_boxes():
    bank, moved = small_bank(), []
    for seed in range(12):
        usual = replace(some_writer(np.random.default_rng(seed), bank, careful=1.0), drift_mm=(0.0, 0.0))
        wide = wider(usual, np.random.default_rng(seed))
        for digit in range(10):
            sizes = []
            for writer in (usual, replace(wide, widen=usual.widen, restless=0.0)):
                rng = np.random.default_rng([seed, digit])
                strokes = digit_strokes(digit, (10, 20, 5, 5), writer, rng, bank)
                points = np.concatenate([s.points_mm for s in strokes])
                assert (points > [8.5, 18.5]).all()
                assert (points < [16.5, 26.5]).all()
                sizes.append(np.ptp(points, axis=0))
            moved.append(np.abs(sizes[1] - sizes[0]).max())
    assert 0.1 < np.median(moved) < 1.0


def test_coarse_paper_breaks_a_line_into_larger_grains():
    def grains(coarse):
        pen = replace(PENS["pencil-blunt"], grain=1.2, soft=0.2, coarse=coarse)
        sheet = np.full((160, 320, 3), 255, np.uint8)
        line = Stroke(np.array([[1.0, 8.0], [31.0, 8.0]]), np.array([0.5, 0.5]))
        draw(sheet, 10.0, [line], replace(pen, width_mm=6.0), np.random.default_rng(3))
        return cv2.connectedComponents((sheet[60:100, 30:290, 0] < 200).astype(np.uint8))[0]

    assert grains(1.0) > 1.5 * grains(2.2)


def test_thinning_keeps_the_two_loops_of_an_eight():
    bank = small_bank()
    eights = [bank.glyph(int(i)) for i in bank.by_digit[8][:30]]
    kept = [g for g in eights if g is not None]
    assert len(kept) >= 12
    assert sum(g.holes == 2 for g in kept) >= 0.8 * len(kept)


@pytest.mark.parametrize("name", ["clean", "rain", "flatbed"])
def test_the_same_seed_gives_the_same_photo_and_another_seed_another(name):
    blank, answers = a_round(seed=3)

    def shoot(seed):
        how = condition(name, 0.5, seed, long_px=500)
        if how.device == "flatbed":
            how = replace(how, dpi=min(how.dpi, 72.0))
        writer = some_writer(np.random.default_rng(seed), small_bank())
        sheet = fill(
            blank.page,
            6.0,
            blank.field_map,
            answers,
            writer,
            seed,
            bank=small_bank(),
            condition=how,
            trouble=0.1,
        )
        return photograph(sheet, how, seed).image

    first = shoot(1)
    assert (first == shoot(1)).all()
    other = shoot(2)
    assert first.shape != other.shape or (first != other).any()


@pytest.mark.parametrize("name", CONDITIONS)
def test_every_condition_shoots_at_both_ends_and_beyond(name):
    blank = blank_card(px_per_mm=3.0)  # the photo has a pixel and a half a millimetre
    for severity in (0.0, 1.0, 2.0):
        how = condition(name, severity, 4, long_px=480)
        if how.device == "flatbed":
            how = replace(how, dpi=min(how.dpi, 72.0))
        sheet = print_sheet(blank.page, 3.0, how.job, how.stock, np.random.default_rng(0))
        image = photograph(sheet, how, 4).image
        assert image.dtype == np.uint8
        assert image.std() > (3 if severity <= 1 else 0.5)


def test_the_harder_conditions_leave_what_is_mixed_as_it_was():
    # Figures measured on mixed photos would change with the names that `mixed` draws from.
    assert len(EVERYDAY) == 30
    assert set(EVERYDAY) < set(CONDITIONS)


def torn_and_whole(corners):
    blank = blank_card(px_per_mm=4.0)
    how = replace(condition("clean", 0.0, 3, long_px=900), torn=corners, torn_mm=40.0, background="dark")
    sheet = print_sheet(blank.page, 4.0, PrintJob(), "office", np.random.default_rng(0))
    return photograph(sheet, how, 3), photograph(sheet, replace(how, torn=0), 3)


def test_a_torn_off_corner_shows_the_table():
    torn, whole = torn_and_whole(1)
    corners = np.array([[5.0, 5.0], [205, 5], [205, 292], [5, 292]])
    at = np.round(whole.sheet_to_photo[0].of_sheet(corners)).astype(int)
    light_before = [int(whole.image[y, x].mean()) for x, y in at]
    light_after = [int(torn.image[y, x].mean()) for x, y in at]
    assert min(light_before) > 120
    assert sorted(light < 90 for light in light_after) == [False, False, False, True]


def test_a_corner_cut_off_by_the_pictures_edge_is_outside_and_the_others_are_not():
    page = blank_card(px_per_mm=COARSE).page
    sheet = print_sheet(page, COARSE, PrintJob(), "office", np.random.default_rng(0))
    for seed in range(6):
        how = condition("cut-off", 0.3, seed, long_px=600)
        shot = photograph(sheet, how, seed)
        corners = shot.sheet_to_photo[0].of_sheet(np.array([[5.0, 5.0], [205, 5], [205, 292], [5, 292]]))
        inside = ((corners > 0) & (corners < shot.image.shape[1::-1])).all(axis=1)
        assert inside.sum() == 3, seed


def test_gel_ink_in_the_glare_is_lighter_than_without():
    blank, answers = a_round(seed=3)
    how = condition("sheen", 1.0, 1, long_px=800)
    writer = replace(some_writer(np.random.default_rng(1), None), pen=PENS["gel-black"])
    sheet = fill(blank.page, COARSE, blank.field_map, answers, writer, 1, condition=how)
    inked = sheet.gloss > 200
    glaring = sheened(sheet, 0.6, np.random.default_rng(0))
    assert inked.sum() > 1000
    assert glaring.rgb[inked].mean() > sheet.rgb[inked].mean() + 20
    assert (glaring.rgb[sheet.gloss == 0] == sheet.rgb[sheet.gloss == 0]).all()


def test_a_fax_is_black_or_white_and_squat():
    blank = blank_card(px_per_mm=6.0)
    sheet = print_sheet(blank.page, 6.0, PrintJob(), "office", np.random.default_rng(0))
    fine, coarse = (photograph(sheet, condition("fax", s, 2), 2).image for s in (0.3, 0.8))
    assert set(np.unique(fine)) == {0, 255}
    # ITU-T T.4: 8 dots to the mm along the line; 3.85 or 7.7 lines to the mm (from memory).
    assert fine.shape[0] == pytest.approx(2 * coarse.shape[0], rel=0.05)


def test_mixed_photos_differ_from_each_other():
    assert len({mixed(seed).name for seed in range(12)}) > 6


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_viewers_that_obey_exif_see_the_photo_upright(orientation):
    picture = np.zeros((40, 60, 3), dtype=np.uint8)
    picture[:20, :30] = 255
    data = encoded(picture, Output(qualities=(95,), exif_orientation=orientation))
    stored = Image.open(io.BytesIO(data))
    assert stored.size == ((60, 40) if orientation in (1, 3) else (40, 60))
    shown = np.asarray(ImageOps.exif_transpose(stored).convert("L"))
    assert shown.shape == (40, 60)
    assert shown[:16, :24].min() > 200
    assert max(shown[24:].max(), shown[:, 34:].max()) < 60


@pytest.mark.parametrize("suffix", [".png", ".tif", ".webp", ".heic"])
def test_photos_come_as_other_kinds_of_file_too(suffix):
    import pillow_heif

    pillow_heif.register_heif_opener()
    picture = np.full((64, 48, 3), 200, dtype=np.uint8)
    picture[:, :20] = 30
    shown = np.asarray(Image.open(io.BytesIO(encoded(picture, Output(suffix=suffix)))).convert("L"))
    assert shown.shape == (64, 48)
    assert abs(int(shown[30, 5]) - 30) < 12
    assert abs(int(shown[30, 40]) - 200) < 12


def test_some_player_and_writer_come_from_the_seed_alone():
    assert some_player(np.random.default_rng(4)) == some_player(np.random.default_rng(4))
    first, second = (some_writer(np.random.default_rng(4), small_bank()) for _ in range(2))
    assert first == second


def test_the_simulator_shares_no_code_with_the_reader():
    # A reader's error that the simulator shared would be invisible.
    for file in Path(__file__).parent.glob("*.py"):
        if file.name.startswith("test_"):
            continue
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                assert not name.startswith("scan"), file.name
                assert name not in ("shortpencil.forms.geometry", "shortpencil.forms.fiducials"), file.name
