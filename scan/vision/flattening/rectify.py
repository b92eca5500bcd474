"""Corner marks to a flat picture of the card: homography first, then a correction for paper that is not flat.

The correction is measured twice, each time more finely: at the studs (`studs`), then at the outlines of all
boxes and bubbles (`outlines`). The misfits, smoothed by a thin-plate spline (`bend`), bend the sheet back.
Where the marks tell of a wide lens (`lens`), it is fitted with the homography, first to the marks alone, then
to the studs too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import Floats, GrayImage, Homography, PointsMm, median, project
from shortpencil.scan.vision.finding.grouping import Corners, fit_card, model_corners
from shortpencil.scan.vision.finding.lens import Lens, fit_lens, through
from shortpencil.scan.vision.flattening.bend import FLAT, Bend, consistent, plausible, spline
from shortpencil.scan.vision.flattening.flat import CARD_PX_PER_MM, Registration, cuts, flatten, resolution
from shortpencil.scan.vision.flattening.outlines import (
    OUTLINE_PX_PER_MM,
    cells_astray,
    outlines_of,
    thin_lines,
    tile_offsets,
)
from shortpencil.scan.vision.flattening.studs import as_printed, stud_offsets
from shortpencil.scan.vision.opening.levels import Levels, levels_of

__all__ = [
    "CARD_PX_PER_MM",
    "FLAT",
    "Bend",
    "Registration",
    "cuts",
    "flatten",
    "lost_cells",
    "register",
    "spline",
]

#: How far a stud may lie from where it is expected, look by look: each look expects it where the last one's
#: studs say. A flat sheet shows all studs at the first look. The third reaches far for those that a strong
#: bend has carried away; the last is fine.
_STUD_REACH_MM = (1.6, 4.0, 7.0, 1.6)
_STUD_MIN_SCORE = (0.70, 0.70, 0.66, 0.55)  # normalised correlation; a blank or inked patch scores below 0.5
#: Of a bend through tiles of outlines, and through rules: these are many, and err little.
OUTLINE_SMOOTHING = 0.004
#: A stud that is off by more from where all others foretell it is a mark; one that looks like a stud beyond
#: doubt may lie across a sharp fold.
_STRAY_MM, _SURE_STRAY_MM, _SURE_SCORE = 3.0, 8.0, 0.88
#: Where studs were missed, those that outlines lead to are looked for once more and lead further: so
#: far from where they are expected, in turn, until all but few are found.
_AGAIN_REACH_MM, _ALL_BUT_FEW, _AGAIN_MIN_SCORE = (2.5, 5.0, 2.5), 0.97, 0.6
#: A card seen through a lens is laid flat for the eye that looks for studs: they are 6 px wide in it.
_LOOK_PX_PER_MM = 4.0
#: How far from where the lens of the marks alone expects them studs may lie, then with that of the studs too:
#: on tuning photos it is off by 4 mm at most in the middle of the sheet, far from the marks.
_LENS_REACH_MM = (4.0, 2.0)
#: A lens that shows fewer studs than this share may be a fold's doing: then the plain way is tried as well.
_LENS_STUDS = 0.7


@dataclass(frozen=True, slots=True)
class Anchors:
    """Points of the card whose displacement was measured by sight: `knots` (N, 2) and `values` (N, 2), mm."""

    knots: PointsMm
    values: PointsMm


@dataclass(frozen=True, slots=True)
class _Pose:
    """How the card would lie if its paper were flat; the places of the marks on it and in the photo."""

    card_to_photo: Homography
    lens: Lens | None
    marks_card: PointsMm
    marks_photo: PointsMm


def register(photo: GrayImage | Levels, corners: Corners, layout: Layout) -> tuple[Registration, Anchors]:
    """Return how a card of that layout lies in the photo, by its marks, studs and outlines.

    And what was measured at marks and studs: the first knots of the bend.
    """
    levels = levels_of(photo)
    marks_card = np.vstack([model_corners(layout.paper, marker) for marker in corners.marks])
    marks_photo = np.vstack([mark.corners for mark in corners.marks.values()])
    as_found = corners.lens is None and corners.paper == layout.paper
    flat = corners.card_to_photo if as_found else fit_card(corners.marks, layout.paper)[0]
    plain = _Pose(flat, None, marks_card, marks_photo)
    poses, ways = [], []
    if corners.lens is not None:
        poses.append(_with_lens(levels, plain, corners.lens, layout))
        ways.append(_at_studs(levels, poses[0], layout))
    if not ways or ways[0][0].studs_found < _LENS_STUDS * ways[0][0].studs_total:
        poses.append(plain)
        ways.append(_at_studs(levels, plain, layout))
    rough, anchors, pose = max(
        ((*way, pose) for way, pose in zip(ways, poses, strict=True)), key=lambda way: way[0].studs_found
    )
    current = settle(levels, rough, layout, anchors)
    for reach_mm in _AGAIN_REACH_MM:
        if current.studs_found >= _ALL_BUT_FEW * current.studs_total:
            break
        found, anchors = _studs_again(levels, pose, current, layout, reach_mm)
        if found > current.studs_found:
            current = settle(levels, replace(current, studs_found=found), layout, anchors)
    return current, anchors


def _allowed_mm(scores: Floats) -> Floats:
    return np.where(scores >= _SURE_SCORE, _SURE_STRAY_MM, _STRAY_MM)


def _studs_again(
    levels: Levels, pose: _Pose, current: Registration, layout: Layout, reach_mm: float
) -> tuple[int, Anchors]:
    """Return how many studs lie near where outlines have bent the sheet back to, and what was measured."""
    studs = _studs_of(layout)
    look_levels, px_per_mm, to_look = _looked_at(levels, pose, layout)
    off, scores, darkness = stud_offsets(look_levels, px_per_mm, to_look, current.bend, studs, reach_mm)
    measured = current.bend.at(studs) + off
    marks_off = _marks_off(pose)
    sure = (pose.marks_card, marks_off)
    seen = as_printed(scores >= _AGAIN_MIN_SCORE, darkness)
    found = consistent(sure, studs, measured, seen, _allowed_mm(scores))
    knots = np.vstack([pose.marks_card, studs[found]])
    values = np.vstack([marks_off, measured[found]])
    return int(found.sum()), Anchors(knots, values)


def _with_lens(levels: Levels, plain: _Pose, start: Lens, layout: Layout) -> _Pose:
    """Return the pose of a card that a wide lens shows, fitted to marks and studs."""
    studs = _studs_of(layout)
    lens, transform, _ = fit_lens(plain.marks_card, plain.marks_photo, start, 1)
    pose = replace(plain, card_to_photo=transform, lens=lens)
    for reach in _LENS_REACH_MM:
        look, px_per_mm, to_look = _looked_at(levels, pose, layout)
        off, scores, darkness = stud_offsets(look, px_per_mm, to_look, FLAT, studs, reach)
        found = plausible(studs, off, as_printed(scores >= _STUD_MIN_SCORE[0], darkness))
        seen = through(lens, pose.card_to_photo, (studs + off)[found])
        card, shown = np.vstack([plain.marks_card, studs[found]]), np.vstack([plain.marks_photo, seen])
        lens, transform, _ = fit_lens(card, shown, lens, 2)
        pose = replace(plain, card_to_photo=transform, lens=lens)
    return pose


def _looked_at(levels: Levels, pose: _Pose, layout: Layout) -> tuple[Levels, float, Homography]:
    """Return the picture in which studs are looked for, its px per mm, and bent-back mm to its px.

    It is the photo, or the card laid flat where a lens distorts each stud in its own way.
    """
    if pose.lens is None:
        return levels, resolution(pose.card_to_photo, layout), pose.card_to_photo
    k = _LOOK_PX_PER_MM
    scale = resolution(pose.card_to_photo, layout, pose.lens)
    lies = Registration(pose.card_to_photo, FLAT, 0, 0, 0.0, scale, pose.lens)
    flat, _ = flatten(levels, lies, layout, k)
    return Levels(flat), k, np.array([(k, 0.0, -0.5), (0.0, k, -0.5), (0.0, 0.0, 1.0)])


def _marks_off(pose: _Pose) -> PointsMm:
    """How far the corners of the marks lie from where flat paper would have them, mm."""
    straight = pose.marks_photo if pose.lens is None else pose.lens.straight(pose.marks_photo)
    return _back(pose.card_to_photo, straight) - pose.marks_card


def _studs_of(layout: Layout) -> PointsMm:
    return np.array([(p.x, p.y) for p in layout.studs]).reshape(-1, 2)


def _at_studs(levels: Levels, pose: _Pose, layout: Layout) -> tuple[Registration, Anchors]:
    """Return how a card lies by its marks and studs, and what was measured."""
    studs = _studs_of(layout)
    look_levels, px_per_mm, to_look = _looked_at(levels, pose, layout)
    marks_off = _marks_off(pose)
    # The marks' own corners already tell a little about the bend.
    bend = flat = spline(pose.marks_card, marks_off, smoothing=0.05)
    found, residual = np.zeros(len(studs), bool), 0.0
    for look, (reach, floor) in enumerate(zip(_STUD_REACH_MM, _STUD_MIN_SCORE, strict=True)):
        if look == 1:
            bend = flat  # a look that missed some may have taken others for them
        if look == 2 and found.all():
            continue  # nothing was carried far away
        off, scores, darkness = stud_offsets(look_levels, px_per_mm, to_look, bend, studs, reach)
        found = as_printed(scores >= floor, darkness)
        measured = bend.at(studs) + off
        if look == 0:
            found &= plausible(studs, measured, found)
        else:
            found = consistent((pose.marks_card, marks_off), studs, measured, found, _allowed_mm(scores))
        knots = np.vstack([pose.marks_card, studs[found]])
        values = np.vstack([marks_off, measured[found]])
        bend = spline(knots, values, smoothing=0.02)
        left = np.linalg.norm(bend.at(studs[found]) - measured[found], axis=1)
        residual = median(left) if len(left) else 0.0  # a form without rows has no studs
        if look == 0 and found.all():
            break
    scale = resolution(pose.card_to_photo, layout, pose.lens)
    rough = Registration(pose.card_to_photo, bend, int(found.sum()), len(studs), residual, scale, pose.lens)
    knots = np.vstack([pose.marks_card, studs[found]])
    return rough, Anchors(knots, np.vstack([marks_off, bend.at(studs[found])]))


def settle(levels: Levels, rough: Registration, layout: Layout, anchors: Anchors) -> Registration:
    """Return the registration corrected by the printed outlines; a bent sheet is looked at twice."""
    current = rough
    near = rough.studs_found >= 0.9 * rough.studs_total > 0 and _is_nearly_flat(anchors)
    # Far looks go in steps of 0.5 mm: the near one that follows is as fine as if it were alone.
    for reach_mm, step_px in ((1.1, 1),) if near else ((2.6, 2), (1.1, 1)):
        flat, covered = flatten(levels, current, layout, OUTLINE_PX_PER_MM)
        lines = thin_lines(flat, covered)
        centres, off = tile_offsets(lines, layout, reach_mm, step_px)
        if len(centres) < 4:
            continue
        measured = current.bend.at(centres) + off
        good = plausible(centres, measured, np.ones(len(centres), bool))
        knots = np.vstack([anchors.knots, centres[good]])
        values = np.vstack([anchors.values, measured[good]])
        bend = spline(knots, values, OUTLINE_SMOOTHING)
        left = np.linalg.norm(bend.at(centres[good]) - measured[good], axis=1)
        share = float(good.sum() / len(outlines_of(layout).centres))
        current = replace(current, bend=bend, residual_mm=median(left), tiles_found=share)
    return current


def lost_cells(photo: GrayImage | Levels, registration: Registration, layout: Layout) -> frozenset[str]:
    """Return the cells that a bend or fold has carried away, so that others lie where they are looked for.

    A sheet that shows all its studs lies where it should; the others are looked over, which takes as long as
    registering them did.
    """
    if registration.studs_found >= _ALL_BUT_FEW * registration.studs_total:
        return frozenset()
    flat, covered = flatten(photo, registration, layout, OUTLINE_PX_PER_MM)
    return cells_astray(thin_lines(flat, covered), covered, layout)


def _is_nearly_flat(anchors: Anchors) -> bool:
    """Say whether no mark or stud lies further than 0.8 mm from where flat paper would have it."""
    return bool(np.abs(anchors.values).max() < 0.8)


def _back(transform: Homography, points: PointsMm) -> PointsMm:
    return project(np.asarray(np.linalg.inv(transform), np.float64), points)
