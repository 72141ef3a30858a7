"""Results of an inspection against the simulator's truth: for each quantity how many, how far off, how well covered."""
import json
import math
import statistics
from pathlib import Path

LEAST_DROP_MM = 2.0  # shorter than that, a bevel's angle and straightness say little
FURTHEST_MM = 3.0  # of a result's place from the true rim
LONGEST_STEP_MM = 10.0  # between neighbouring true stations; beyond it the feature is interrupted


def place_on(stations, at):
    """The two true stations a place lies between, and where between them."""
    best = (math.inf, None, None, 0.0)
    for a, b in zip(stations, stations[1:]):
        step = [q - p for p, q in zip(a["at"], b["at"])]
        squared = sum(d * d for d in step)
        if squared > LONGEST_STEP_MM**2 or squared == 0.0:
            continue
        share = min(1.0, max(0.0, sum((x - p) * d for x, p, d in zip(at, a["at"], step)) / squared))
        away = math.dist(at, [p + share * d for p, d in zip(a["at"], step)])
        if away < best[0]:
            best = (away, a, b, share)
    return best


def errors_of(folder, result):
    """(quantity, error, U95) of every measured value, and how many stations of the truth there are by quantity."""
    truth = json.loads((Path(folder) / "truth.json").read_text())
    results = json.loads((Path(result) / "results.json").read_text())
    found, there = [], {}

    def add(quantity, value, u95, a, b, share):
        if value is not None and a is not None and b is not None:
            found.append((quantity, value - ((1 - share) * a + share * b), u95))

    true_bevel = [s for s in truth["bevel"]["stations"] if not s["hidden"]]
    quantities = {"angle": "angle_deg", "drop": "drop_mm", "top reach": "top_reach_mm",
                  "straightness": "straightness_mm"}
    for quantity in quantities:
        there[quantity] = sum(1 for s in true_bevel if s["drop_mm"] >= LEAST_DROP_MM)
    for station in results["bevel"]["stations"]:
        away, a, b, share = place_on(true_bevel, station["at"])
        if away > FURTHEST_MM or min(a["drop_mm"], b["drop_mm"]) < LEAST_DROP_MM:
            continue
        for quantity, key in quantities.items():
            unit = key.rsplit("_", 1)[1]
            add(quantity, station[key], station[f"{key.removesuffix('_' + unit)}_u95_{unit}"], a[key], b[key], share)
    for true_channel, channel in zip(truth["channels"], results["channels"]):
        stations = [s for s in true_channel["stations"] if not s["hidden"]]
        for quantity in ("depth", "width"):
            there[quantity] = there.get(quantity, 0) + sum(1 for s in stations for step in s["steps"] if step["present"])
        for station in channel["stations"]:
            away, a, b, share = place_on(stations, station["at"])
            if away > FURTHEST_MM:
                continue
            for step, true_a, true_b in zip(station["steps"], a["steps"], b["steps"]):
                if not (true_a["present"] and true_b["present"]):
                    continue
                for quantity in ("depth", "width"):
                    add(quantity, step[f"{quantity}_mm"], step[f"{quantity}_u95_mm"], true_a[f"{quantity}_mm"],
                        true_b[f"{quantity}_mm"], share)
    return found, there, results


def summary(folder, result):
    """Rows (quantity, measured, of stations, median and 95 % of the absolute error, share within U95), and the verdict."""
    found, there, results = errors_of(folder, result)
    rows = []
    for quantity, stations in there.items():
        of_it = [(abs(error), u95) for name, error, u95 in found if name == quantity]
        if not of_it:
            rows.append((quantity, 0, stations, math.nan, math.nan, math.nan))
            continue
        sizes = sorted(error for error, _ in of_it)
        rows.append((quantity, len(of_it), stations, statistics.median(sizes), sizes[int(0.95 * (len(sizes) - 1))],
                     sum(1 for error, u95 in of_it if error <= u95) / len(of_it)))
    return rows, results["verdict"], len(results["findings"])
