"""What goes wrong with photos of paper: named conditions, from 0 (hardly noticed) to 2.

At 1 it is as bad as it gets; beyond lies what nobody sends on purpose, which shows where reading stops, and
how. A condition says everything that a card meets after it was designed: printer, paper, pocket, table,
light, hand, lens, sensor, file. Each name changes what it is about; the rest stays an ordinary, decent photo.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tests.simulator.backgrounds import VARIANTS
from tests.simulator.lens import View
from tests.simulator.light import Light
from tests.simulator.optics import Finish, Glass
from tests.simulator.paper import PrintJob, Wear
from tests.simulator.sensor import Output, Sensor
from tests.simulator.surface import Shape

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Condition:
    """Everything between the design of a card and the file of its photo.

    Attributes
    ----------
    device : "phone", "flatbed" or "fax"
    glass, finish : what lies on the lens, and what the phone's software does; None for nothing
    shear_px, wobble_px : how far the hand moved while the lines were read one after the other
    dpi : of a scan, along a line; lines_per_inch : across the lines, None as along them
    copied : photocopied after it was filled in
    sheen : how much wet-looking ink and graphite mirror the light
    torn, torn_mm : corners that are missing, and how far the tears reach along the edges
    thumbs : fingers that hold the sheet's edge
    thumbs_on_marks, thumb_reach_mm : fingers that lie on a corner, and how far in from it their tips are
    """

    name: str
    severity: float = 0.0
    stock: str = "office"
    job: PrintJob = field(default_factory=PrintJob)
    wear: Wear = field(default_factory=Wear)
    copied: bool = False
    sheen: float = 0.0
    torn: int = 0
    torn_mm: float = 0.0
    shape: Shape = field(default_factory=Shape)
    background: str = "wood"
    variant: int = 0
    view: View = field(default_factory=View)
    light: Light = field(default_factory=Light)
    sensor: Sensor = field(default_factory=Sensor)
    output: Output = field(default_factory=Output)
    thumbs: int = 0
    thumbs_on_marks: int = 0
    thumb_reach_mm: float = 0.0
    glass: Glass | None = None
    finish: Finish | None = None
    shear_px: float = 0.0
    wobble_px: float = 0.0
    device: str = "phone"
    dpi: float = 200.0
    lines_per_inch: float | None = None


def ordinary(rng: Rng, long_px: int) -> Condition:
    """A decent phone photo of a decent print, never twice the same."""
    size = (long_px * 3 // 4 // 2 * 2, long_px // 2 * 2)
    if rng.random() < 0.3:
        size = size[::-1]
    view = View(
        size_px=size,
        focal=float(rng.uniform(0.68, 0.80)),
        tilt_deg=float(abs(rng.normal(0, 5))),
        tilt_to_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 4)) + (90.0 if size[0] > size[1] else 0.0),
        fill=float(rng.uniform(0.80, 0.95)),
        shift=(float(rng.normal(0, 0.01)), float(rng.normal(0, 0.01))),
        k1=float(rng.normal(0, 0.008)),
    )
    warm = float(rng.normal(0, 0.04))
    light = Light(
        ambient=float(rng.uniform(0.45, 0.8)),
        elevation_deg=float(rng.uniform(40, 75)),
        from_deg=float(rng.uniform(0, 360)),
        uneven=float(rng.uniform(0.05, 0.3)),
        uneven_to_deg=float(rng.uniform(0, 360)),
        colour=(1.0 + warm, 1.0, 1.0 - warm),
        exposure=float(rng.uniform(0.55, 0.85)),
        vignette=float(rng.uniform(0.05, 0.2)),
    )
    job = PrintJob(
        scale_x=float(rng.normal(1.0, 0.002)),
        scale_y=float(rng.normal(1.0, 0.002)),
        shift_mm=(float(rng.normal(0, 0.6)), float(rng.normal(0, 0.6))),
        turn_deg=float(rng.normal(0, 0.15)),
        kind=str(rng.choice(["grey", "laser"], p=[0.5, 0.5])),
        toner=float(rng.uniform(0.85, 1.0)),
    )
    shape = Shape(
        bend_mm=float(rng.normal(0, 1.0)),
        bend_deg=float(rng.uniform(0, 180)),
        waves_mm=float(rng.uniform(0.1, 0.5)),
    )
    backgrounds = ["wood", "cloth", "concrete", "dark", "bonnet", "grass", "white", "clutter"]
    shares = [0.30, 0.10, 0.12, 0.10, 0.13, 0.08, 0.09, 0.08]
    return Condition(
        "ordinary",
        stock="bright" if rng.random() < 0.3 else "office",
        job=job,
        shape=shape,
        background=str(rng.choice(backgrounds, p=shares)),
        variant=int(rng.integers(VARIANTS)),
        view=view,
        light=light,
        sensor=Sensor(
            electrons=float(rng.uniform(2500, 9000)),
            defocus_px=float(rng.uniform(0.4, 1.0)) * long_px / 4000,
            sharpen=float(rng.uniform(0.2, 0.8)),
            contrast=float(rng.uniform(0.0, 0.5)),
        ),
        output=Output(
            qualities=(int(rng.integers(80, 95)),), exif_orientation=int(rng.choice([1, 1, 6, 3, 8]))
        ),
    )


def _clean(c: Condition, s: float, rng: Rng) -> Condition:
    return replace(c, background=str(rng.choice(["wood", "dark", "concrete"])))


def _shadow(c: Condition, s: float, rng: Rng) -> Condition:
    """Low sun, hand or phone in its way; at 1 the shadow keeps a tenth of the light and has a hard edge."""
    kind = str(rng.choice(["hand", "phone", "edge", "leaves", "hand+phone"]))
    light = replace(
        c.light,
        shadow=kind,
        ambient=max(0.62 - 0.52 * s, 0.02),
        shadow_soft=float(rng.uniform(0.002, 0.03)) * max(1.2 - s, 0.02),
        sky=(0.86, 0.97, 1.14),
        exposure=0.75 + 0.2 * s,
    )
    return replace(c, light=light)


def _dusk(c: Condition, s: float, rng: Rng) -> Condition:
    """Little light: noise, a smearing night mode, warm lamp or blue sky, a hand not quite still."""
    cast = float(rng.choice([-1, 1])) * (0.06 + 0.22 * s)
    scale = max(c.view.size_px) / 4000
    return replace(
        c,
        light=replace(
            c.light,
            colour=(1 + cast, 1.0, 1 - cast),
            sky=(1 + cast, 1.0, 1 - cast),
            exposure=0.55 - 0.38 * s if s <= 1 else 0.17 * 0.2 ** (s - 1),
            uneven=0.3 + 0.5 * s,
            vignette=0.25,
        ),
        sensor=replace(
            c.sensor,
            electrons=1200.0 * (60.0 / 1200.0) ** s,
            read_noise=4.0,
            denoise=min(0.5 + 0.4 * s, 1.0),
            motion_px=3.0 * s * scale,
            motion_deg=float(rng.uniform(0, 180)),
        ),
    )


def _defocus(c: Condition, s: float, rng: Rng) -> Condition:
    """At 1 the blur disc is 0.9 mm wide on the paper."""
    px_per_mm = _px_per_mm(c)
    return replace(c, sensor=replace(c.sensor, defocus_px=max(0.45 * s * px_per_mm, 0.4)))


def _motion(c: Condition, s: float, rng: Rng) -> Condition:
    """At 1 the hand moved 1.3 mm on the paper."""
    sensor = replace(c.sensor, motion_px=1.3 * s * _px_per_mm(c), motion_deg=float(rng.uniform(0, 180)))
    return replace(c, sensor=sensor)


def _tilt(c: Condition, s: float, rng: Rng) -> Condition:
    """Up to 40 degrees, any turn of the sheet, the far side out of focus."""
    to = float(rng.uniform(0, 360))
    view = replace(
        c.view, tilt_deg=min(5 + 35 * s, 68.0), roll_deg=float(rng.uniform(0, 360)), tilt_to_deg=to
    )
    # Leaning about an axis moves the sides across it: a quarter turn on.
    far = 0.22 * s * _px_per_mm(c)
    return replace(c, view=view, sensor=replace(c.sensor, far_defocus_px=far, far_deg=to + 90.0))


def _turn(c: Condition, s: float, rng: Rng) -> Condition:
    """Any turn in the picture, even upside down."""
    return replace(c, view=replace(c.view, roll_deg=float(rng.uniform(-180, 180) * min(s, 1.0))))


def _fold(c: Condition, s: float, rng: Rng) -> Condition:
    """Folded in four and opened; at 1 the creases keep 24 degrees and the light is low."""
    folds = ("half", "quarter") if rng.random() < 0.75 else ("third-1", "third-2")
    return replace(
        c,
        wear=replace(c.wear, folds=folds, fold_wear=min(0.3 + 0.7 * s, 1.0)),
        shape=replace(c.shape, folds=folds, fold_deg=6 + 18 * s),
        light=replace(c.light, elevation_deg=max(60 - 28 * s, 14.0), ambient=0.6 - 0.25 * s),
    )


def _bend(c: Condition, s: float, rng: Rng) -> Condition:
    """An arch or trough of up to 22 mm, corners that curl up to 14 mm."""
    sign = float(rng.choice([-1, 1]))
    shape = replace(
        c.shape,
        bend_mm=sign * (2 + 20 * s),
        bend_deg=float(rng.choice([0, 90, rng.uniform(0, 180)])),
        curl_mm=14 * s * float(rng.random()),
    )
    return replace(c, shape=shape)


def _crumple(c: Condition, s: float, rng: Rng) -> Condition:
    """Out of the bottom of a bag."""
    return replace(
        c,
        shape=replace(c.shape, crumple_mm=0.3 + 1.3 * s),
        wear=replace(c.wear, dirt=0.5 * s, smudge=0.4 * s),
        light=replace(c.light, elevation_deg=max(55 - 25 * s, 14.0), ambient=0.6 - 0.25 * s),
    )


def _messenger(c: Condition, s: float, rng: Rng) -> Condition:
    """Sent through a chat: shrunk to 2000 (0) or 1000 pixels (1) and coded twice."""
    long_px = int(2000 - 1000 * s if s <= 1 else 1000 * 0.4 ** (s - 1))
    taken = min(max(c.view.size_px), 2 * long_px)
    scale = taken / max(c.view.size_px)
    size = (int(c.view.size_px[0] * scale) // 2 * 2, int(c.view.size_px[1] * scale) // 2 * 2)
    qualities = (int(88 - 10 * s), max(int(80 - 35 * s), 8))
    return replace(
        c,
        view=replace(c.view, size_px=size),
        sensor=replace(c.sensor, defocus_px=0.5),
        output=Output(long_px, qualities),
    )


def _photocopy(c: Condition, s: float, rng: Rng) -> Condition:
    """The blank was a copy of a copy, or the filled card was copied before the photo."""
    if rng.random() < 0.5:
        return replace(c, copied=True, job=replace(c.job, kind="copy" if s > 0.7 else c.job.kind))
    return replace(c, job=replace(c.job, kind="copy", toner=max(1.0 - 0.4 * s, 0.1), streaks=0.6 * s))


def _flatbed(c: Condition, s: float, rng: Rng) -> Condition:
    """Scanned, 300 dpi (0) down to 110 dpi (1), askew, sometimes grey."""
    return replace(
        c,
        device="flatbed",
        dpi=300.0 - 190.0 * s if s <= 1 else 110.0 * 0.4 ** (s - 1),
        view=replace(c.view, roll_deg=float(rng.normal(0, 0.5 + 1.5 * s) + rng.choice([0, 0, 0, 90, 180]))),
        sensor=replace(
            c.sensor, grey=bool(rng.random() < 0.5), sharpen=0.3, electrons=20000.0, defocus_px=0.5
        ),
        output=Output(None, (int(90 - 35 * s),)),
    )


def _glare(c: Condition, s: float, rng: Rng) -> Condition:
    return replace(c, light=replace(c.light, glare=0.1 + 0.75 * s, exposure=0.7 + 0.2 * s))


def _flash(c: Condition, s: float, rng: Rng) -> Condition:
    """The phone's own lamp: bright in the middle, dark around, a hot spot on the paper."""
    light = replace(
        c.light,
        ambient=0.3,
        vignette=min(0.35 + 0.5 * s, 0.97),
        glare=0.45 * s,
        exposure=0.8 + 0.15 * s,
        elevation_deg=80.0,
        colour=(0.96, 1.0, 1.06),
    )
    return replace(c, light=light)


