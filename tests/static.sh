#!/bin/sh
# Reads the whole source with clang-tidy and cppcheck, by .clang-tidy and the list below; both must end without a finding.
#   static.sh BUILD_FOLDER [FILE...]      a folder configured with -DCMAKE_EXPORT_COMPILE_COMMANDS=ON, as the presets are; FILE: those alone
# About ten minutes of two cores.  Exit codes: 0 clean, 1 findings, 64 usage, 69 a program is missing.
set -eu

[ $# -ge 1 ] || {
    echo "usage: static.sh BUILD_FOLDER [FILE...]" >&2
    exit 64
}
build=$(cd "$1" && pwd)
shift
cd "$(dirname "$0")/.."
for program in clang-tidy cppcheck; do
    command -v $program >/dev/null || {
        echo "static.sh: $program is missing; install it with apt-get install $program" >&2
        exit 69
    }
done
[ -f "$build/compile_commands.json" ] || {
    echo "static.sh: $build has no compile_commands.json; configure it with a preset" >&2
    exit 64
}
[ $# -gt 0 ] || set -- $(find daemon -name '*.cpp' | sort)

result=0
# The system's headers are not ours; flags that only gcc knows are no finding.
printf '%s\n' "$@" | xargs -P 2 -n 4 clang-tidy --quiet -p "$build" --extra-arg=-Wno-unknown-warning-option 2>/dev/null || result=1

# What is left out of cppcheck (2.10 was used), each for a reason:
#   missingIncludeSystem, unmatchedSuppression: about cppcheck itself
#   syntaxError, internalAstError, compareBoolExpressionWithInt, incorrectStringBooleanError, ignoredReturnValue: it takes some C++20 (<=>,
#   structured choices between texts, chains of append) for something else; the compilers do not
#   passedByValue: clang-tidy's performance-unnecessary-value-param knows better where it matters
#   returnStdMoveLocal: told of a reference, which has to be moved from by name; duplicateAssignExpression: the first of a row is its least
#   and its most
#   noExplicitConstructor: a KeyRow is meant to be made of its facts
cppcheck --quiet --std=c++20 --language=c++ --enable=warning,performance,portability --inline-suppr --error-exitcode=1 -j 2 -I daemon \
    --suppress=missingIncludeSystem --suppress=unmatchedSuppression --suppress=syntaxError --suppress=internalAstError \
    --suppress=compareBoolExpressionWithInt --suppress=incorrectStringBooleanError --suppress=ignoredReturnValue \
    --suppress=passedByValue --suppress=noExplicitConstructor --suppress=returnStdMoveLocal --suppress=duplicateAssignExpression \
    --template='{file}:{line}: {severity}: {message} [{id}]' "$@" || result=1
exit $result
