"""Whole inspections against bare reads and chains of library defaults: medians of interleaved runs, as tables.

usage: whole_runs.py BUILD FILES BODY MILLIONS...   (run.sh does it all)
"""
import math
import os
import platform
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

import against_truth
import chain_truth

REPEATS = 3
EVERY_POINT_SETTINGS = Path(__file__).with_name("every_point.yaml")
LEAF_MM = 0.5  # of the chains' voxels: the narrowest ledge, 0.65 mm, still gets a point; finer ones took minutes
LARGEST_FOR_OTHERS = 30  # million points; beyond, only the inspection is run, once: others would hold 5 to 8 GB
POINTS_AT_DENSITY_1 = 1.0107 / 24  # million points of the body's band at one point a square millimetre


CHAINS = {"pcl": "PCL, chain of defaults", "open3d": "Open3D, chain of defaults"}
EVERY_POINT = "rimwright inspect, 2 threads, every point in every stage"

MOST_AT_ONCE = 34  # million points; the simulator holds a scan in memory, and refuses more than 60 million


def simulate(program, body, folder, millions):
    """A scan of about that many points, with normals and colours; made once. Larger ones are put together."""
    if (folder / "scan.ply").exists():
        return
    parts = max(1, math.ceil(millions / MOST_AT_ONCE))
    density = millions / parts / POINTS_AT_DENSITY_1
    text = Path(body).read_text().split("\nplan:")[0]
    text += f"\nscan: {{density: {density:.2f}, far_density: {density / 4:.2f}, pose: body, "
    text += "normals: true, colours: true}\nplan:\n  block: {top: 42, side: 24, keep: 3}\n"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "body.yaml").write_text(text)
    for part in range(parts):
        out = folder if parts == 1 else folder / f"part{part}"
        subprocess.run([program, "simulate", folder / "body.yaml", "--out", out, "--seed", str(3 + part)], check=True,
                       stdout=subprocess.DEVNULL)
    if parts > 1:
        put_together([folder / f"part{part}" for part in range(parts)], folder)


def put_together(parts, folder):
    """One PLY of several of the same layout, under the first one's plan."""
    total = sum(points_of(part) for part in parts)
    with open(folder / "scan.ply", "wb") as whole:
        for number, part in enumerate(parts):
            with open(part / "scan.ply", "rb") as stream:
                header = b""
                while not header.endswith(b"end_header\n"):
                    header += stream.readline()
                if number == 0:
                    count = f"element vertex {points_of(part)}\n".encode()
                    whole.write(header.replace(count, f"element vertex {total}\n".encode()))
                shutil.copyfileobj(stream, whole, 1 << 20)
    shutil.copy(parts[0] / "plan.yaml", folder)
    for part in parts:
        shutil.rmtree(part)


def run(command):
    """Wall seconds, processor seconds, peak megabytes and output of one process."""
    begin = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    output = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.stdout.close()
    code = os.waitstatus_to_exitcode(status)
    process.returncode = code
    if code not in (0, 1, 3):
        sys.exit(f"{' '.join(map(str, command))}: exit status {code}")
    return time.perf_counter() - begin, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, output


def plain_fread(file):
    begin, cpu = time.perf_counter(), time.process_time()
    buffer = bytearray(1 << 20)
    with open(file, "rb", buffering=0) as stream:
        while stream.readinto(buffer):
            pass
    return time.perf_counter() - begin, time.process_time() - cpu, 0.0, ""


def jobs_for(build, folder, millions):
    scan = folder / "scan.ply"
    program = [build / "src/app/rimwright", "inspect", folder / "plan.yaml", scan, "--units", "mm", "--quiet"]
    inspect = {threads: program + ["--out", folder / f"result-{threads}", "--threads", str(threads)] for threads in (1, 2)}
    baseline = build / "tests/bench/baseline_chain"
    jobs = {
        "plain read of the bytes": lambda: plain_fread(scan),
        "rimwright inspect, 1 thread": lambda: run(inspect[1]),
        "rimwright inspect, 2 threads": lambda: run(inspect[2]),
    }
    if millions <= LARGEST_FOR_OTHERS:
        jobs[EVERY_POINT] = lambda: run(program + ["--out", folder / "result-every-point", "--threads", "2",
                                                    "--settings", EVERY_POINT_SETTINGS])
        jobs["PCL, bare read"] = lambda: run([baseline, "pcl", "read", scan])
        jobs["Open3D, bare read"] = lambda: run([baseline, "open3d", "read", scan])
        chain_truth.write_rim(folder)
        for library, name in CHAINS.items():
            jobs[name] = lambda library=library: run([baseline, library, "chain", scan, str(LEAF_MM),
                                                      folder / "rim.txt", folder / f"chain-{library}.txt"])
    return jobs


