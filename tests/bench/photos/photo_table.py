#!/usr/bin/env python3
"""The tables of what photos reach, from rendered sets with known truth.

  photo_table.py RIMWRIGHT FOLDER [--sets figured,scribbled,...|odd] [--shots 24] [--width 4032] [--fresh]
                 [--against AGAINST_STEREO]

Sets are rendered once into FOLDER/<set> (minutes of processor time each) and reused; results go to FOLDER/<set>/result.
Each row: errors against truth (median, 95 % of absolute values), stations answered of those that could be, how often U95
holds the truth (stations within a hollow of the face are left out: no one edge is true there); then false fails and
defects missed, the time, and what the report says of the photos. A false fail is one where no defect of the body lies
within 8 mm; a missed defect is one with no finding but of presence within 8 mm. At the end one row a set. --sets odd
takes the sets with something wrong with them; --against runs the comparison with stereo pairs on each set too.
"""
import argparse
import json
import math
import pathlib
import resource
import subprocess
import sys
import time
import typing

HERE = pathlib.Path(__file__).resolve().parent


class Set(typing.NamedTuple):
    how: list = []  # it is rendered
    bar_mm: float | None = 100.0  # as a builder would measure it; None = not measured
    photos_of: str | None = None  # the set whose photos it is


SETS = {
    "figured": Set(),
    "scribbled": Set(["--contrast", "0.35", "--scribble", "0.6"]),
    "gloss": Set(["--gloss", "0.04"]),
    "plain": Set(["--contrast", "0.35"]),
}
ODD_SETS = {
    "bowed": Set(["--bow", "0.8"]),
    "misprinted": Set(["--print-scale", "0.99"], bar_mm=99.0),
    "misprinted-no-bar": Set(bar_mm=None, photos_of="misprinted"),
    "blurred": Set(["--motion", "4", "--focus-error", "0.12"]),
    "two-phones": Set(["--phones", "2"]),
    "target-in-half": Set(["--target-shots", "{half}"]),
    "target-beside": Set(["--target-beside"]),
    "figured-table": Set(["--table-figure", "1"]),
    "figured-table-beside": Set(["--table-figure", "1", "--target-beside", "--blocks", "0"]),
}
WIDE_FACE_MM = 15.0  # the angle is promised on faces this wide
NEAR_MM = 8.0
FORM_DEFECTS = ("hollow", "hump", "crown", "tear-out")  # where the face itself has no one angle and no one edge