def _exposure(c: Condition, s: float, rng: Rng) -> Condition:
    """Burnt out or far too dark."""
    bright = rng.random() < 0.5
    return replace(c, light=replace(c.light, exposure=0.9 + 0.7 * s if bright else 0.5 * 0.16**s))


def _uneven(c: Condition, s: float, rng: Rng) -> Condition:
    """A lamp on one side."""
    return replace(c, light=replace(c.light, uneven=0.4 + 1.3 * s, ambient=max(0.35 - 0.25 * s, 0.02)))


def _dark_table(c: Condition, s: float, rng: Rng) -> Condition:
    """The camera meters the table: the paper burns out the more the table shows."""
    view = replace(c.view, fill=0.85 - 0.35 * s)
    return replace(c, background="dark", view=view, light=replace(c.light, exposure=0.85 + 0.4 * s))


def _white_table(c: Condition, s: float, rng: Rng) -> Condition:
    """White on white: no edge to be seen."""
    return replace(
        c,
        background="white",
        view=replace(c.view, fill=0.9 - 0.3 * s),
        light=replace(c.light, exposure=0.7 + 0.25 * s),
    )


def _clutter(c: Condition, s: float, rng: Rng) -> Condition:
    """Other papers about, the sheet smaller in the picture."""
    return replace(c, background="clutter", view=replace(c.view, fill=0.9 - 0.35 * s))


