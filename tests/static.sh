#!/bin/sh
# Reads the whole source with clang-tidy and cppcheck, by .clang-tidy and the list below; both must end without a finding.
#   static.sh BUILD_FOLDER            the whole of daemon/
#   static.sh BUILD_FOLDER --core     clang-tidy for the core alone, which has the lightest headers; cppcheck for all
#   static.sh BUILD_FOLDER FILE...    these files alone
# BUILD_FOLDER is one configured with -DCMAKE_EXPORT_COMPILE_COMMANDS=ON, as the presets are.
# Exit codes: 0 clean, 1 findings, 64 usage, 77 not run: a program is missing.
set -eu

[ $# -ge 1 ] || {
    echo "usage: static.sh BUILD_FOLDER [--core | FILE...]" >&2
    exit 64
}
build=$(cd "$1" && pwd)
shift
cd "$(dirname "$0")/.."
for program in clang-tidy cppcheck; do
    command -v $program >/dev/null || {
        echo "skipped: $program is not installed; sh tests/install.sh tests installs it"
        exit 77
    }
done
[ -f "$build/compile_commands.json" ] || {
    echo "static.sh: $build has no compile_commands.json; configure it with a preset" >&2
    exit 64
}

sources() { find "$@" -name '*.cpp' | sort; }
core="daemon/midi daemon/hear daemon/phrase daemon/bow daemon/stroke daemon/target daemon/player"
# Names without spaces: the lists split into their names.
# shellcheck disable=SC2086
case "${1-}" in
--core) tidied=$(sources $core -maxdepth 1) checked=$(sources daemon) ;;
'') tidied=$(sources daemon) checked=$tidied ;;
*) tidied=$* checked=$* ;;
esac

result=0
# Flags that only gcc knows are no finding.
# shellcheck disable=SC2016,SC2086
printf '%s\n' $tidied | xargs -P 2 -n 1 sh -c '
    said=$(clang-tidy --quiet -p "$0" --extra-arg=-Wno-unknown-warning-option "$1" 2>&1) && exit 0
    printf "%s\n" "$said" | grep -v " warnings\{0,1\} generated\.$"
    exit 1' "$build" || result=1

# What is left out of cppcheck (2.10 was used), each for a reason:
#   missingIncludeSystem, unmatchedSuppression: about cppcheck itself
#   syntaxError, internalAstError, compareBoolExpressionWithInt, incorrectStringBooleanError, ignoredReturnValue: it takes some C++20 (<=>,
#   structured choices between texts, chains of append) for something else; the compilers do not
#   passedByValue: clang-tidy's performance-unnecessary-value-param knows better where it matters
#   returnStdMoveLocal: told of a reference, which has to be moved from by name; duplicateAssignExpression: the first of a row is its least
#   and its most
#   noExplicitConstructor: a KeyRow is meant to be made of its facts
# shellcheck disable=SC2086
cppcheck --quiet --std=c++20 --language=c++ --enable=warning,performance,portability --inline-suppr --error-exitcode=1 -j 2 -I daemon \
    --suppress=missingIncludeSystem --suppress=unmatchedSuppression --suppress=syntaxError --suppress=internalAstError \
    --suppress=compareBoolExpressionWithInt --suppress=incorrectStringBooleanError --suppress=ignoredReturnValue \
    --suppress=passedByValue --suppress=noExplicitConstructor --suppress=returnStdMoveLocal --suppress=duplicateAssignExpression \
    --template='{file}:{line}: {severity}: {message} [{id}]' $checked || result=1
[ $result -eq 0 ] && echo "clean: clang-tidy on $(printf '%s\n' $tidied | wc -l) files, cppcheck on $(printf '%s\n' $checked | wc -l)"
exit $result
