#!/bin/sh
# Instructions an input or a wake takes, counted by valgrind: the same on every machine for the same build.
#   instructions.sh BUILD_FOLDER
set -eu
program=$1/tests/bench/instructions
for workload in song random; do
    calls=$("$program" "$workload")
    counted=$(valgrind --tool=callgrind --callgrind-out-file=/dev/null --toggle-collect='bowarm::test::run*' "$program" "$workload" 2>&1 |
        sed -n 's/.*Collected : \([0-9]*\).*/\1/p')
    echo "$workload: $calls inputs and wakes, $((counted / calls)) instructions each"
done
