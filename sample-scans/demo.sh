#!/bin/sh
# Installs what is needed, builds the program and inspects a sample: sh sample-scans/demo.sh
# On a fresh Debian 12, as root or through sudo. Needs about 15 minutes on two cores the first time, most of it building.
set -eu
root=$(cd "$(dirname "$0")/.." && pwd)
cd "$root"
sh .ci/install.sh
cmake --preset release >/dev/null
cmake --build --preset release --target rimwright
sample=sample-scans/octave-mandola-first-pass
out=build/demo
echo
echo "Inspecting the scan of an octave mandola after its first pass of routing (invented)."
set +e
build/release/src/app/rimwright inspect "$sample/plan.yaml" "$sample/scan.ply" --out "$out"
status=$?
set -e
echo
case $status in
  0) echo "Everything passes." ;;
  1) echo "Something is out of tolerance, as it should be in this sample (exit status 1)." ;;
  3) echo "Something is undecided (exit status 3)." ;;
  *) echo "The inspection failed with exit status $status." >&2; exit "$status" ;;
esac
echo "Open the report in a browser: $root/$out/report.html"
