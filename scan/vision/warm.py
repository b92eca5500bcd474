"""Loads what the first photo of a process would wait for, so that a process can start before its photo."""

from __future__ import annotations

import gc

_A_BOX_MM = (5.0, 7.0)  # any box will do: the answer about an empty one is thrown away


def warm() -> None:
    """Load the way of a photo with the digit network, and keep OpenCV to one thread.

    What libraries make while they load stays for good. Nobody looks through it for objects that only lead to
    themselves, now or later: that took a fifth of the time to load.
    """
    gc.disable()
    import cv2
    import numpy as np

    from shortpencil.scan.vision import pipeline  # noqa: F401 (all that it takes)
    from shortpencil.scan.vision.seeing.digits import PATCH_PX, digit_log_p

    cv2.setNumThreads(1)
    digit_log_p(np.zeros((1, PATCH_PX, PATCH_PX), np.float32), _A_BOX_MM)
    gc.freeze()
    gc.enable()