def render(program, how, folder, shots, width):
    how = [str(shots // 2) if word == "{half}" else word for word in how]
    subprocess.run([program, "simulate", HERE / "body.yaml", "--as", "photos", "--out", folder, "--from", "0", "--to",
                    "300", "--rays", "4", "--seed", "1", "--shots", str(shots), "--width", str(width), *how],
                   check=True)


def truth_at(stations, at):
    """Truth interpolated between the two stations beside a place; None beyond them. Also the true station."""
    near = min(range(len(stations)), key=lambda i: math.dist(stations[i]["at"][:2], at[:2]))
    a = stations[near]
    for other in (near - 1, near + 1):
        if not 0 <= other < len(stations):
            continue
        b = stations[other]
        step = [b["at"][i] - a["at"][i] for i in (0, 1)]
        length = step[0] ** 2 + step[1] ** 2
        if not 0.0 < length < 9.0:
            continue
        share = sum((at[i] - a["at"][i]) * step[i] for i in (0, 1)) / length
        if 0.0 <= share <= 1.0:
            return mixed(a, b, share)
    return a if math.dist(a["at"][:2], at[:2]) < 0.6 else None


def mixed(a, b, share):
    out = {}
    for key, value in a.items():
        if isinstance(value, bool):
            out[key] = value and b[key]
        elif isinstance(value, (int, float)) and isinstance(b.get(key), (int, float)):
            out[key] = value + share * (b[key] - value)
    if "steps" in a:
        out["steps"] = [mixed(x, y, share) for x, y in zip(a["steps"], b["steps"])]
    return out


class Row:
    def __init__(self):
        self.errors, self.u95, self.covered, self.asked = [], [], 0, 0

    def add(self, measured, u95, true):
        self.asked += 1
        if measured is None:
            return
        self.errors.append(abs(measured - true))
        self.u95.append(u95)
        self.covered += abs(measured - true) <= u95

    def error(self):
        if not self.errors:
            return "none"
        e, n = sorted(self.errors), len(self.errors)
        return f"{e[n // 2]:.4f}, {e[min(n - 1, int(0.95 * n))]:.4f}"

    def answered(self):
        return f"{100 * len(self.errors) / max(1, self.asked):.0f}"

    def coverage(self):
        return f"{100 * self.covered / len(self.errors):.0f}" if self.errors else "-"

    def text(self):
        u = sorted(self.u95)
        middle = f"{u[len(u) // 2]:.3f}" if u else "-"
        return f"{self.error()} | {middle} | {self.answered()} % of {self.asked} | {self.coverage()} %"


def compare(result, truth):
    rows = {name: Row() for name in ("angle (deg), face >= 15 mm", "drop (mm): lower edge", "top reach (mm): upper edge",
                                     "straightness (mm)", "step depth (mm)", "step width (mm)")}
    names = list(rows)
    stations = truth["bevel"]["stations"]
    formless = [(d["from_mm"] - NEAR_MM, d["to_mm"] + NEAR_MM) for d in truth["defects"] if d["kind"] in FORM_DEFECTS]

    def has_form(true):
        return not any(low < true["station_mm"] < high for low, high in formless)

    for s in (result["bevel"] or {"stations": []})["stations"]:
        t = truth_at(stations, s["at"])
        if t is None or t["drop_mm"] < 5.0 or not has_form(t):
            continue
        lean = math.radians(180.0 - t["angle_deg"])
        if t["drop_mm"] / math.cos(lean) >= WIDE_FACE_MM:
            rows[names[0]].add(s["angle_deg"], s["angle_u95_deg"], t["angle_deg"])
        for name, key in zip(names[1:4], ("drop", "top_reach", "straightness")):
            rows[name].add(s[key + "_mm"], s[key + "_u95_mm"], t[key + "_mm"])
    for channel, true in zip(result["channels"], truth["channels"]):
        for s in channel["stations"]:
            t = truth_at(true["stations"], s["at"])
            if t is None or (true["corner"] != "top-side" and not has_form(t)):
                continue
            for step, true_step in zip(s["steps"], t["steps"]):
                if not true_step.get("present") or true_step.get("width_mm") is None:
                    continue
                rows[names[4]].add(step["depth_mm"], step["depth_u95_mm"], true_step["depth_mm"])
                rows[names[5]].add(step["width_mm"], step["width_u95_mm"], true_step["width_mm"])
    return rows


def verdicts(result, truth):
    """False fails, and defects that nothing points at."""
    bevel = truth["bevel"]["stations"] + [s for c in truth["channels"] for s in c["stations"]]
    places = []
    for f in result["findings"]:
        stations = [s for s in (result["bevel"] or {"stations": []})["stations"]]
        for c in result["channels"]:
            stations += c["stations"]
        inside = [s for s in stations if f["from_mm"] - 1 <= s["station_mm"] <= f["to_mm"] + 1]
        true = [min(bevel, key=lambda t: math.dist(t["at"][:2], s["at"][:2]))["station_mm"] for s in inside]
        if true:
            places.append((f, min(true), max(true)))
    spans = [(d["from_mm"], d["to_mm"], d["kind"])
             for d in truth["defects"]]

    def meets(a, b):
        return a[0] - NEAR_MM < b[1] and b[0] - NEAR_MM < a[1]

    false = [f"{f['feature']} {f['quantity']} {f['from_mm']:.0f}-{f['to_mm']:.0f}" for f, low, high in places
             if f["verdict"] == "fail" and not any(meets((low, high), s) for s in spans)]
    missed = [s[2] for s in spans if not any(meets((low, high), s) and f["quantity"] != "presence"
                                             for f, low, high in places)]
    return false, missed


def measure(program, folder, out, bar_mm):
    """Runs the inspection; how it went, in a line, or nothing where it could not measure."""
    bar = [] if bar_mm is None else ["--bar", str(bar_mm)]
    before, begin = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    run = subprocess.run([program, "inspect", folder / "plan.yaml", folder / "photos", "--out", out, "--quiet", *bar],
                         capture_output=True, text=True)
    wall, after = time.monotonic() - begin, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{wall:.0f} s wall, {cpu:.0f} s of processor time, at most {after.ru_maxrss / 1e6:.1f} GB so far; exit status "
          f"{run.returncode} {run.stderr.strip()}\n")
    return run.returncode in (0, 1, 3)


def report(name, result, truth):
    """Prints the set's table; its row of the last one."""
    print("| quantity | error: median, 95 % | median U95 | answered | covered |\n| --- | --- | --- | --- | --- |")
    rows = compare(result, truth)
    for quantity, row in rows.items():
        print(f"| {quantity} | {row.text()} |")
    false, missed = verdicts(result, truth)
    print(f"\nfalse fails: {'; '.join(false) or 'none'}; defects missed: {'; '.join(missed) or 'none'}\n")
    for note in result["notes"]:
        print(f"- {note}")
    angle, lower, upper, _, depth, width = rows.values()
    errors = " | ".join(row.error() for row in (angle, depth, width, lower, upper))
    answered = ", ".join(row.answered() for row in (angle, depth, width))
    covered = ", ".join(row.coverage() for row in (angle, depth, width, lower, upper))
    return f"| {name} | {errors} | {answered} | {covered} | {len(false)}, {len(missed)} |"


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("folder", type=pathlib.Path)
    arguments.add_argument("--sets", default=",".join(SETS))
    arguments.add_argument("--shots", type=int, default=24)
    arguments.add_argument("--width", type=int, default=4032)
    arguments.add_argument("--fresh", action="store_true", help="measure anew, without kept work")
    arguments.add_argument("--against", help="the program against_stereo, built by the preset bench")
    a = arguments.parse_args()
    names = list(ODD_SETS) if a.sets == "odd" else a.sets.split(",")
    last = []
    for name in names:
        one = {**SETS, **ODD_SETS}[name]
        rendered = {**SETS, **ODD_SETS}[one.photos_of or name]
        folder, out = a.folder / (one.photos_of or name), a.folder / name / "result"
        if not (folder / "truth.json").exists():
            render(a.program, rendered.how, folder, a.shots, a.width)
        if a.fresh and (out / "work").exists():
            for kept in (out / "work").iterdir():
                kept.unlink()
        print(f"\n### {name}\n")
        if not measure(a.program, folder, out, one.bar_mm):
            last.append(f"| {name} | refused" + " |" * 8)
            continue
        last.append(report(name, json.loads((out / "results.json").read_text()),
                           json.loads((folder / "truth.json").read_text())))
        sys.stdout.flush()
        if a.against:
            print(flush=True)
            subprocess.run([a.against, HERE / "body.yaml", folder], check=True)
    print("\n### All\n\n| set | angle, face >= 15 mm (deg) | depth (mm) | width (mm) | lower edge (mm) | upper edge (mm) | "
          "answered: angle, depth, width (%) | U95 covers: angle, depth, width, edges (%) | false fails, missed |\n"
          "| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    print("\n".join(last))


if __name__ == "__main__":
    main()