def _grass(c: Condition, s: float, rng: Rng) -> Condition:
    shape = replace(c.shape, bend_mm=2 + 6 * s, waves_mm=0.5 + 1.5 * s)
    return replace(c, background="grass", shape=shape, view=replace(c.view, fill=0.9 - 0.25 * s))


def _yellow(c: Condition, s: float, rng: Rng) -> Condition:
    names = ["cream", "recycled", "pale-blue", "pale-green", "pink", "yellow"]
    return replace(c, stock=names[min(int(s * 5.999), 5)])


def _low_toner(c: Condition, s: float, rng: Rng) -> Condition:
    return replace(c, job=replace(c.job, toner=max(0.8 - 0.55 * s, 0.04), streaks=0.2 + 0.6 * s))


def _fit_to_page(c: Condition, s: float, rng: Rng) -> Condition:
    """94 to 102 per cent, the two directions unlike, off the middle."""
    scale = float(rng.choice([1.0 - 0.06 * s, 1.0 + 0.02 * s], p=[0.75, 0.25]))
    job = replace(
        c.job,
        scale_x=scale * float(rng.normal(1, 0.004)),
        scale_y=scale * float(rng.normal(1, 0.004)),
        shift_mm=(float(rng.normal(0, 1.5 * s)), float(rng.normal(0, 1.5 * s))),
        turn_deg=float(rng.normal(0, 0.6 * s)),
    )
    return replace(c, job=job)


