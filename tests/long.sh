#!/bin/sh
# The long runs, which look for what the tests of every day have no time for.
#   long.sh SECTION MINUTES      MINUTES for the section
# Sections:
#   world    fresh days of the whole service in a simulated studio (tests/world); a day that violates something is said with the
#            command that plays it again
# Exit codes: 0 nothing found, 1 something found or not built, 64 usage.
set -eu

usage() {
    sed -n '2,7s/^# \{0,1\}//p' "$0" >&2
    exit 64
}
[ $# -eq 2 ] || usage
section=$1
minutes=$2
case "$minutes" in '' | *[!0-9]*) usage ;; esac
cd "$(dirname "$0")/.."

world() {
    cmake --preset release >/dev/null
    cmake --build --preset release --target bowarm_world >/dev/null
    nice -n 10 build/release/tests/world/bowarm_world --fresh --stories 0 --minutes "$minutes"
}

case "$section" in
world) world ;;
*) usage ;;
esac
