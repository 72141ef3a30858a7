#!/bin/sh
# Builds the benchmarks, simulates scans of one body in several sizes, and prints the tables of tests/bench/whole.md:
# times and memory, errors against truth with and without sampling, growth, and each stage.
# usage: sh tests/bench/run.sh [millions of points ...]    default: 0.5 1.5 5 10 25; 100 is read in blocks
# Files are kept in a temporary folder (RIMWRIGHT_BENCH_FILES) and reused; 25 million points take 0.7 GB.
set -eu
cd "$(dirname "$0")/../.."
files="${RIMWRIGHT_BENCH_FILES:-${TMPDIR:-/tmp}/rimwright-bench-files}"
[ $# -gt 0 ] || set -- 0.5 1.5 5 10 25

[ -f build/bench/build.ninja ] || cmake --preset bench >/dev/null
cmake --build --preset bench --target benchmarks >/dev/null
mkdir -p "$files"
exec python3 -B tests/bench/whole_runs.py build/bench "$files" sample-scans/bodies/octave-mandola-sound.yaml "$@"
