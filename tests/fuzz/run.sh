#!/bin/sh
# Builds every fuzzer with the address and undefined-behaviour sanitizers and runs each for the given time, two at once.
# usage: tests/fuzz/run.sh [SECONDS] [NAME...]    seconds each, 30 unless told; NAME of NAME_fuzz.cpp, all unless told
# What a fuzzer finds is left in build/sanitize/findings/; its exit status is then not 0.
set -eu
cd "$(dirname "$0")/../.."
seconds="${1:-30}"
[ $# -gt 0 ] && shift
names="${*:-$(ls tests/fuzz | sed -n 's/_fuzz\.cpp$//p')}"
[ -n "$names" ] || exit 1
cmake --preset fuzz >/dev/null
cmake --build --preset fuzz --target fuzzers
found=build/sanitize/findings
mkdir -p $found

# Inputs up to 64 KiB may not make a reader allocate more than 64 MiB at once; 20 s for one input, on a busy machine, is
# a hang.
fuzz() {
  mkdir -p "build/sanitize/grown/$1"
  if "build/sanitize/tests/fuzz/$1_fuzz" -max_total_time="$seconds" -max_len=65536 -timeout=20 -malloc_limit_mb=64 \
    -rss_limit_mb=2048 -print_final_stats=1 -artifact_prefix="$found/$1-" \
    "build/sanitize/grown/$1" "tests/fuzz/corpus/$1" >"$found/$1.log" 2>&1; then
    echo "$1: $(sed -n 's/^stat::number_of_executed_units: *//p' "$found/$1.log") inputs in $seconds s, nothing found"
  else
    echo "$1: FOUND"
    tail -n 40 "$found/$1.log"
    return 1
  fi
}

status=0
# shellcheck disable=SC2086
set -- $names
while [ $# -gt 0 ]; do
  fuzz "$1" &
  first=$!
  if [ $# -gt 1 ]; then
    fuzz "$2" || status=1
    shift
  fi
  shift
  wait $first || status=1
done
exit $status
