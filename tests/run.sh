#!/bin/sh
# Builds bowarm and runs every test; the last line is 'N passed, N failed'.
#   run.sh              the release build and all its tests
#   run.sh --sanitize   and the quick tests with the address and undefined-behaviour sanitizers, the threaded ones with
#                       the thread sanitizer
# Exit codes: 0 everything passed, 1 something failed or did not build, 64 usage, 69 packages are missing.
set -eu

sanitize=no
case "${1-}" in
'') ;;
--sanitize) sanitize=yes ;;
*)
    echo "usage: run.sh [--sanitize]" >&2
    exit 64
    ;;
esac

cd "$(dirname "$0")/.."
sh tests/install.sh tests

passed=0
failed=0

# count PRESET NAME: adds what the JUnit file of that run says; a run that wrote none has failed.
count() {
    numbers=$(python3 - "$1" <<'PYTHON'
import sys
import xml.etree.ElementTree as tree
try:
    suite = tree.parse(sys.argv[1]).getroot()
    left_out = int(suite.get("skipped", 0)) + int(suite.get("disabled", 0))
    print(int(suite.get("tests")) - int(suite.get("failures")) - left_out, int(suite.get("failures")))
except (OSError, tree.ParseError):
    print(0, 1)
PYTHON
    )
    passed=$((passed + ${numbers% *}))
    failed=$((failed + ${numbers#* }))
}

# build PRESET [CMAKE ARGUMENT...]
build() {
    preset=$1
    shift
    echo "== building $preset"
    cmake --preset "$preset" "$@" && cmake --build --preset "$preset"
}

# tests PRESET BUILD [CTEST ARGUMENT...]
tests() {
    preset=$1
    results=$PWD/build/$2/results.xml
    shift 2
    rm -f "$results"
    echo "== testing $preset"
    ctest --preset "$preset" --output-junit "$results" "$@" || true
    count "$results"
}

build_failed() {
    echo "== $1 did not build" >&2
    failed=$((failed + 1))
}

if build release; then tests full release; else build_failed release; fi
if [ "$sanitize" = yes ]; then
    if build asan; then tests asan asan; else build_failed asan; fi
    if build tsan; then tests tsan tsan; else build_failed tsan; fi
fi

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