def measure(build, folder, millions):
    jobs = jobs_for(build, folder, millions)
    samples = {name: [] for name in jobs}
    run_repeats = REPEATS if millions <= LARGEST_FOR_OTHERS else 1
    for _ in range(run_repeats):  # interleaved, so that a busy minute falls on all alike
        for name, job in jobs.items():
            samples[name].append(job())
    medians = {name: tuple(statistics.median(s[k] for s in runs) for k in range(3)) for name, runs in samples.items()}
    return medians


def print_accuracy(folder):
    """Errors against the simulator's truth with all stages as they are, and with every point in every stage."""
    both = [(folder / "result-2", "as it is"), (folder / "result-every-point", "every point")]
    if not (folder / "truth.json").exists() or not all(result.exists() for result, _ in both):
        return
    print("| against truth | chain | measured | median error | 95 % | within U95 |\n| --- | --- | --- | --- | --- | --- |")
    summaries = [(against_truth.summary(folder, result), chain) for result, chain in both]
    for number, row in enumerate(summaries[0][0][0]):
        unit = "deg" if row[0] == "angle" else "mm"
        for (rows, _, _), chain in summaries:
            quantity, measured, stations, median, high, covered = rows[number]
            print(f"| {quantity} ({unit}) | {chain} | {measured} of {stations} | {median:.5f} | {high:.5f} | "
                  f"{100 * covered:.1f} % |")
    for library, chain in CHAINS.items():
        for quantity, measured, stations, median, high in chain_truth.rows_of(folder, folder / f"chain-{library}.txt"):
            unit = "deg" if quantity == "angle" else "mm"
            print(f"| {quantity} ({unit}) | {chain} | {measured} of {stations} | {median:.5f} | {high:.5f} | |")
    verdicts = ", ".join(f"{chain}: {verdict}, {findings} findings" for (_, verdict, findings), chain in summaries)
    print(f"\nVerdict on this sound body, {verdicts}.\n", flush=True)


def print_alike(build, folder):
    """Whether 1, 2 and 3 threads wrote the same bytes; PDFs hold the time of their making."""
    run([build / "src/app/rimwright", "inspect", folder / "plan.yaml", folder / "scan.ply", "--units", "mm", "--quiet",
         "--out", folder / "result-3", "--threads", "3"])
    files = sorted(f.name for f in (folder / "result-2").iterdir() if f.suffix != ".pdf")
    differing = [name for name in files
                 if len({(folder / f"result-{threads}" / name).read_bytes() for threads in (1, 2, 3)}) > 1]
    print("1, 2 and 3 threads: " + ("differing " + ", ".join(differing) if differing else
                                    "the same bytes in " + ", ".join(files)) + "\n", flush=True)


def points_of(folder):
    with open(folder / "scan.ply", "rb") as stream:
        for line in stream:
            if line.startswith(b"element vertex"):
                return int(line.split()[2])
    return 0


def main():
    build, files, body = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    sizes = [float(a) for a in sys.argv[4:]]
    print(f"{time.strftime('%Y-%m-%d')}, {os.cpu_count()}-core {platform.machine()} virtual machine, load "
          f"{os.getloadavg()[0]:.1f} at the start; medians of {REPEATS}; wall and processor seconds\n")
    growth = []
    for millions in sizes:
        folder = files / f"{millions:g}"
        simulate(build / "src/app/rimwright", body, folder, millions)
        points = points_of(folder)
        medians = measure(build, folder, millions)
        ours, ours_one = medians["rimwright inspect, 2 threads"], medians["rimwright inspect, 1 thread"]
        print(f"| {points / 1e6:.1f} million points | wall, s | processor, s | peak, MB | wall / inspect | "
              "processor / inspect |\n| --- | --- | --- | --- | --- | --- |")
        for name, (wall, cpu, peak) in medians.items():
            print(f"| {name} | {wall:.2f} | {cpu:.2f} | {peak:.0f} | {wall / ours[0]:.2f} | {cpu / ours[1]:.2f} |")
        print(flush=True)
        print(f"Load {os.getloadavg()[0]:.1f} behind these runs.\n")
        print_accuracy(folder)
        print_alike(build, folder)
        for result in folder.glob("result*"):
            shutil.rmtree(result)
        growth.append((points, ours[0], ours_one[1], ours[2]))
    print("| points, million | inspect, wall s | processor s, 1 thread | us a point | peak, MB | 40 B a point + 200 MB |\n"
          "| --- | --- | --- | --- | --- | --- |")
    for points, wall, cpu, peak in growth:
        print(f"| {points / 1e6:.1f} | {wall:.2f} | {cpu:.2f} | {cpu / points * 1e6:.2f} | {peak:.0f} | "
              f"{40 * points / 1e6 + 200:.0f} |")
    print(flush=True)
    largest = max((s for s in sizes if s <= 10), default=None)
    if largest is not None:
        folder = files / f"{largest:g}"
        subprocess.run([build / "tests/bench/stages_bench", folder / "plan.yaml", folder / "scan.ply",
                        "--benchmark_enable_random_interleaving=true"], check=True, stderr=subprocess.DEVNULL)


if __name__ == "__main__":
    main()
