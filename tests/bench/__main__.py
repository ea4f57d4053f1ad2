"""Speed and memory of one 50-megapixel lossless-JPEG capture, as ratios to its LibRaw decode; watch and batch.

Run as ``python -m tests.bench``. Each figure is the best of several rounds, every round in a process of its
own, so that nothing is warm that would not be warm in a worker, and peak memory is the process's own.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench import batch, watch

ROUNDS = 3
TARGETS = {
    "measurements / LibRaw decode": 1.0,
    "fast decode and measurements / LibRaw decode": 1.0,
    "peak memory, MB": 900.0,
}


def best(job: str, capture: Path) -> dict[str, float]:
    """Run one job of `tests.bench.job` in fresh processes and keep the smallest of each figure."""
    rounds = []
    for _ in range(ROUNDS):
        command = [sys.executable, "-m", "tests.bench.job", job, str(capture)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        rounds.append(json.loads(done.stdout.splitlines()[-1]))
    return {name: min(r[name] for r in rounds) for name in rounds[0]}


def report(label: str, kind: str, capture: Path) -> bool:
    """Print the figures of one capture and tell whether all targets are met."""
    bare = best("libraw", capture)
    slow = best("rawpy", capture)
    fast = best("flashraw", capture)
    print(f"\n{label} ({kind}): bare LibRaw decode {bare['decode']:.2f} s")
    for name, seconds in slow.items():
        if name != "peak":
            print(f"   {name:<14} {seconds:6.3f} s   {seconds / bare['decode']:5.2f} ×")
    measured = slow["total"] - slow["decode"]
    figures = {
        "measurements / LibRaw decode": measured / bare["decode"],
        "fast decode and measurements / LibRaw decode": fast["total"] / bare["decode"],
        "peak memory, MB": max(slow["peak"], fast["peak"]),
    }
    met = True
    for name, value in figures.items():
        met &= value <= TARGETS[name]
        print(
            f"   {name}: {value:.2f} (at most {TARGETS[name]:g}) {'met' if value <= TARGETS[name] else 'MISSED'}"
        )
    return met


def main() -> int:
    """Print every figure; exit status 1 when a target is missed."""
    with tempfile.TemporaryDirectory() as folder:
        met = True
        for label, detail in (("still life", "scene"), ("texture everywhere", "texture")):
            capture = Path(folder) / f"{detail}.dng"
            subprocess.run([sys.executable, "-m", "tests.bench.job", f"write-{detail}", str(capture)], check=True)
            met &= report(label, f"{capture.stat().st_size / 1e6:.0f} MB", capture)
    met &= watch.report()
    met &= batch.report()
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
