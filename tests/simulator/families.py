"""Photos by family: whole ways from a form file to a picture that have little in common with one another.

A family draws everything that happens to a card on one such way, from a gentle start (0) to what is hardly
readable (1), each parameter wider than is usual. A reader is tuned on some families and judged on those that
are `HELD_OUT`: how much worse it does there tells what its tables for the others are worth. Of `HOSTILE`
photos a person could not read all: they must be refused or asked about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tests.simulator import copiers, printers
from tests.simulator.blanks import Blank, blank_card, small_bank
from tests.simulator.camera import Shot, photograph
from tests.simulator.conditions import Condition, ordinary
from tests.simulator.filling import fill
from tests.simulator.folds import some_folds, some_rolled_corners
from tests.simulator.glyphs import GlyphBank
from tests.simulator.handling import creased, some_bag, some_curls
from tests.simulator.handwriting import Writer, some_writer
from tests.simulator.optics import Finish, Glass
from tests.simulator.paper import PrintJob, Sheet
from tests.simulator.pens import PENS
from tests.simulator.rounds import round_answers, some_player
from tests.simulator.sensor import Output

Rng = np.random.Generator
Grey = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Way:
    """One way from a form file to a picture.

    Attributes
    ----------
    how : paper, shape, table, light, camera, file
    page : what printer and copier make of the page
    pens : names of pens to choose from; empty for whatever the writer has
    copier : that copies the filled-in card, and how the copy lies on its paper
    """

    how: Condition
    page: Callable[[Grey, float], Grey] | None = None
    pens: tuple[str, ...] = ()
    copier: tuple[copiers.Copier, PrintJob] | None = None
    forms: tuple[str, ...] = field(default=("round18", "round18", "round18", "round9", "round27"))


Family = Callable[[Rng, float, int], Way]

_DARK_PENS = ("ball-black", "ball-blue", "gel-black", "felt-thin", "pencil-2B", "pencil-HB", "pencil-4B")


def _start(rng: Rng, long_px: int) -> Condition:
    """A decent photo with wider manners than `conditions.ordinary`: smaller, any way round, any table."""
    c = ordinary(rng, long_px)
    tables = ["wood", "cloth", "concrete", "dark", "white", "clutter", "terrazzo", "stripes"]
    view = replace(
        c.view,
        fill=float(rng.uniform(0.62, 0.97)),
        roll_deg=float(rng.choice([0.0, 90.0, 180.0, 270.0]) + rng.normal(0, 7)),
        tilt_deg=float(abs(rng.normal(0, 9))),
    )
    finish = Finish(
        local=float(rng.uniform(0, 0.6)) if rng.random() < 0.5 else 0.0,
        detail=float(rng.uniform(0, 0.8)) if rng.random() < 0.5 else 0.0,
    )
    return replace(
        c, view=view, background=str(rng.choice(tables)), finish=finish,
        output=Output(None, (int(rng.integers(70, 97)),)),
    )  # fmt: skip


def _copied_blank(rng: Rng, hard: float, long_px: int) -> Way:
    """The blank went through an office copier, at times twice: pale tones are gone."""
    page = _through_copiers(rng, 0.35 + 0.65 * hard, 1 + (rng.random() < 0.3))
    return Way(replace(_start(rng, long_px), job=copiers.some_slip(rng)), page)


def _through_copiers(rng: Rng, loses: float, times: int) -> Callable[[Grey, float], Grey]:
    machines = [copiers.some_copier(rng, loses=loses) for _ in range(times)]
    seed = int(rng.integers(1 << 30))

    def page(grey: Grey, px_per_mm: float) -> Grey:
        own = np.random.default_rng(seed)
        for machine in machines:
            grey = copiers.copied_page(copiers.lightness_of(grey, px_per_mm, own), px_per_mm, machine, own)
        return grey

    return page


def _bright(rng: Rng, hard: float, long_px: int) -> Way:
    """Paper at or beyond the end of the scale, in part or all over, and a lens that darkens its corners."""
    c = _start(rng, long_px)
    light = replace(
        c.light,
        exposure=float(rng.uniform(0.85, 1.05 + 0.45 * hard)),
        uneven=float(rng.uniform(0.0, 0.5)),
        vignette=float(rng.uniform(0.05, 0.5)),
        ambient=float(rng.uniform(0.4, 0.9)),
    )
    finish = replace(c.finish or Finish(), brighten=float(rng.uniform(1.0, 1.15 + 0.25 * hard)))
    return Way(replace(c, light=light, finish=finish), pens=_DARK_PENS)


def _bag(rng: Rng, hard: float, long_px: int) -> Way:
    """Out of a bag: creases anywhere, worn print, dirt, low light; some were copied blanks."""
    c = _start(rng, long_px)
    page = _through_copiers(rng, 0.6, 1) if rng.random() < 0.3 else None
    creases, curls = some_bag(rng, hard)
    shape = replace(c.shape, creases=creases, curls=curls, crumple_mm=float(rng.uniform(0, 0.6 * hard)))
    wear = replace(c.wear, dirt=float(rng.uniform(0, 0.5)), smudge=float(rng.uniform(0, 0.4)))
    light = replace(c.light, elevation_deg=float(rng.uniform(28, 75)), ambient=float(rng.uniform(0.35, 0.8)))
    return Way(replace(c, shape=shape, wear=wear, light=light), page)


def _small(rng: Rng, hard: float, long_px: int) -> Way:
    """The card fills a fifth of the picture, at any angle, among patterns."""
    c = _start(rng, long_px * 4 // 3)
    view = replace(
        c.view,
        fill=float(rng.uniform(0.42 - 0.08 * hard, 0.6)),
        roll_deg=float(rng.uniform(-180, 180)),
        shift=(float(rng.uniform(-0.15, 0.15)), float(rng.uniform(-0.15, 0.15))),
    )
    tables = ["mesh", "stripes", "newsprint", "terrazzo", "tiles", "clutter", "grass"]
    return Way(replace(c, view=view, background=str(rng.choice(tables))))


def _mixed_light(rng: Rng, hard: float, long_px: int) -> Way:
    """Sun through leaves, a lamp and a window, a phone that evens it all out."""
    c = _start(rng, long_px)
    warm = float(rng.uniform(-0.3, 0.3))
    light = replace(
        c.light,
        shadow=str(rng.choice(["leaves", "edge", "hand", "leaves+hand", "phone", ""])),
        shadow_soft=float(rng.uniform(0.002, 0.04)),
        ambient=float(rng.uniform(0.75 - 0.4 * hard, 0.85)),
        uneven=float(rng.uniform(0.1, 0.9)),
        uneven_to_deg=float(rng.uniform(0, 360)),
        colour=(1 + warm, 1.0, 1 - warm),
        sky=(1 - warm, 1.0, 1 + warm),
        exposure=float(rng.uniform(0.45, 1.0)),
    )
    finish = Finish(local=float(rng.uniform(0, 1)), detail=float(rng.uniform(0, 1)))
    return Way(replace(c, light=light, finish=finish), pens=_DARK_PENS)


def _weak_laser(rng: Rng, hard: float, long_px: int) -> Way:
    """A laser printer that saves toner, runs empty on one side, or screens greys coarsely."""
    kind, seed = str(rng.choice(["saved", "fading", "screened", "light"])), int(rng.integers(1 << 30))
    low = float(rng.uniform(0.75 - 0.4 * hard, 0.9))

    def page(grey: Grey, px_per_mm: float) -> Grey:
        own = np.random.default_rng(seed)
        if kind == "saved":
            return printers.toner_saved(grey, px_per_mm, low, own)
        if kind == "fading":
            return printers.fading(grey, 1.0, low - 0.15, float(own.uniform(0, 360)))
        if kind == "screened":
            pale = printers.lightened(grey, float(own.uniform(1.0, 1.8)))
            return printers.screened(pale, px_per_mm, float(own.uniform(55, 110)), float(own.uniform(0, 90)))
        return printers.lightened(grey, float(own.uniform(1.2, 2.0 + 2.0 * hard)))

    return Way(_start(rng, long_px), page)


def _copied_filled(rng: Rng, hard: float, long_px: int) -> Way:
    """The filled-in card went through a copier that keeps its marks."""
    machine = copiers.some_copier(rng, loses=0.1 + 0.25 * hard)
    pens = ("ball-black", "gel-black", "felt-thin", "pencil-2B", "pencil-4B", "ball-blue")
    return Way(_start(rng, long_px), None, pens, (machine, copiers.some_slip(rng)))


def _inkjet(rng: Rng, hard: float, long_px: int) -> Way:
    """An inkjet with blocked nozzles, coloured paper, the back shining through."""
    seed, full = int(rng.integers(1 << 30)), float(rng.uniform(0.95 - 0.35 * hard, 1.0))
    blocked = float(rng.uniform(0, 0.3 * hard))

    def page(grey: Grey, px_per_mm: float) -> Grey:
        own = np.random.default_rng(seed)
        pale = printers.lightened(grey, float(own.uniform(0.9, 1.8)))
        return printers.sprayed(pale, px_per_mm, full, blocked, own)

    c = _start(rng, long_px)
    stock = str(rng.choice(["office", "bright", "cream", "recycled", "yellow", "pale-blue", "pink"]))
    wear = replace(c.wear, show_through=float(rng.uniform(0, 0.8)) if rng.random() < 0.6 else 0.0)
    return Way(replace(c, stock=stock, wear=wear), page)


def _curled(rng: Rng, hard: float, long_px: int) -> Way:
    """Out of a tube or a back pocket: rolled, edges up, held by a finger."""
    c = _start(rng, long_px)
    shape = replace(
        c.shape,
        curls=some_curls(rng, hard),
        bend_mm=float(rng.normal(0, 2 + 5 * hard)),
        bend_deg=float(rng.choice([0.0, 90.0, rng.uniform(0, 180)])),
    )
    return Way(replace(c, shape=shape, thumbs=int(rng.integers(0, 3))))


def _folded(rng: Rng, hard: float, long_px: int) -> Way:
    """Folded small and pressed flat: lines through the blocks, steep beside them; seen aslant, corners up."""
    c = _start(rng, long_px)
    corners = some_rolled_corners(rng, hard) if rng.random() < 0.35 else ()
    shape = replace(c.shape, creases=some_folds(rng, hard), curls=corners)
    view = replace(c.view, tilt_deg=float(rng.uniform(0, 12 + 16 * hard)))
    light = replace(c.light, elevation_deg=float(rng.uniform(35, 80)), ambient=float(rng.uniform(0.4, 0.85)))
    return Way(replace(c, shape=shape, view=view, light=light))


def _dirty_lens(rng: Rng, hard: float, long_px: int) -> Way:
    """Grease and a fingertip on the lens, a moving hand, little light, a chat that codes the picture anew."""
    c = _start(rng, long_px)
    glass = Glass(
        veil=float(rng.uniform(0, 0.12 + 0.25 * hard)),
        smear=float(rng.uniform(0, 0.35 * hard)),
        smear_px=float(rng.uniform(4, 60)),
        smear_deg=float(rng.uniform(0, 180)),
        finger=float(rng.uniform(0.03, 0.11)) if rng.random() < 0.3 else 0.0,
        finger_at=float(rng.random()),
    )
    scale = long_px / 4000
    out = Output(int(rng.uniform(1500, 2600)), (85, int(rng.uniform(75 - 40 * hard, 90)), 80))
    light = replace(c.light, vignette=float(rng.uniform(0.2, 0.65)), exposure=float(rng.uniform(0.4, 0.85)))
    return Way(
        replace(
            c, glass=glass, light=light, output=out,
            shear_px=float(rng.normal(0, 25)) * scale, wobble_px=float(abs(rng.normal(0, 1.5))) * scale,
            sensor=replace(c.sensor, electrons=float(rng.uniform(800, 5000))),
        )
    )  # fmt: skip


def _sent_scan(rng: Rng, hard: float, long_px: int) -> Way:
    """An office machine's scan by mail: white made white, greys bent, coded hard."""
    machine = replace(
        copiers.some_copier(rng, loses=0.1 + 0.45 * hard), screen_per_mm=0.0, spread_mm=0.0, dust=0.05
    )
    c = ordinary(rng, long_px)
    c = replace(
        c,
        device="flatbed",
        dpi=float(rng.choice([150.0, 200.0, 300.0])),
        view=replace(c.view, roll_deg=float(rng.normal(0, 1.0) + rng.choice([0, 0, 90, 180]))),
        sensor=replace(c.sensor, grey=bool(rng.random() < 0.6), sharpen=0.2, electrons=20000.0),
        output=Output(None, (int(rng.uniform(45, 90)),)),
    )
    return Way(c, None, _DARK_PENS, (machine, PrintJob()))


