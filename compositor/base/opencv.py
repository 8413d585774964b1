"""The one place that imports OpenCV, so that every result is the same on every processor and thread count.

Intel's primitives inside OpenCV round differently from its own code paths and choose by processor; they are
switched off before the library loads. OpenCV's own threads are switched off too: the work is shared out in
strips (:mod:`compositor.pixels.strips`), which is faster on short rows and gives the same bytes for any number
of threads.
"""

import os

os.environ["OPENCV_IPP"] = "disabled"

import cv2  # noqa: E402 - the environment has to be set before

cv2.setNumThreads(1)

__all__ = ["cv2"]
