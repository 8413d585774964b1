"""Speed by ratios: python -m tests.benchmark [--only w1,w2,small,threads] [--quick] [--runs 5].

Every program runs in a fresh process, all of them one after the other in every round, each round starting with the
next one; what is told are medians over the rounds. Floor and product have two threads each, or one each where it says
so: two cores at work share caches and take more CPU time each. CPU time is user and system time of the work without
imports. Read the ratios, not the seconds. Writes outputs/benchmark.json.
"""

import argparse
import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from tests.benchmark import inputs, placing
from tests.benchmark.libraries import NEEDS

ROOT = Path(__file__).parents[2]
FEW, MANY, SMALL = 10, 100, 1000


@dataclass(frozen=True)
class Run:
    """One program at one piece of work. count: variants; threads: jobs at once."""

    program: str
    work: str
    count: int = 1
    threads: int = 2

    @property
    def key(self) -> str:
        """For people and for the record."""
        return f"{self.work} {self.program} n={self.count} threads={self.threads}"


def main() -> None:
    """Measure and tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark")
    parser.add_argument("--only", default="w1,w2,small,threads")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--quick", action="store_true", help="one round, without the other libraries")
    parser.add_argument("--inputs", type=Path, default=ROOT / "outputs" / "benchmark", help="where they are made once")
    asked = parser.parse_args()
    folder = asked.inputs
    inputs.make(folder)
    placing.write(folder)
    wanted = _runs(asked.only.split(","), asked.quick)
    rounds = 1 if asked.quick else asked.runs
    found: dict[str, list[dict]] = {run.key: [] for run in wanted}
    for number in range(rounds):
        order = wanted[number % len(wanted) :] + wanted[: number % len(wanted)]
        for run in order:
            found[run.key].append(_once(run, folder))
            print(f"{number + 1}/{rounds} {run.key} {_cpu(found[run.key][-1]):.2f} s CPU", file=sys.stderr)
    medians = {key: _median(values) for key, values in found.items()}
    record = {"machine": _machine(), "rounds": rounds, "programs": medians, "ratios": _ratios(medians)}
    (ROOT / "outputs" / "benchmark.json").write_text(json.dumps(record, indent=1) + "\n")
    _tell(record)


def _runs(only: list[str], quick: bool) -> list[Run]:
    libraries = [] if quick else [name for name, module in NEEDS.items() if find_spec(module)]
    own = [f"{what}-{codecs}" for what in ("floor", "product") for codecs in ("fast", "base")]
    runs = []
    if "w1" in only:
        runs += [Run(program, "w1") for program in own + libraries]
        runs += [Run(program, "w1", threads=1) for program in own]
    if "w2" in only:
        runs += [Run(program, "w2-few", count, threads) for program in own for count in (1, FEW) for threads in (1, 2)]
        runs += [Run(program, "w2-few", 4) for program in libraries]
        runs += [Run("product-fast", "w2-cached", count) for count in (FEW, MANY)]
    if "small" in only:
        runs += [Run("product-fast", "small", count) for count in (1, 100 if quick else SMALL)]
    if "threads" in only:
        both = [1] if "w2" in only else [1, 2]
        runs += [Run("product-fast", "w2-cached", count, threads) for threads in both for count in (FEW, MANY)]
    return runs


def _once(run: Run, folder: Path) -> dict:
    if run.work == "w2-cached":
        _child(Run(run.program, "warm", run.count), folder)
    return _child(run, folder)


def _child(run: Run, folder: Path) -> dict:
    out = folder / "out"
    shutil.rmtree(out, ignore_errors=True)
    command = [sys.executable, "-m", "tests.benchmark.child", run.program, run.work, str(folder), str(out)]
    command += [str(run.count), str(run.threads)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{run.key}\n{done.stderr}")
    return json.loads(done.stdout.splitlines()[-1])


def _cpu(told: dict) -> float:
    return told["user_s"] + told["system_s"]


def _median(values: list[dict]) -> dict:
    whole = [{**value, "cpu_s": _cpu(value)} for value in values]
    return {name: round(statistics.median(value[name] for value in whole), 4) for name in whole[0]}


def _ratios(medians: dict[str, dict]) -> dict[str, float]:
    """What the project promises, as far as it was measured. A program's floor has the same codecs and encoders."""
    found: dict[str, float | None] = {}

    def cpu(program: str, work: str, count: int = 1, threads: int = 2) -> float | None:
        told = medians.get(Run(program, work, count, threads).key)
        return None if told is None else told["cpu_s"]

    def each(program: str, work: str, few: int, many: int, threads: int = 2) -> float | None:
        spent = (cpu(program, work, count, threads) for count in (many, few))
        return _quotient(_difference(*spent), many - few)

    fastest, cold_fastest = cpu("floor-fast", "w1"), each("floor-fast", "w2-few", 1, FEW)
    best = min((cpu(name, "w1") for name in NEEDS if cpu(name, "w1")), default=None)
    least = min((cpu(name, "w2-few", 4) for name in NEEDS if cpu(name, "w2-few", 4)), default=None)
    for codecs in ("base", "fast"):
        product, floor = f"product-{codecs}", f"floor-{codecs}"
        found[f"W1 {codecs} / its floor"] = _quotient(cpu(product, "w1"), cpu(floor, "w1"))
        found[f"W1 {codecs} / its floor, one thread"] = _quotient(cpu(product, "w1", 1, 1), cpu(floor, "w1", 1, 1))
        found[f"W1 {codecs} / fastest floor"] = _quotient(cpu(product, "w1"), fastest)
        found[f"W1 {codecs} / best of the libraries"] = _quotient(cpu(product, "w1"), best)
        cold, alone = each(product, "w2-few", 1, FEW), each(product, "w2-few", 1, FEW, 1)
        found[f"W2 cold {codecs} / its floor"] = _quotient(cold, each(floor, "w2-few", 1, FEW))
        found[f"W2 cold {codecs} / its floor, one thread"] = _quotient(alone, each(floor, "w2-few", 1, FEW, 1))
        found[f"W2 cold {codecs} / fastest floor"] = _quotient(cold, cold_fastest)
        found[f"W2 cold {codecs} / best of the libraries"] = _quotient(cold, None if least is None else least / 4)
    for threads, how in ((2, ""), (1, ", one thread")):
        cached = each("product-fast", "w2-cached", FEW, MANY, threads)
        cold_floor = each("floor-fast", "w2-few", 1, FEW, threads)
        found[f"W2 with cut-outs at hand / cold floor{how}"] = _quotient(cached, cold_floor)
    told = medians.get(Run("product-base", "w1").key, {})
    found["compositing's share of W1 (base)"] = _quotient(told.get("compositing_s"), told.get("cpu_s"))
    found["two threads / one (W2, wall)"] = _quotient(*(_wall_each(medians, threads) for threads in (1, 2)))
    for name, key in (("W1 base", Run("product-base", "w1")), ("W1 fast", Run("product-fast", "w1"))):
        found[f"peak MB {name}"] = medians.get(key.key, {}).get("peak_mb")
    for count in (FEW, MANY):
        found[f"peak MB W2 n={count}"] = medians.get(Run("product-fast", "w2-cached", count).key, {}).get("peak_mb")
    small = [count for count in (100, SMALL) if cpu("product-fast", "small", count)]
    spent = each("product-fast", "small", 1, small[0]) if small else None
    found["ms per small variant"] = None if spent is None else spent * 1e3
    return {name: round(value, 3) for name, value in found.items() if value is not None}


