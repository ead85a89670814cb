#!/bin/sh
# Plays a performance through the real service and shows what the bow does.
#   try.sh [NAME]     a performance beside this script, without its ending; slow-song when no name is given
# On a bare Debian 12, as root or with sudo: installs what is missing, builds, plays in real time, and leaves the take, a
# report and a sound file under build/try/NAME.  Exit codes: 0 done, 64 usage, 66 no such performance, else of the step
# that failed.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$(dirname "$here")
name=${1-slow-song}
names=$(cd "$here" && echo *.mid | sed 's/\.mid//g')
case "$name" in
-*)
    echo "usage: try.sh [NAME], one of: $names" >&2
    exit 64
    ;;
esac
if [ $# -gt 1 ]; then
    echo "usage: try.sh [NAME], one of: $names" >&2
    exit 64
fi
performance=$here/$name.mid
if [ ! -f "$performance" ]; then
    echo "try.sh: there is no performance '$name'; there are: $names" >&2
    exit 66
fi

cd "$root"
bowarmd=$root/build/release/bowarmd
stand_in=$root/build/release/bowarm-stand-in
watch=$root/daemon/status/bowarm-watch
out=$root/build/try/$name
soundfont=/usr/share/sounds/sf2/FluidR3_GM.sf2
instrument=violin
[ "$name" != low-song ] || instrument=cello

# --- build, unless nothing has changed

# Newer than the program, or missing: then it is built.
needs_building() {
    [ -x "$bowarmd" ] && [ -x "$stand_in" ] || return 0
    [ -n "$(find daemon scenarios/stand_in CMakeLists.txt CMakePresets.json -newer "$bowarmd" \( -name '*.cpp' -o -name '*.hpp' -o -name 'CMake*' \) | head -n 1)" ]
}
if needs_building; then
    sh tests/install.sh
    echo "Building (the first time takes a few minutes)"
    cmake --preset release
    cmake --build --preset release --target bowarmd bowarm-stand-in
    touch "$bowarmd" # ninja leaves the program alone when only a comment's date has changed
fi

# --- a place of its own: its folder for sockets, its takes

rm -rf "$out"
mkdir -p "$out/takes"
private=
if [ -z "${XDG_RUNTIME_DIR-}" ] || [ ! -w "${XDG_RUNTIME_DIR-}" ]; then
    private=$(mktemp -d /tmp/bowarm-try.XXXXXX)
    XDG_RUNTIME_DIR=$private
    export XDG_RUNTIME_DIR
fi
socket=$XDG_RUNTIME_DIR/bowarm/status.sock
service=
clean_up() {
    trap - EXIT INT TERM HUP
    if [ -n "$service" ] && kill -TERM "$service" 2>/dev/null; then wait "$service" 2>/dev/null || true; fi
    [ -z "$private" ] || rm -rf "$private"
}
trap clean_up EXIT
trap 'clean_up; exit 130' INT
trap 'clean_up; exit 143' TERM HUP

# --- play

echo
sed -n '3,$p' "$here/$name.md"
echo
echo "Playing $name through bowarmd in real time"
"$bowarmd" run --as-root --config config/bowarm.toml --instrument "$instrument" --play "$performance" --takes "$out/takes" 2>"$out/service.log" &
service=$!

waited=0
while [ ! -S "$socket" ] && kill -0 "$service" 2>/dev/null && [ "$waited" -lt 50 ]; do
    sleep 0.1
    waited=$((waited + 1))
done

if [ -t 0 ] && [ -t 1 ]; then
    # The picture ends by itself when the service has played to the end; q ends it before, and the playing goes on.
    "$watch" --until-end --socket "$socket" || true
    ! kill -0 "$service" 2>/dev/null || echo "Playing on to the end; Ctrl-C stops"
else
    while kill -0 "$service" 2>/dev/null; do
        "$watch" --once --socket "$socket" 2>/dev/null || true
        sleep 2
    done
fi
outcome=0
wait "$service" || outcome=$?
service=
if [ "$outcome" -ne 0 ]; then
    cat "$out/service.log" >&2
    echo "try.sh: bowarmd ended with exit code $outcome; its messages are above" >&2
    exit "$outcome"
fi

# --- the take, and how it sounds

take=
for file in "$out"/takes/*.mid; do
    case "$file" in
    *-played.mid) ;;
    *) take=$file ;;
    esac
done
if [ ! -f "$take" ]; then
    cat "$out/service.log" >&2
    echo "try.sh: bowarmd kept no take in $out/takes; its messages are above" >&2
    exit 74
fi

# render GAIN
render() {
    fluidsynth -ni -q -g "$1" -F "$out/$name.wav" "$soundfont" "$take" >"$out/fluidsynth.log" 2>&1 || {
        cat "$out/fluidsynth.log" >&2
        echo "try.sh: fluidsynth could not make the sound file; its messages are above" >&2
        exit 74
    }
}

# loudest_to_half GAIN: the gain to render with, when GAIN gave the sound file that is there
loudest_to_half() {
    python3 - "$out/$name.wav" "$1" <<'PYTHON'
import array
import sys
import wave
with wave.open(sys.argv[1]) as sound:
    samples = array.array("h", sound.readframes(sound.getnframes()))
if sys.byteorder == "big":
    samples.byteswap()
print(round(min(10.0, float(sys.argv[2]) * 16384 / max(1, max(map(abs, samples), default=1))), 3))
PYTHON
}

echo
echo "Before you listen on headphones: turn the volume down, then up until it is comfortable."
if [ -f "$soundfont" ] && command -v fluidsynth >/dev/null 2>&1; then
    # Once to see how loud it is, then so that the loudest moment is half of full scale: a soft piece is heard, a loud one is
    # not cut off.  Gains above 10 fluidsynth does not take.
    render 0.5
    render "$(loudest_to_half 0.5)"
else
    echo "No sound file: fluidsynth or $soundfont is missing (tests/install.sh installs both)"
fi

# The same performance by our own small sampler, which needs no sound bank; the rest is there even if this fails.
{
    "$bowarmd" replay "$performance" --out "$out/stand-in.mid" --chart "$out/$name-bow.html" --config config/bowarm.toml --instrument "$instrument" --target stand-in &&
        "$stand_in" "$out/stand-in.mid" --out "$out/$name-stand-in.wav" --instrument "$instrument"
} || echo "try.sh: the stand-in sampler made no sound file; its messages are above" >&2

echo
echo "What was played:      ${take%.mid}-played.mid"
echo "What the target got:  $take"
echo "What the bow did:     ${take%.mid}.json"
[ ! -f "$out/$name-bow.html" ] || echo "The bow, drawn:       $out/$name-bow.html"
[ ! -f "$out/$name.wav" ] || echo "What it sounds like:  $out/$name.wav"
[ ! -f "$out/$name-stand-in.wav" ] || echo "By the stand-in:      $out/$name-stand-in.wav"
