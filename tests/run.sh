#!/bin/sh
# Installs, builds and runs all tests on Debian 12, as root or through sudo: sh tests/run.sh [STAGE...]
# A stage that cannot be run here fails; none is passed over.
#   format    clang-format finds nothing to change
#   sanitize  the tests of the program's own code under the address and undefined-behaviour sanitizers
#   fuzz      every reader under libFuzzer, 30 seconds each
#   threads   the tests with several threads under the thread sanitizer (by hand only: CI does not run it)
#   release   all tests as shipped (last, so that ctest's own summary closes the output)
# Without arguments: all but threads. About 35 minutes on two idle cores from nothing; ccache makes later runs short.
set -eu
root=$(cd "$(dirname "$0")/.." && pwd)
cd "$root"
stages=${*:-format sanitize fuzz release}

sh .ci/install.sh
jobs=$(nproc)
[ "$jobs" -le 2 ] || jobs=2  # the heavy headers take 2 GB a compiler
# The sanitizers of clang 14 crash now and then where the kernel randomises 32 bits of an address (vm.mmap_rnd_bits).
steady=
if setarch "$(uname -m)" -R true 2>/dev/null; then steady="setarch $(uname -m) -R"; fi

for stage in $stages; do
  echo "== $stage"
  case $stage in
    format)
      sh tests/lint.sh format
      ;;
    sanitize)
      cmake --preset sanitize >/dev/null
      cmake --build --preset sanitize --target sanitized_tests
      # Where ptrace is forbidden the leak checker cannot look, and fails everything; the other checks still can.
      probe="$steady build/sanitize/tests/core/measured_test"
      if ! $probe >/dev/null 2>&1 && ASAN_OPTIONS=detect_leaks=0 $probe >/dev/null 2>&1; then
        echo "leaks cannot be looked for here"
        export ASAN_OPTIONS=detect_leaks=0
      fi
      $steady ctest --test-dir build/sanitize -L sanitized --no-tests=error -j "$jobs" --output-on-failure
      ;;
    fuzz)
      $steady sh tests/fuzz/run.sh 30
      ;;
    threads)
      cmake --preset thread-sanitize >/dev/null
      cmake --build --preset thread-sanitize --target threaded_tests
      TSAN_OPTIONS="suppressions=$root/tests/tsan.supp" \
        $steady ctest --test-dir build/thread-sanitize -L threaded --no-tests=error -j "$jobs" --output-on-failure
      ;;
    release)
      cmake --preset release >/dev/null
      cmake --build --preset release
      ctest --test-dir build/release --no-tests=error -j "$jobs" --output-on-failure
      ;;
    *)
      echo "tests/run.sh: there is no stage '$stage': format, sanitize, fuzz, threads, release" >&2
      exit 2
      ;;
  esac
done