def _wall_each(medians: dict[str, dict], threads: int) -> float | None:
    """Seconds that each further variant takes; it tells of threads on a quiet machine only."""
    few, many = (medians.get(Run("product-fast", "w2-cached", count, threads).key, {}) for count in (FEW, MANY))
    return _quotient(_difference(many.get("wall_s"), few.get("wall_s")), MANY - FEW)


def _quotient(first: float | None, second: float | None) -> float | None:
    return None if first is None or not second else first / second


def _difference(first: float | None, second: float | None) -> float | None:
    return None if first is None or second is None else first - second


def _machine() -> dict:
    from compositor.jobs.versions import versions

    return {"cores": os.cpu_count(), "system": platform.system(), "processor": _processor(), "versions": {**versions()}}


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.machine()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), platform.machine())


def _tell(record: dict) -> None:
    print(f"{'program':44} {'CPU s':>8} {'user s':>8} {'wall s':>8} {'peak MB':>8}")
    for key, told in record["programs"].items():
        times = (told["cpu_s"], told["user_s"], told["wall_s"], told["peak_mb"])
        print(f"{key:44} {times[0]:8.2f} {times[1]:8.2f} {times[2]:8.2f} {times[3]:8.0f}")
    for name, value in record["ratios"].items():
        print(f"{name:44} {value:8.2f}")


if __name__ == "__main__":
    main()