def _wide_angle(c: Condition, s: float, rng: Rng) -> Condition:
    """A short lens close by: perspective, barrel distortion, dark corners."""
    s = min(s, 1.1)  # a shorter lens with this model of distortion would turn the picture's corners over
    view = replace(c.view, focal=0.62 - 0.22 * s, k1=-0.03 - 0.09 * s, k2=0.01 * s, tilt_deg=8 + 10 * s)
    return replace(c, view=view, light=replace(c.light, vignette=0.2 + 0.3 * s))


def _rain(c: Condition, s: float, rng: Rng) -> Condition:
    """Drops, mud, smeared pencil, a sheet that has gone wavy."""
    wear = replace(c.wear, drops=int(3 + 25 * s), smudge=0.3 + 0.6 * s, dirt=0.2 + 0.6 * s)
    return replace(c, wear=wear, shape=replace(c.shape, waves_mm=0.5 + 1.5 * s))


def _coffee(c: Condition, s: float, rng: Rng) -> Condition:
    return replace(c, wear=replace(c.wear, coffee=0.3 + 0.7 * s, smudge=0.3 * s))


def _show_through(c: Condition, s: float, rng: Rng) -> Condition:
    return replace(c, wear=replace(c.wear, show_through=0.3 + 0.7 * s))


