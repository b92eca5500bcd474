"""A card in a photo to a flat picture of it: where every millimetre lies, folded or curled as the paper is.

`rectify` (homography, then what is left over) <- `studs` (the small squares between the rows), `outlines` (of
boxes and bubbles, tile by tile) <- `bend` (a thin-plate spline through what was measured). `flat` samples the
photo through it; `pictures` cuts what is kept for people.
"""
