"""The one place that imports OpenCV, so that every result is the same on every processor and thread count.

Intel's primitives inside OpenCV round differently from its own code paths and choose by processor; they are
switched off before the library loads (which it would report on standard error as a warning). OpenCV's own
threads are switched off too: the work is shared out in strips (:mod:`compositor.pixels.strips`), which is faster
on short rows and gives the same bytes for any number of threads.
"""

import os

os.environ["OPENCV_IPP"] = "disabled"
os.environ.setdefault("OPENCV_LOG_LEVEL", "ERROR")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2

from compositor.base.memory import keep_freed_memory

cv2.setNumThreads(1)
keep_freed_memory()

__all__ = ["cv2"]