def _thumbs(c: Condition, s: float, rng: Rng) -> Condition:
    """Held in the hand: fingers on the edge, a sheet that bends."""
    sign = float(rng.choice([-1, 1]))
    shape = replace(c.shape, bend_mm=sign * (3 + 12 * s), bend_deg=float(rng.choice([0.0, 90.0])))
    return replace(c, thumbs=1 + int(s > 0.5), shape=shape, view=replace(c.view, tilt_deg=5 + 15 * s))


def _compression(c: Condition, s: float, rng: Rng) -> Condition:
    return replace(c, output=replace(c.output, qualities=(max(int(75 - 50 * s), 3),)))


def _cut_off(c: Condition, s: float, rng: Rng) -> Condition:
    """Not all of the sheet is in the picture: up to 0.6 a corner is missing, then a whole side."""
    corner = s <= 0.6
    roll = float(rng.choice([-1, 1]) * rng.uniform(18, 35)) if corner else float(rng.normal(0, 3))
    missing_mm = 8.0 + 40.0 * s if corner else 12.0 + 70.0 * (s - 0.6)
    w_px, h_px = sorted(c.view.size_px)
    a = abs(np.radians(roll))
    wide = 210 * np.cos(a) + 297 * np.sin(a)
    high = 210 * np.sin(a) + 297 * np.cos(a)
    mm_per_px = max(wide / w_px, high / h_px) / 0.97
    across = bool(rng.random() < 0.5)
    frame, span = (w_px * mm_per_px, wide) if across else (h_px * mm_per_px, high)
    off = float(rng.choice([-1, 1])) * ((frame - span) / 2 + missing_mm) / frame
    view = replace(
        c.view,
        size_px=(w_px, h_px),
        fill=0.97,
        roll_deg=roll,
        tilt_deg=min(c.view.tilt_deg, 6.0),
        shift=(off, 0.0) if across else (0.0, off),
    )
    return replace(c, view=view)


def _torn(c: Condition, s: float, rng: Rng) -> Condition:
    """Corners torn off: one, from 0.6 on two, from 1.5 on three."""
    return replace(c, torn=1 + (s >= 0.6) + (s >= 1.5), torn_mm=24.0 + 22.0 * s)


def _thumb_on_mark(c: Condition, s: float, rng: Rng) -> Condition:
    """The hand that holds the sheet lies on a corner mark, from 0.6 on on two, from 1.5 on on three."""
    shape = replace(c.shape, bend_mm=float(rng.choice([-1, 1])) * (2 + 6 * s), bend_deg=0.0)
    on = 1 + (s >= 0.6) + (s >= 1.5)
    return replace(c, thumbs_on_marks=on, thumb_reach_mm=16.0 + 16.0 * s, shape=shape)


def _fold_in_eight(c: Condition, s: float, rng: Rng) -> Condition:
    """Folded three times, to fit a shirt's pocket."""
    folds = ("half", "quarter", "eighth-1", "eighth-2")
    return replace(
        c,
        wear=replace(c.wear, folds=folds, fold_wear=min(0.3 + 0.7 * s, 1.0), smudge=0.3 * s),
        shape=replace(c.shape, folds=folds, fold_deg=5 + 15 * s),
        light=replace(c.light, elevation_deg=max(60 - 28 * s, 14.0), ambient=0.6 - 0.25 * s),
    )


