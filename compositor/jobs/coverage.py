"""How far holdouts cover pixels of a plan's full frame, for the audit."""

import numpy as np

from compositor.audit.findings import Covers
from compositor.base.arrays import Floats
from compositor.jobs.inputs import Inputs
from compositor.plan.model import Plan


def holdout_coverage(inputs: Inputs, plan: Plan) -> Covers:
    """Coverage 0..1 of the matte of a holdout, by name, at pixels (n, 2) of the full frame; nothing outside it."""
    left, top = plan.plate.extension.left, plan.plate.extension.top

    def covers(name: str, points_px: Floats) -> Floats:
        matte = inputs.mattes[plan.holdout(name).matte]
        columns, rows = np.floor(points_px - [left, top]).astype(np.int64).T
        inside = (columns >= 0) & (rows >= 0) & (columns < matte.shape[1]) & (rows < matte.shape[0])
        found = np.zeros(len(points_px))
        found[inside] = matte[rows[inside], columns[inside]] / 65535.0
        return found

    return covers
