#!/bin/bash
# Builds the benchmarks, simulates scans of one body in several sizes, and prints the tables of tests/bench/whole.md.
# usage: tests/bench/run.sh [millions of points ...]      default: 0.5 1.5 5 10 25; add 100 for the bounded-memory run
# Files are kept in a temporary folder (RIMWRIGHT_BENCH_FILES) and reused; 25 million points take 0.7 GB.
set -euo pipefail
here="$(cd "$(dirname "$0")/../.." && pwd)"
files="${RIMWRIGHT_BENCH_FILES:-${TMPDIR:-/tmp}/rimwright-bench-files}"
sizes=("$@")
[ ${#sizes[@]} -gt 0 ] || sizes=(0.5 1.5 5 10 25)

cd "$here"
[ -f build/bench/build.ninja ] || cmake --preset bench >/dev/null
cmake --build --preset bench --target benchmarks >/dev/null
mkdir -p "$files"
exec python3 tests/bench/whole_runs.py build/bench "$files" sample-scans/bodies/octave-mandola-sound.yaml "${sizes[@]}"