def _stretch(c: Condition, s: float, rng: Rng) -> Condition:
    """The printer's feed slips: one direction is longer than the other, at 1 by 4 per cent, at 2 by 20."""
    by = (0.04 * s if s <= 1 else 0.04 + 0.16 * (s - 1)) * float(rng.choice([-1, 1]))
    x, y = (1.0, 1.0 - abs(by)) if by > 0 else (1.0 - abs(by), 1.0)
    return replace(c, job=replace(c.job, scale_x=x, scale_y=y))


def _sheen(c: Condition, s: float, rng: Rng) -> Condition:
    """Light that gel ink and graphite mirror: in the glare the marks are as light as the paper."""
    light = replace(c.light, glare=0.05 + 0.2 * s, ambient=0.4, elevation_deg=50.0)
    return replace(c, sheen=0.15 + 0.5 * s, light=light)


def _cast(c: Condition, s: float, rng: Rng) -> Condition:
    """A bulb's orange or the shade's blue that the phone did not even out."""
    warm = bool(rng.random() < 0.5)
    lamp = (1 + 0.45 * s, 1.0, max(1 - 0.55 * s, 0.05)) if warm else (max(1 - 0.4 * s, 0.1), 1.0, 1 + 0.5 * s)
    light = replace(
        c.light, colour=lamp, sky=lamp, exposure=0.7 - 0.25 * s if s <= 1 else 0.45 * 0.1 ** (s - 1)
    )
    return replace(c, light=light, sensor=replace(c.sensor, electrons=2500.0 * 0.3**s))


def _painted(c: Condition, s: float, rng: Rng) -> Condition:
    """The phone's software smooths what it takes for noise and draws a rim around what is left."""
    sensor = replace(
        c.sensor,
        electrons=900.0 * 0.3**s if s <= 1 else 270.0 * 0.05 ** (s - 1),
        denoise=min(0.6 + 0.4 * s, 1.0),
        sharpen=0.8 + 1.6 * s,
        contrast=0.5,
    )
    return replace(c, sensor=sensor)


def _bonnet(c: Condition, s: float, rng: Rng) -> Condition:
    """On a car in the sun: burnt-out paint beside the sheet, the sheet itself too dark for it, sloping."""
    light = replace(
        c.light,
        exposure=0.6 * 0.45**s if s <= 1 else 0.27 * 0.1 ** (s - 1),
        glare=0.25 * min(s, 1.0),
        shadow="hand" if rng.random() < 0.5 else "edge",
        ambient=max(0.5 - 0.25 * s, 0.05),
        shadow_soft=0.004,
    )
    view = replace(c.view, tilt_deg=8 + 16 * s, fill=0.85 - 0.2 * min(s, 1.0))
    shape = replace(c.shape, bend_mm=4.0 + 8.0 * s, bend_deg=float(rng.choice([0.0, 90.0])))
    return replace(c, background="bonnet", light=light, view=view, shape=shape)


