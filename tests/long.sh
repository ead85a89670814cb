#!/bin/sh
# The long runs, which look for what the tests of every day have no time for.
#   long.sh SECTION MINUTES      MINUTES of CPU time for the section
#   long.sh static               takes the time that it takes
# Sections:
#   fuzz     each harness of tests/fuzz for its share of the minutes, beginning from its corpus and from what earlier runs kept in
#            build/fuzz-kept/NAME; then how much of the source that corpus reaches, by llvm-cov where it is installed.  What was found
#            lies in build/fuzz/found-NAME-*; BOWARM_HARNESSES="playing wishes" chooses
#   world    fresh days of the whole service in a simulated studio (tests/world); a day that violates something is said with the
#            command that plays it again
#   soak     random playing through a real JACK server that is killed now and then, with status clients that come and go
#            (tests/soak/soak.py); MINUTES of the clock
#   latency  how late notes are beside the plainest pass-through (tests/latency/latency.py), at periods of 16, 64 and 128 frames; prints
#            a table.  For a machine that does nothing else; MINUTES is not used
#   static   clang-tidy and cppcheck over the whole source (tests/static.sh); of every day is the core alone; MINUTES is not used
# Exit codes: 0 nothing found, 1 something found or not built, 64 usage, 69 something is missing here.
set -eu

usage() {
    sed -n '2,16s/^# \{0,1\}//p' "$0" >&2
    exit 64
}
[ "$*" = static ] && set -- static 0
[ $# -eq 2 ] || usage
section=$1
minutes=$2
case "$minutes" in '' | *[!0-9]*) usage ;; esac
cd "$(dirname "$0")/.."

harnesses=${BOWARM_HARNESSES:-midi_stream midi_file playing journal wishes rpc_lines toml_text configuration}

# build_harnesses FOLDER [CMAKE ARGUMENT...]
build_harnesses() {
    folder=$1
    shift
    cmake -S . -B "$folder" -G Ninja -DCMAKE_BUILD_TYPE=RelWithDebInfo -DBOWARM_FUZZ=ON -DCMAKE_CXX_COMPILER=clang++ \
        -DCMAKE_CXX_FLAGS_RELWITHDEBINFO="-O1 -gline-tables-only" "$@" >/dev/null
    cmake --build "$folder" >/dev/null
}

# run_harness NAME SECONDS: answers whether nothing was found.
run_harness() {
    words=tests/fuzz/$1.dict
    [ -f "$words" ] && words=-dict=$words || words=
    mkdir -p "build/fuzz-kept/$1"
    # shellcheck disable=SC2086
    UBSAN_OPTIONS=print_stacktrace=1 "build/fuzz/tests/fuzz/fuzz_$1" "-max_total_time=$2" -rss_limit_mb=1024 -timeout=60 -print_final_stats=1 \
        "-artifact_prefix=build/fuzz/found-$1-" $words "build/fuzz-kept/$1" "tests/fuzz/corpus/$1" >"build/fuzz/$1.log" 2>&1 || return 1
}

say_coverage() {
    if ! command -v llvm-profdata >/dev/null || ! command -v llvm-cov >/dev/null; then
        echo "no llvm-cov here (package llvm): libFuzzer's own count of edges is above"
        return
    fi
    build_harnesses build/fuzz-coverage -DBOWARM_COVERAGE=ON
    profiles=
    objects=
    for name in $harnesses; do
        LLVM_PROFILE_FILE=build/fuzz-coverage/$name.profraw "build/fuzz-coverage/tests/fuzz/fuzz_$name" -runs=0 \
            "build/fuzz-kept/$name" "tests/fuzz/corpus/$name" >/dev/null 2>&1 || true
        profiles="$profiles build/fuzz-coverage/$name.profraw"
        objects="$objects -object build/fuzz-coverage/tests/fuzz/fuzz_$name"
    done
    # shellcheck disable=SC2086
    llvm-profdata merge -o build/fuzz-coverage/all.profdata $profiles
    # shellcheck disable=SC2086
    llvm-cov report $objects -instr-profile=build/fuzz-coverage/all.profdata --ignore-filename-regex='/usr/|tests/' >build/fuzz-coverage/report.txt
    echo "lines reached (build/fuzz-coverage/report.txt has each file):"
    tail -n 1 build/fuzz-coverage/report.txt
}

fuzz() {
    command -v clang++ >/dev/null || {
        echo "long.sh: clang++ is not installed; sh tests/install.sh tests" >&2
        exit 69
    }
    build_harnesses build/fuzz
    # shellcheck disable=SC2086
    set -- $harnesses
    seconds=$((minutes * 60 / $#))
    found=0
    for name in "$@"; do
        if run_harness "$name" "$seconds"; then
            edges=$(grep -o 'cov: [0-9]* ft: [0-9]*' "build/fuzz/$name.log" | tail -n 1)
            runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "build/fuzz/$name.log")
            echo "$name: nothing found in $seconds s, $runs inputs, $edges"
        else
            found=1
            echo "$name: FOUND: $(grep -m 1 -e 'does not hold' -e 'ERROR' -e 'runtime error' "build/fuzz/$name.log"); see build/fuzz/$name.log"
        fi
    done
    say_coverage
    return $found
}

world() {
    build bowarm_world
    nice -n 10 build/release/tests/world/bowarm_world --fresh --minutes "$minutes"
}

# build TARGET...
build() {
    cmake --preset release >/dev/null
    cmake --build --preset release --target "$@" >/dev/null
}

soak() {
    build bowarmd jack_keyboard_probe
    python3 tests/soak/soak.py build/release/bowarmd . --minutes "$minutes"
}

latency() {
    build bowarmd bowarm-stand-in latency_probe pass_through
    python3 tests/latency/latency.py build/release . --real-time
}

static() {
    cmake --preset release >/dev/null
    sh tests/static.sh build/release || {
        code=$?
        [ $code -eq 77 ] && exit 69
        exit $code
    }
}

case "$section" in
fuzz) fuzz ;;
static) static ;;
world) world ;;
soak) soak ;;
latency) latency ;;
*) usage ;;
esac
