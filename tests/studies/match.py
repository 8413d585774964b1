"""How far may an element's colours be moved on what a plate shows of its light?

Run: python tests/studies/match.py FOLDER, with path-traced cases in FOLDER as in tests/truth/cases. The three shares of
compositor.colour.match are tried on a grid; for each case they are chosen on the others alone (leave one out, least
mean) and tried on it. Printed per case: mean absolute log2 ratio per channel between the element's and the true mean
colour, inside both mattes, in stops: as it was photographed, with its air, with the match as the product does it, and
with the match chosen without this case.

Found on eight cases: median .189 as photographed, .149 with air, .081 with the match; chosen without the case .152
(mean .177 with air, .128 with the match, .149 chosen without the case); worst .549, .432, .275, .295. So the bounced
light holds on cases that it was not chosen on; the restraint less so: without the one case it was chosen double (c05).
Eight cases are few, which is why the shares are small. What is left are an exposure offset of a quarter stop (c03) and
a white balance of the element's camera (c06), neither of which a cut-out shows.
"""

import itertools
import json
import math
import sys
from pathlib import Path

import cv2
import numpy as np

from compositor.colour import match
from compositor.colour.curves import srgb_to_linear
from compositor.jobs.inputs import open_inputs
from compositor.pixels.mips import Mips
from compositor.render.finish import Finishing
from compositor.render.layers import element_layer
from compositor.render.surround import Surround
from compositor.render.view import View
from compositor.scene.loader import load_scene
from compositor.solve.planning import solve

sys.path.insert(0, str(Path(__file__).parents[1] / "truth"))
from test_truth import scene_of

GRID = list(itertools.product((0.0, 0.15, 0.25, 0.35, 0.5), (0.35, 0.4, 0.45, 0.5), (0.0, 0.05, 0.1, 0.125, 0.15, 0.2)))


def case_of(folder: Path) -> dict[str, np.ndarray | object]:
    """Mean colours with and without air, the truth's, and the evidence."""
    case = json.loads((folder / "case.json").read_text())
    words = scene_of(folder, case)
    haze = case["plate"]["haze"]
    if haze is not None:
        words["plate"]["air"] = {"visibility": -math.log(0.02) / haze["beta_per_m"]}
    scene = Path("/tmp") / f"match-{folder.name}.json"
    scene.write_text(json.dumps(words))
    loaded = load_scene(scene, [])
    inputs = open_inputs(loaded.scene, folder)
    plan = solve(loaded.scene, inputs.facts(loaded.scene))
    element, mips = plan.element("subject"), Mips(next(iter(inputs.cut_outs.values())).picture.samples)
    surround = Surround(inputs.plate.samples, inputs.plate.space, plan.plate)
    truth = srgb_to_linear(cv2.imread(str(folder / "truth.png"))[..., ::-1] / 255.0)
    matte = cv2.imread(str(folder / "truth_matte.png"), 0) / 255.0
    means = []
    for finishing in (None, Finishing(plan.plate, surround)):
        layer = element_layer(element, mips, View.of_frame(plan.plate.size_px), finishing)
        (x, y), samples = layer.offset_px, layer.picture.samples / 65535.0
        window = slice(y, y + samples.shape[0]), slice(x, x + samples.shape[1])
        both = (matte[window] > 0.5) & (samples[..., 3] > 0.5)
        means.append((samples[..., :3] / np.maximum(samples[..., 3:], 1e-6))[both].mean(axis=0))
    share = 1.0 if haze is None else math.exp(-haze["beta_per_m"] * element.distance_m)
    return {
        "plain": means[0],
        "air": means[1],
        "truth": truth[window][both].mean(axis=0),
        "veil": (1 - share) * surround.air_colour,
        "evidence": surround.evidence(element, mips),
    }


def apart(first: np.ndarray, second: np.ndarray) -> float:
    return float(np.abs(np.log2(first / second)).mean())


def matched(case: dict, shares: tuple[float, float, float]) -> float:
    match.BOUNCE_RATIO, match.NEUTRAL_GROUND_FRACTION, match.RESTRAINT_FRACTION = shares
    gain = match.matching_gain(case["evidence"], 1.0)
    return apart(case["truth"], (case["air"] - case["veil"]) * gain + case["veil"])


def main() -> None:
    product = (match.BOUNCE_RATIO, match.NEUTRAL_GROUND_FRACTION, match.RESTRAINT_FRACTION)
    cases = {path.parent.name: case_of(path.parent) for path in sorted(Path(sys.argv[1]).glob("*/case.json"))}
    table = {shares: np.array([matched(case, shares) for case in cases.values()]) for shares in GRID}
    rows = []
    for index, (name, case) in enumerate(cases.items()):
        others = np.arange(len(cases)) != index
        best = min(GRID, key=lambda s: float(table[s][others].mean()))
        plain, air = apart(case["truth"], case["plain"]), apart(case["truth"], case["air"])
        rows.append((plain, air, matched(case, product), table[best][index]))
        print(name, " ".join(f"{value:6.3f}" for value in rows[-1]), "chosen without it:", best)
    print("median", np.round(np.median(rows, axis=0), 3), "worst", np.round(np.max(rows, axis=0), 3))
    for shares in sorted(GRID, key=lambda s: float(np.median(table[s])))[:20]:
        print(shares, round(float(np.median(table[shares])), 3), round(float(table[shares].max()), 3))


if __name__ == "__main__":
    main()
