#!/bin/sh
# Looks at the sources: sh tests/lint.sh [format|tidy] [FILE...]
#   format   clang-format finds nothing to change in any C++ file (seconds; the usual)
#   tidy     clang-tidy over the .cpp files named, or over all of src/ and pipelines/ (half an hour for all on two
#            cores; needs build/release configured: cmake --preset release)
set -eu
cd "$(dirname "$0")/.."
what="${1:-format}"
[ $# -gt 0 ] && shift
case $what in
  format)
    git ls-files '*.cpp' '*.h' | xargs clang-format --dry-run --Werror
    ;;
  tidy)
    if [ $# -gt 0 ]; then files=$*; else files=$(git ls-files 'src/*.cpp' 'pipelines/*.cpp'); fi
    # The sources are compiled by GCC; clang need not know each of its warnings.
    printf '%s\n' $files | nice -n 10 xargs -n 1 -P 2 clang-tidy -p build/release --quiet \
      --extra-arg=-Wno-unknown-warning-option
    ;;
  *)
    echo "tests/lint.sh: there is no '$what': format, tidy" >&2
    exit 2
    ;;
esac
