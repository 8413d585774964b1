"""The difference of view found against the one that the path-traced cases were made with.

case.json states depressions of both cameras (its difference has the other sign than ours: element less plate).
"""

import json
from pathlib import Path

import pytest
from test_truth import CASES, scene_of

from compositor.jobs.check import check_scene

CODE = "seen-from-another-height"


@pytest.mark.parametrize("folder", CASES, ids=lambda folder: folder.name)
def test_mismatch_is_the_known_one_and_the_first_way_out_mends(folder: Path, tmp_path: Path) -> None:
    case = json.loads((folder / "case.json").read_text())
    path = tmp_path / "scene.json"
    path.write_text(json.dumps(scene_of(folder, case)))
    solved = check_scene(path, []).variants[0]
    known_deg = -case["compatibility"]["depression_angle_difference_deg"]
    assert solved.record["elements"][0]["view_elevation_mismatch_deg"] == pytest.approx(known_deg, abs=0.1)
    found = [finding for finding in solved.findings if finding.code == CODE]
    assert bool(found) == (abs(known_deg) > 3.0)
    for finding in found:
        assert f"{abs(known_deg):.1f}°" in finding.message
        after = check_scene(path, list(finding.remedies[0].settings)).variants[0]
        assert not [left for left in after.findings if left.code == CODE]
        print(f"{folder.name}: known {known_deg:+.3f}°, first way out: {finding.remedies[0].text}")