def _many_pixels(rng: Rng, hard: float, long_px: int) -> Way:
    """The original of a phone of 24 to 48 megapixels: painted detail, a soft lens."""
    way = _start(rng, round(long_px * rng.uniform(1.9, 2.6)) // 4 * 4)
    sensor = replace(way.sensor, defocus_px=float(rng.uniform(0.8, 1.6 + 2 * hard)), electrons=1500.0)
    return Way(replace(way, sensor=sensor, finish=Finish(paint=float(rng.uniform(0.2, 1)), detail=0.6)))


def _lost_marks(rng: Rng, hard: float, long_px: int) -> Way:
    """Hostile: a pale pencil that a copier has nearly lost."""
    machine = replace(
        copiers.some_copier(rng, loses=0.5), white=float(rng.uniform(0.72, 0.86)), screen_per_mm=0.0,
    )  # fmt: skip
    pens = ("pencil-4H", "pencil-HB", "ball-dying")
    return Way(_start(rng, long_px), None, pens, (machine, copiers.some_slip(rng)))


def _swollen_print(rng: Rng, hard: float, long_px: int) -> Way:
    """Hostile: a dark copy of the filled card in a small, soft picture: print looks like marks."""
    machine = replace(
        copiers.some_copier(rng, loses=0.0), toe=float(rng.uniform(-0.25, -0.08)), gain=2.2, spread_mm=0.08,
        blur_mm=0.12, white=0.99, screen_per_mm=0.0,
    )  # fmt: skip
    c = _start(rng, long_px)
    c = replace(c, output=Output(int(rng.uniform(1150, 1500)), (85, 70)))
    return Way(c, None, (), (machine, copiers.some_slip(rng)), ("round27", "round27", "round18"))


def _blurred(rng: Rng, hard: float, long_px: int) -> Way:
    """Hostile: out of focus or moved, about where letters cannot be read any more."""
    c = _start(rng, long_px)
    per_mm = c.view.fill * long_px / 300
    defocus = float(rng.uniform(0.35, 0.9)) * per_mm if rng.random() < 0.5 else 0.5
    motion = 0.0 if defocus > 1 else float(rng.uniform(0.9, 2.0)) * per_mm
    sensor = replace(c.sensor, defocus_px=defocus, motion_px=motion, motion_deg=float(rng.uniform(0, 180)))
    return Way(replace(c, sensor=sensor))


FAMILIES: dict[str, Family] = {
    "copied-blank": _copied_blank,
    "bright": _bright,
    "bag": _bag,
    "small": _small,
    "mixed-light": _mixed_light,
    "weak-laser": _weak_laser,
    "copied-filled": _copied_filled,
    "inkjet": _inkjet,
    "curled": _curled,
    "folded": _folded,
    "dirty-lens": _dirty_lens,
    "sent-scan": _sent_scan,
    "many-pixels": _many_pixels,
    "lost-marks": _lost_marks,
    "swollen-print": _swollen_print,
    "blurred": _blurred,
}
#: Nothing is tuned on these.
HELD_OUT = ("copied-filled", "inkjet", "curled", "dirty-lens", "sent-scan", "many-pixels")
#: Not all of their marks can be made out.
HOSTILE = ("lost-marks", "swollen-print", "blurred")
TUNED_ON = tuple(name for name in FAMILIES if name not in HELD_OUT and name not in HOSTILE)


def family_shot(
    name: str,
    hard: float,
    seed: int,
    *,
    long_px: int = 3000,
    glyphs: GlyphBank | None = None,
    px_per_mm: float = 12.0,
    writer: Writer | None = None,
    trouble: float = 0.0,
) -> Shot:
    """Return one photo of one invented player's card.

    Parameters
    ----------
    name : one of `FAMILIES`
    hard : 0 gentle, 1 hardly readable; creases and curls go on beyond
    long_px : longer side of the picture as the sensor takes it
    px_per_mm : how finely the sheet is drawn
    writer : whose digits of `glyphs` stand on it; by default any hand's
    trouble : share of the fields that are made hard (`filling.TROUBLES`)
    """
    rng = np.random.default_rng([seed, 11])
    glyphs = glyphs or small_bank()
    way = FAMILIES[name](rng, hard, long_px)
    form, paper = str(rng.choice(way.forms)), "letter" if rng.random() < 0.2 else "a4"
    blank = blank_card(form, paper=paper, px_per_mm=px_per_mm)
    sheet = _filled(blank, way, rng, seed, glyphs, writer, trouble)
    how = replace(way.how, name=name, severity=hard)
    if way.copier is not None:
        machine, slip = way.copier
        sheet = copiers.copied_sheet(sheet, machine, slip, "office", rng)
    if how.shape.creases:
        rgb = sheet.rgb.copy()
        creased(rgb, sheet.px_per_mm, how.shape.creases, rng)
        sheet = replace(sheet, rgb=rgb)
    return photograph(sheet, how, seed)


def _filled(
    blank: Blank,
    way: Way,
    rng: Rng,
    seed: int,
    glyphs: GlyphBank,
    writer: Writer | None,
    trouble: float,
) -> Sheet:
    writer = writer or some_writer(rng, glyphs)
    if way.pens:
        writer = writer.with_pen(PENS[str(rng.choice(way.pens))])
    page = np.array(blank.page)
    if way.page is not None:
        page = way.page(page, blank.px_per_mm)
    answers = round_answers(blank.field_map, some_player(rng), seed)
    return fill(
        page, blank.px_per_mm, blank.field_map, answers, writer, seed, bank=glyphs,
        condition=way.how, trouble=trouble, serial=blank.serial,
    )  # fmt: skip
