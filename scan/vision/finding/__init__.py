"""A grey picture to the cards in it: where their corner marks are, and which card each is.

`corners` (marks, to a fraction of a pixel) <- `grouping` (which marks belong together) <- `lens` (does a wide
lens bow straight lines). `codes` reads the QR code, or the number beside it, where the marks say it lies.
"""
