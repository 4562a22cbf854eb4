#!/usr/bin/env bash
# A lesson in the window, by pointer and keys alone, from the first bottle that is described to the piece that is practised: on
# a virtual display, through PulseAudio with a sink that goes nowhere, whose monitor is both the microphone and what is
# measured. Run it from anywhere: .ci/lesson_rig.sh. TARGET=DIR builds elsewhere, PICTURES=DIR keeps the pictures.
set -euo pipefail
cd "$(dirname "$0")/.."

for tool in Xvfb xdotool import pulseaudio pactl parec paplay; do
  if ! command -v "$tool" >/dev/null; then
    echo "skipped: no $tool (Debian: xvfb xdotool imagemagick pulseaudio pulseaudio-utils libasound2-plugins)"
    exit 0
  fi
done
if ! ls /usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so >/dev/null 2>&1; then
  echo "skipped: no way from ALSA to PulseAudio (Debian: libasound2-plugins)"
  exit 0
fi

target=${TARGET:-target}
work=$(mktemp -d)
pictures=${PICTURES:-$work}
mkdir -p "$pictures"
pids=()
stop() { for pid in "$@"; do kill "$pid" 2>/dev/null || true; wait "$pid" 2>/dev/null || true; done; }
trap 'stop "${pids[@]}"; rm -rf "$work"' EXIT
fail() {
  echo "error: $*" >&2
  tail -n 20 "$work"/*.log >&2 || true
  exit 1
}
# $1 tries a tenth of a second apart until the rest succeeds.
within() {
  local tries=$1
  shift
  for _ in $(seq "$tries"); do if "$@" >/dev/null 2>&1; then return 0; fi; sleep 0.1; done
  return 1
}

# The test needs the program, so that this builds both.
cargo test --locked --target-dir "$target" --test rigs --no-run
ullage="$target/debug/ullage"

export XDG_CONFIG_HOME="$work/config" XDG_RUNTIME_DIR="$work/run" WINIT_X11_SCALE_FACTOR=1
unset DBUS_SESSION_BUS_ADDRESS WAYLAND_DISPLAY
mkdir -p "$XDG_CONFIG_HOME/ullage" "$work/bin"
mkdir -m 700 "$XDG_RUNTIME_DIR"
echo 'looks = "dark"' >"$XDG_CONFIG_HOME/ullage/window.toml"
# Whatever would show a page writes down which one.
printf '#!/bin/sh\necho "$1" >>"%s/shown"\n' "$work" >"$work/bin/xdg-open"
chmod +x "$work/bin/xdg-open"

pulseaudio -n --daemonize=no --exit-idle-time=-1 --use-pid-file=no -L module-native-protocol-unix \
  -L "module-null-sink sink_name=spk rate=48000 channels=2 format=s16le" >"$work/pulse.log" 2>&1 &
pids+=("$!")
within 100 pactl info || fail "the sound server does not answer"
# Without somebody who wants it soon the sink takes two seconds at a time.
parec -d spk.monitor --latency-msec=20 >/dev/null 2>&1 &
pids+=("$!")
cat >"$work/alsa.conf" <<'X'
pcm.out { type pulse }
pcm.in { type pulse
  device spk.monitor }
pcm.!default { type asym
  playback.pcm "out"
  capture.pcm "in" }
ctl.!default { type pulse }
X

display=":$((90 + $$ % 400))"
Xvfb "$display" -screen 0 1600x1000x24 -nolisten tcp -noreset >"$work/xvfb.log" 2>&1 &
pids+=("$!")
export DISPLAY="$display"
within 100 xdotool getdisplaygeometry || fail "no display"
ALSA_CONFIG_PATH="$work/alsa.conf" PATH="$work/bin:$PATH" "$ullage" play --host alsa --dry --measure 2>"$work/ullage.log" &
player=$!
pids+=("$player")
within 300 xdotool search --onlyvisible --name ' ullage$' || fail "no window"
window=$(xdotool search --onlyvisible --name ' ullage$' | head -1)
within 300 grep -q '^first frame' "$work/ullage.log" || fail "no frame"
xdotool windowmove "$window" 0 0 windowsize "$window" 1600 1000
within 50 xdotool windowfocus "$window" || fail "the window takes no keys"
sleep 2

RIG_WINDOW="$window" RIG_WORK="$work" RIG_PICTURES="$pictures" \
  cargo test --locked --target-dir "$target" --test rigs -- --ignored --nocapture lesson::a_teacher | tee "$work/rig.log"
grep -q '^test result: ok\. 1 passed' "$work/rig.log" || fail "the lesson"
xdotool key --window "$window" ctrl+q
sleep 1
kill -0 "$player" 2>/dev/null && xdotool key ctrl+q
wait "$player" || fail "the window ended badly"
grep '^sound' "$work/ullage.log" || true
echo "=== the whole lesson"
