"""The rim given to the chains of defaults, and what their tables are worth against the simulator's truth."""
import json
import math
import statistics
from pathlib import Path

NEAR_MM = 0.4  # of the planned depth or width: a ledge's plane that lies farther off is another one


def minus(a, b):
    return [p - q for p, q in zip(a, b)]


def unit(v):
    return [c / math.hypot(*v) for c in v]


def stations_of(truth):
    """The corner at every millimetre of rim where the truth speaks of bevel or ledge, with what is true there."""
    stations = {}
    for s in truth["bevel"]["stations"]:
        at = stations.setdefault(round(s["station_mm"]), {"at": s["at"]})
        if not s["hidden"]:
            at["angle"], at["drop"], at["reach"] = s["angle_deg"], s["drop_mm"], s["top_reach_mm"]
    for channel in truth["channels"]:
        for s in channel["stations"]:
            at = stations.setdefault(round(s["station_mm"]), {"at": s["at"]})
            if channel["corner"] == "top-side" and not s["hidden"]:
                at["steps"] = [(step["depth_mm"], step["width_mm"]) for step in s["steps"] if step["present"]]
    return [stations[k] for k in sorted(stations)]


def profile_of(station):
    """(out, up) of the surface from 60 mm in along the top to 65 mm down the side: bevel, or else the edge's ledges."""
    steps = sorted(station.get("steps", []))  # the shallow one lies farther in
    profile = [(-60.0, 0.0)]
    if not steps and station.get("drop", 0.0) > 0.0:
        return profile + [(-station["reach"], 0.0), (0.0, -station["drop"]), (0.0, -65.0)]
    up = 0.0
    for depth, width in steps:
        profile += [(-width, up), (-width, -depth)]
        up = -depth
    return profile + [(0.0, up), (0.0, -65.0)]


def write_rim(folder):
    """rim.txt: corner, way out, way up and profile at each station, in the scan's frame."""
    truth = json.loads((Path(folder) / "truth.json").read_text())
    up = [row[2] for row in truth["scan"]["T_scan_body"][:3]]
    stations = stations_of(truth)
    with open(Path(folder) / "rim.txt", "w") as rim:
        for k, station in enumerate(stations):
            along = unit(minus(stations[min(k + 1, len(stations) - 1)]["at"], stations[max(0, k - 1)]["at"]))
            out = unit([along[1] * up[2] - along[2] * up[1], along[2] * up[0] - along[0] * up[2],
                        along[0] * up[1] - along[1] * up[0]])
            profile = profile_of(station)
            print(*station["at"], *out, *up, len(profile), *[c for vertex in profile for c in vertex], file=rim)


def rows_of(folder, table):
    """Rows (quantity, measured, of stations, median and 95 % of the absolute error)."""
    stations = stations_of(json.loads((Path(folder) / "truth.json").read_text()))
    errors = {"angle": [], "drop": [], "depth, edge ledges": [], "width, edge ledges": []}
    there = dict.fromkeys(errors, 0)
    for line in open(table):
        words = line.split()
        true = stations[int(words[0])]
        if true.get("drop", 0.0) >= 2.0:
            for quantity, word in (("angle", words[1]), ("drop", words[2])):
                there[quantity] += 1
                if word != "-":
                    errors[quantity].append(abs(float(word) - true[quantity]))
        found = {kind: [float(w[1:]) for w in words[3:] if w.startswith(kind)] for kind in "dw"}
        for depth, width in true.get("steps", []):
            for quantity, kind, value in (("depth, edge ledges", "d", depth), ("width, edge ledges", "w", width)):
                there[quantity] += 1
                nearest = min((abs(f - value) for f in found[kind]), default=math.inf)
                if nearest < NEAR_MM:
                    errors[quantity].append(nearest)
    rows = []
    for quantity, sizes in errors.items():
        sizes.sort()
        rows.append((quantity, len(sizes), there[quantity], statistics.median(sizes) if sizes else math.nan,
                     sizes[int(0.95 * (len(sizes) - 1))] if sizes else math.nan))
    return rows
