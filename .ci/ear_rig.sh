#!/usr/bin/env bash
# Listening through a real sound server: PulseAudio with a sink that goes nowhere, whose monitor is the microphone. A tone
# whose pitch is known is played into it and measured; a walk
# round a set; no microphone at all; and the tuner of the window, on a virtual display, if there is one. Run it from
# anywhere: .ci/ear_rig.sh. TARGET=DIR builds elsewhere, ULLAGE=FILE tries a program that is built already, DEATH=0 leaves
# the server alive, PICTURES=DIR keeps the picture.
set -euo pipefail
cd "$(dirname "$0")/.."

for tool in pulseaudio paplay sox; do
  if ! command -v "$tool" >/dev/null; then
    echo "skipped: no $tool (Debian: pulseaudio pulseaudio-utils sox libasound2-plugins)"
    exit 0
  fi
done
if ! ls /usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so >/dev/null 2>&1; then
  echo "skipped: no way from ALSA to PulseAudio (Debian: libasound2-plugins)"
  exit 0
fi

work=$(mktemp -d)
pids=()
stop() { for pid in "$@"; do kill "$pid" 2>/dev/null || true; wait "$pid" 2>/dev/null || true; done; }
trap 'stop "${pids[@]}"; rm -rf "$work"' EXIT
fail() {
  echo "error: $*" >&2
  tail -n 20 "$work"/*.log "$work"/*.json >&2 || true
  exit 1
}
# $1 tries a tenth of a second apart until the rest succeeds.
within() {
  local tries=$1
  shift
  for _ in $(seq "$tries"); do if "$@" >/dev/null 2>&1; then return 0; fi; sleep 0.1; done
  return 1
}

if [ -z "${ULLAGE:-}" ]; then
  # Builds the program too, as the tests have it already: by itself it has other features of its libraries, and all of
  # them would be built again.
  cargo test --locked --target-dir "${TARGET:-target}" --test rigs --no-run
  ULLAGE=${TARGET:-target}/debug/ullage
fi

# Pitches that are no round numbers of the rate; the second is what a bottle of the demo set should sound like.
tone() { sox -n -r 48000 -c 2 -b 16 "$2" synth 1.6 sine "$1" fade 0.05 1.6 0.1 gain -9 pad 0.5 0.7; }
tone 196.37 "$work/low.wav"
tone 441.21 "$work/high.wav"

export XDG_RUNTIME_DIR="$work/run"
mkdir -m 700 "$XDG_RUNTIME_DIR"
cat >"$work/alsa.conf" <<'X'
pcm.!default { type pulse
  device spk.monitor }
ctl.!default { type pulse }
X
export ALSA_CONFIG_PATH=$work/alsa.conf
server() {
  pulseaudio -n --daemonize=no --exit-idle-time=-1 --use-pid-file=no -L module-native-protocol-unix \
    -L "module-null-sink sink_name=spk rate=48000 channels=2 format=s16le" >>"$work/pulse.log" 2>&1 &
  pulse=$!
  pids+=("$pulse")
  within 100 pactl info || fail "the sound server does not answer"
}
# Starts the listener with the rest as its options; what it hears goes to $1.
listen() {
  local heard=$1
  shift
  "$ULLAGE" listen --live --host alsa --buffer-frames 2048 "$@" >"$heard" 2>"$work/ullage.log" &
  ear=$!
  pids+=("$ear")
  within 100 grep -q '^listening: ' "$work/ullage.log" || fail "the microphone did not open"
}
# Ends it as with Ctrl-C.
end() {
  kill -INT "$ear"
  local code=0
  wait "$ear" || code=$?
  [ "$code" = 0 ] || fail "the listener ended with $code"
}
# Plays $1 until there is a line that matches $2 in $3: a machine that is busy with other things tears a tone now and then,
# and a torn one is not told as a note.
play_until() {
  for try in 1 2 3; do
    timeout 30 paplay --device=spk "$1" || fail "nothing was played"
    if within 20 grep -qE "$2" "$3"; then
      echo "heard at try $try"
      return 0
    fi
  done
  return 1
}
# The last pitch in $1 must be within 2 cents of $2.
check_pitch() {
  grep -oE '"hz":[0-9.]+' "$1" | tail -1 | cut -d: -f2 | awk -v want="$2" '
    { hz = $1 }
    END { if (!hz) { print "nothing heard"; exit 1 }
      c = 1200 * log(hz / want) / log(2); printf "heard %.3f Hz, %+.3f cents from %s\n", hz, c, want
      exit (c < -2 || c > 2) }'
}

echo "=== no microphone"
code=0
"$ULLAGE" listen --live --host alsa --for-s 3 >"$work/none.log" 2>&1 || code=$?
[ "$code" = 1 ] || fail "without a server the end was $code, not 1"
grep -E '^error: cannot listen through a microphone' "$work/none.log" || fail "nobody said why"

server
echo "=== a pitch through the microphone"
listen "$work/notes.json" --json
play_until "$work/low.wav" '"hz"' "$work/notes.json" || fail "no note was heard"
check_pitch "$work/notes.json" 196.37 || fail "the pitch"

if [ "${DEATH:-1}" = 1 ]; then
  echo "=== the server dies and comes back"
  stop "$pulse"
  within 100 grep '^no sound: ' "$work/ullage.log" || fail "nobody said that the server is gone"
  kill -0 "$ear" || fail "the listener died with its server"
  opened() { [ "$(grep -c '^listening: ' "$work/ullage.log")" -ge 2 ]; }
  server
  within 400 opened || fail "the microphone did not come back"
  play_until "$work/high.wav" '"note":"A4"' "$work/notes.json" || fail "no note was heard again"
  check_pitch "$work/notes.json" 441.21 || fail "the pitch after the server came back"
fi
end

echo "=== a walk, hands free"
listen "$work/walk.log" --set presets/quay/set.toml --walk --within-cents 30
play_until "$work/high.wav" '^next: ' "$work/walk.log" || fail "the walk heard nothing"
end
cat "$work/walk.log"
grep -qE '^A4 .*in tune' "$work/walk.log" || fail "A4 was not in tune"
grep -qE '^1 of [0-9]+ in tune' "$work/walk.log" || fail "no sum at the end"

echo "=== the tuner of the window"
for tool in Xvfb xdotool import; do
  if ! command -v "$tool" >/dev/null; then
    echo "skipped: no $tool (Debian: xvfb xdotool imagemagick)"
    echo "=== heard the rest of it"
    exit 0
  fi
done
wanted_hz=446.03 # what the only bottle of the set is heard at: 24 cents above its note
tone $wanted_hz "$work/sharp.wav"
sed '/^\[\[pour\]\]/,$d' presets/quay/set.toml >"$work/set.toml"
printf '[[pour]] # the only one\nnote = "A4"\nbottle = "jetty sauce"\nfill_ml = 103.09 # by hand\n' >>"$work/set.toml"
export XDG_CONFIG_HOME="$work/config" # nobody's own settings
display=":$((90 + $$ % 400))"
Xvfb "$display" -screen 0 1600x1000x24 -nolisten tcp -noreset >"$work/xvfb.log" 2>&1 &
pids+=("$!")
export DISPLAY="$display"
within 100 xdotool getdisplaygeometry || fail "no display"
"$ULLAGE" play "$work/set.toml" --host alsa --dry --measure 2>"$work/window.log" &
player=$!
pids+=("$player")
within 200 xdotool search --onlyvisible --name ' ullage$' || fail "no window"
window=$(xdotool search --onlyvisible --name ' ullage$' | head -1)
within 200 grep -q '^first frame' "$work/window.log" || fail "no frame"
xdotool windowmove "$window" 0 0 windowsize "$window" 1600 1000
within 50 xdotool windowfocus "$window" || fail "the window takes no keys"
sleep 1
is_open() { pactl list short source-outputs | grep -q .; }
is_closed() { ! is_open; }
click() { xdotool mousemove "$1" "$2" click 1; sleep 0.3; }
is_closed || fail "the microphone is open and nobody asked for it"
# A twin of the window, drawn without a display, says where what is pressed stands.
RIG_SET="$work/set.toml" cargo test --locked --target-dir "${TARGET:-target}" --test rigs -- --ignored --nocapture \
  lesson::places_in_the_tuner >"$work/places.log"
place() { awk -v what="$1" '$1 == "place" && $2 == what { print $3, $4 }' "$work/places.log"; }
press() {
  # shellcheck disable=SC2046
  click $(place "$1")
}
press tab
is_closed || fail "the microphone is open and nobody asked for it"
press listen
within 30 is_open || fail "nothing listens"
sleep 0.5
# Plays it, moves the fill to what was heard and saves, until the file says so.
is_moved() { ! grep -q '^fill_ml = 103.09 ' "$work/set.toml" && grep -q '^fill_ml = .* # by hand$' "$work/set.toml"; }
for try in 1 2 3; do
  timeout 30 paplay --device=spk "$work/sharp.wav" || fail "nothing was played"
  sleep 0.5
  [ -z "${PICTURES:-}" ] || import -window root "$PICTURES/tuner.png"
  press different
  xdotool key ctrl+s
  if within 20 is_moved; then
    echo "heard at try $try"
    break
  fi
done
is_moved || fail "the fill did not move"
press listen
within 50 is_closed || fail "the microphone is still open"
"$ULLAGE" predict "$work/set.toml" --json | tr -d '\n ' >"$work/predicted.json"
grep -oE '"hz":4[34][0-9]\.[0-9]+' "$work/predicted.json" | head -1 >"$work/predicted.hz"
check_pitch "$work/predicted.hz" $wanted_hz || fail "the fill is not what was heard"
xdotool key ctrl+q
wait "$player" || fail "the window ended badly"
echo "=== heard all of it"
