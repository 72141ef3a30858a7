"""Whole inspections against bare reads and chains of library defaults: medians of interleaved runs, as tables.

usage: whole_runs.py BUILD FILES BODY MILLIONS...   (run.sh does it all)
"""
import os
import platform
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

REPEATS = 3
POINTS_AT_DENSITY_1 = 1.0107 / 24  # million points of the body's band at one point a square millimetre


def simulate(program, body, folder, millions):
    """A scan of about that many points, with normals and colours; made once."""
    if (folder / "scan.ply").exists():
        return
    folder.mkdir(parents=True, exist_ok=True)
    density = millions / POINTS_AT_DENSITY_1
    text = Path(body).read_text().split("\nplan:")[0]
    text += f"\nscan: {{density: {min(density, 2000):.2f}, far_density: {far_density(density):.2f}, "
    text += "normals: true, colours: true}\nplan:\n  block: {top: 42, side: 24, keep: 3}\n"
    (folder / "body.yaml").write_text(text)
    subprocess.run([program, "simulate", folder / "body.yaml", "--out", folder, "--seed", "3"], check=True,
                   stdout=subprocess.DEVNULL)


def far_density(density):
    """A quarter of the near density; all of it where the near one is at its limit."""
    return min(2000, density / 4 if density <= 2000 else density)


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


def jobs_for(build, folder, with_chains):
    inspect = [build / "src/app/rimwright", "inspect", folder / "plan.yaml", folder / "scan.ply", "--quiet", "--out",
               folder / "result"]
    baseline = build / "tests/bench/baseline_chain"
    jobs = {
        "plain read of the bytes": lambda: plain_fread(folder / "scan.ply"),
        "PCL, bare read": lambda: run([baseline, "pcl", "read", folder / "scan.ply"]),
        "Open3D, bare read": lambda: run([baseline, "open3d", "read", folder / "scan.ply"]),
        "rimwright inspect, 1 thread": lambda: run(inspect + ["--threads", "1"]),
        "rimwright inspect, 2 threads": lambda: run(inspect + ["--threads", "2"]),
    }
    if with_chains:
        jobs["PCL, chain of defaults"] = lambda: run([baseline, "pcl", "chain", folder / "scan.ply"])
        jobs["Open3D, chain of defaults"] = lambda: run([baseline, "open3d", "chain", folder / "scan.ply"])
    return jobs


def measure(build, folder, millions):
    jobs = jobs_for(build, folder, with_chains=millions <= 30)
    samples = {name: [] for name in jobs}
    for _ in range(REPEATS):  # interleaved, so that a busy minute falls on all alike
        for name, job in jobs.items():
            samples[name].append(job())
    medians = {name: tuple(statistics.median(s[k] for s in runs) for k in range(3)) for name, runs in samples.items()}
    shutil.rmtree(folder / "result", ignore_errors=True)
    return medians


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
        subprocess.run([build / "tests/bench/stages_bench", folder / "plan.yaml", folder / "scan.ply"], check=True,
                       stderr=subprocess.DEVNULL)


if __name__ == "__main__":
    main()
