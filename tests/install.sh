#!/bin/sh
# Installs the Debian packages that are missing to build, test and hear bowarm; says what it does.
#   install.sh           for building and playing
#   install.sh tests     and for the tests
# Needs root or sudo only when something is missing.  Exit codes: 0 done, 64 usage, 69 not possible here.
set -eu

# Names without spaces: left unquoted, the list splits into its names.
packages='g++ cmake ninja-build pkg-config ccache python3
librtmidi-dev libjack-jackd2-dev libboost1.81-dev libspdlog-dev libtoml11-dev zlib1g-dev doctest-dev
fluidsynth fluid-soundfont-gm'
case "${1-}" in
'') ;;
tests) packages="$packages python3-mido jackd2 libbenchmark-dev libstk-dev clang libclang-rt-14-dev midicsv abcmidi libsmf0 socat
bash-completion clang-tidy cppcheck lintian man-db python3-jsonschema strace systemd binutils util-linux valgrind" ;;
*)
    echo "usage: install.sh [tests]" >&2
    exit 64
    ;;
esac

if ! command -v dpkg-query >/dev/null 2>&1 || ! command -v apt-get >/dev/null 2>&1; then
    # shellcheck disable=SC2086
    echo "install.sh: this is no Debian system; install by hand:" $packages >&2
    exit 69
fi

missing=
for package in $packages; do
    state=$(dpkg-query -W -f '${db:Status-Abbrev}' "$package" 2>/dev/null || true)
    case "$state" in
    ii*) ;;
    *) missing="$missing $package" ;;
    esac
done
[ -n "$missing" ] || exit 0

echo "Installing with apt-get:$missing"
if [ "$(id -u)" -eq 0 ]; then
    as_root=
elif command -v sudo >/dev/null 2>&1; then
    as_root=sudo
else
    echo "install.sh: run as root or install sudo; these packages are missing:$missing" >&2
    exit 69
fi
quiet_install() {
    # shellcheck disable=SC2086
    # jackd2 would ask about real-time priority; the usual answer is taken.
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $missing </dev/null
}
if ! quiet_install; then
    echo "Reading the package lists anew"
    $as_root apt-get update </dev/null
    if ! quiet_install; then
        echo "install.sh: apt-get could not install:$missing; look at its message above" >&2
        exit 69
    fi
fi
