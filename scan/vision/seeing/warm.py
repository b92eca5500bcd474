"""Loads what the first photo of a process would wait for, so that a process can start before its photo."""

from __future__ import annotations

import cv2
import numpy as np

from shortpencil.scan.vision.seeing.digits import PATCH_PX, digit_log_p

_A_BOX_MM = (5.0, 7.0)  # any box will do: the answer about an empty one is thrown away


def warm() -> None:
    """Load the digit network and keep OpenCV to one thread."""
    cv2.setNumThreads(1)
    digit_log_p(np.zeros((1, PATCH_PX, PATCH_PX), np.float32), _A_BOX_MM)