def _large(c: Condition, s: float, rng: Rng) -> Condition:
    """The original of a phone of many megapixels, 12 (0) to 48 (1): more pixels, not more detail."""
    grow = 4 / 3 * (1.0 + min(s, 1.0))  # where other conditions get 3000 pixels: 4000 to 8000
    size = (int(c.view.size_px[0] * grow) // 4 * 4, int(c.view.size_px[1] * grow) // 4 * 4)
    soft = 0.5 + 1.1 * s
    return replace(
        c,
        view=replace(c.view, size_px=size),
        sensor=replace(c.sensor, defocus_px=soft, electrons=4000.0 * 0.3**s, denoise=0.5),
    )


def _fine_scan(c: Condition, s: float, rng: Rng) -> Condition:
    """Scanned at 300 (0) to 600 dpi (1 and above), grey or in colour."""
    flat = _flatbed(c, 0.0, rng)
    return replace(flat, dpi=300.0 + 300.0 * min(s, 1.0))


def _fax(c: Condition, s: float, rng: Rng) -> Condition:
    """Black or white, 204 dots to the inch by 196 lines, above 0.5 by 98; from 1 on with lost lines."""
    return replace(
        c,
        device="fax",
        dpi=204.0,
        lines_per_inch=196.0 if s <= 0.5 else 98.0,
        view=replace(c.view, roll_deg=float(rng.normal(0, 0.4 + 0.8 * s))),
        sensor=replace(c.sensor, grey=True, sharpen=0.0, defocus_px=0.6, fax=max(s, 0.05)),
        output=Output(None, (90,), ".png"),
    )


CONDITIONS: dict[str, Callable[[Condition, float, Rng], Condition]] = {
    "clean": _clean,
    "shadow": _shadow,
    "dusk": _dusk,
    "defocus": _defocus,
    "motion": _motion,
    "tilt": _tilt,
    "turn": _turn,
    "fold": _fold,
    "bend": _bend,
    "crumple": _crumple,
    "messenger": _messenger,
    "photocopy": _photocopy,
    "flatbed": _flatbed,
    "glare": _glare,
    "flash": _flash,
    "exposure": _exposure,
    "uneven": _uneven,
    "dark-table": _dark_table,
    "white-table": _white_table,
    "clutter": _clutter,
    "grass": _grass,
    "yellow-paper": _yellow,
    "low-toner": _low_toner,
    "fit-to-page": _fit_to_page,
    "wide-angle": _wide_angle,
    "rain": _rain,
    "coffee": _coffee,
    "show-through": _show_through,
    "thumbs": _thumbs,
    "compression": _compression,
}
#: What photos meet every day: `mixed` draws from these, and the bubble classifier was trained on them.
EVERYDAY = tuple(CONDITIONS)
#: Harder still: paper that is not whole, pictures that do not show it all, other machines on the way.
CONDITIONS |= {
    "cut-off": _cut_off,
    "torn": _torn,
    "thumb-on-mark": _thumb_on_mark,
    "fold-in-eight": _fold_in_eight,
    "stretch": _stretch,
    "sheen": _sheen,
    "cast": _cast,
    "painted": _painted,
    "bonnet": _bonnet,
    "large": _large,
    "fine-scan": _fine_scan,
    "fax": _fax,
}


def condition(name: str, severity: float, seed: int, *, long_px: int = 4000) -> Condition:
    """Return one condition on top of an ordinary photo.

    Parameters
    ----------
    name : one of `CONDITIONS`
    severity : 0..2
    long_px : longer side of the picture as the sensor takes it
    """
    return combined([(name, severity)], seed, long_px=long_px)


def combined(parts: Sequence[tuple[str, float]], seed: int, *, long_px: int = 4000) -> Condition:
    """Return several named conditions at once, each with its severity, applied in the order given."""
    rng = np.random.default_rng([seed, 1])
    result = ordinary(rng, long_px)
    for name, severity in parts:
        result = CONDITIONS[name](result, severity, rng)
    return replace(
        result, name="+".join(n for n, _ in parts), severity=max((s for _, s in parts), default=0.0)
    )


def mixed(seed: int, *, long_px: int = 4000, trouble: float = 0.35) -> Condition:
    """Return a photo as they come: several small things wrong at once, now and then one big.

    Parameters
    ----------
    trouble : mean severity of what goes wrong, 0..1
    """
    rng = np.random.default_rng([seed, 2])
    result = ordinary(rng, long_px)
    # Two devices at once make no sense; the rest may meet.
    names = [n for n in EVERYDAY if n not in ("clean", "flatbed", "messenger", "photocopy")]
    chosen = rng.choice(names, size=int(rng.integers(1, 4)), replace=False)
    for name in chosen:
        severity = float(np.clip(rng.gamma(2.0, trouble / 2.0), 0, 1))
        result = CONDITIONS[str(name)](result, severity, rng)
    if rng.random() < 0.15:
        result = _messenger(result, float(rng.random()), rng)
    return replace(result, name="+".join(map(str, chosen)), severity=trouble)


def _px_per_mm(c: Condition) -> float:
    """About how many photo pixels a millimetre of the sheet gets."""
    return c.view.fill * max(c.view.size_px) / 300.0
