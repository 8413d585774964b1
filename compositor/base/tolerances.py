"""House tolerances: every threshold that separates fine from worth a word, with its source or "by eye"."""

# Single-view heights of judged, not measured, objects are good to 3.7 % in the median and 9.9 % at the 90th
# percentile (measured on people in public driving data); half the way between is worth a word.
HEIGHT_DISAGREEMENT_FRACTION = 0.05

# By eye, on path-traced pairs: at 3° of other view a flat cut-out still overlaps the truth by .99, at 5° a chair's
# seat shows; beyond 10° it is another photograph.
ELEVATION_WARNING_DEG = 3.0
ELEVATION_ERROR_DEG = 10.0
AZIMUTH_WARNING_DEG = 15.0

# By eye: one fifth larger than its own pixels a photograph looks softer than a sharp plate.
ENLARGEMENT_WARNING_RATIO = 1.2

# By eye: lettering and circles show a stretch of 2 %.
ARTWORK_STRETCH_RATIO = 0.02
