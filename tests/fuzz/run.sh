#!/bin/sh
# Builds every fuzzer with the address and undefined-behaviour sanitizers and runs each for the given time.
# usage: tests/fuzz/run.sh [SECONDS] [NAME...]    seconds each, 30 unless told; names as in corpus/, all unless told
# What a fuzzer finds is left in build/sanitize/findings/; its exit status is then not 0.
set -eu
cd "$(dirname "$0")/../.."
seconds="${1:-30}"
[ $# -gt 0 ] && shift
names="${*:-$(ls tests/fuzz/corpus)}"
cmake --preset fuzz >/dev/null
cmake --build --preset fuzz --target fuzzers
mkdir -p build/sanitize/findings
status=0
for name in $names; do
  echo "== $name, $seconds s"
  mkdir -p "build/sanitize/grown/$name"
  log="build/sanitize/findings/$name.log"
  # Inputs up to 64 KiB may not make a reader allocate more than 64 MiB at once; 10 s for one input is a hang.
  if "build/sanitize/tests/fuzz/${name}_fuzz" -max_total_time="$seconds" -max_len=65536 -timeout=10 -malloc_limit_mb=64 \
    -rss_limit_mb=2048 -print_final_stats=1 -artifact_prefix="build/sanitize/findings/$name-" \
    "build/sanitize/grown/$name" "tests/fuzz/corpus/$name" >"$log" 2>&1; then
    grep -E "number_of_executed_units|peak_rss" "$log"
  else
    status=1
    tail -n 40 "$log"
  fi
done
exit $status
