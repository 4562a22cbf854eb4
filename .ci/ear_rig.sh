#!/usr/bin/env bash
# Listening through a real sound server: jackd with its dummy driver, a recording whose pitch is known played into the
# microphone's port; the server is killed under the listener and started again; and no microphone at all.
# Run it from anywhere: .ci/ear_rig.sh. TARGET=DIR builds elsewhere.
set -euo pipefail
cd "$(dirname "$0")/.."

for tool in jackd jack_lsp jack_connect jack-play sox; do
  if ! command -v "$tool" >/dev/null; then
    echo "skipped: no $tool (Debian: jackd2 jack-tools sox libjack-jackd2-dev)"
    exit 0
  fi
done
if [ -z "${ULLAGE:-}" ] && ! pkg-config --exists jack; then
  echo "skipped: no headers of JACK (Debian: libjack-jackd2-dev)"
  exit 0
fi

rate=48000
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

# ULLAGE=FILE HOST_NAME=alsa PERIOD=2048 tries a program that was built without JACK, through ALSA's plugin for it (Debian:
# libasound2-plugins); on a busy machine that way tears the sound.
if [ -z "${ULLAGE:-}" ]; then
  cargo build --locked --no-default-features --features jack --target-dir "${TARGET:-target}"
  ULLAGE=${TARGET:-target}/debug/ullage
fi
host=${HOST_NAME:-jack}
cat >"$work/alsa.conf" <<'X'
pcm.jk { type jack
  playback_ports { 0 system:playback_1 }
  capture_ports { 0 system:capture_1 } }
pcm.!default { type plug slave.pcm "jk" }
ctl.!default { type null }
X
export ALSA_CONFIG_PATH=$work/alsa.conf

# Pitches that are no round numbers of the rate; the second is what a bottle of the demo set should sound like.
sox -n -r $rate -c 1 -b 24 "$work/tone.wav" synth 1.6 sine 196.37 fade 0.05 1.6 0.1 gain -9 pad 2 0.6
sox -n -r $rate -c 1 -b 24 "$work/tone2.wav" synth 1.6 sine 441.21 fade 0.05 1.6 0.1 gain -9 pad 2 0.6

export JACK_DEFAULT_SERVER="ullage-ear$$"
server() {
  # Without the right to real-time scheduling the server still runs, on a machine that is not busy.
  jackd -R -P 60 -n "$JACK_DEFAULT_SERVER" -d dummy -r "$rate" -p "${PERIOD:-256}" >>"$work/jackd.log" 2>&1 &
  jack=$!
  pids+=("$jack")
  within 50 jack_lsp || fail "jackd does not answer"
}
port() { jack_lsp 2>/dev/null | grep -m1 -E '^(ullage.*:in_000|cpal_client_.*:in_0)$'; }
# The tone begins two seconds after the player: there is time to connect it.
play() {
  within 300 port || fail "no input of ullage in the graph"
  timeout 30 jack-play -u -n earplay "$1" >>"$work/play.log" 2>&1 &
  player=$!
  within 30 jack_connect earplay:out_1 "$(port)" || fail "the player is not connected"
  wait "$player" || true
}
# Plays $1 until there is a line that matches $2 in $3; a machine that is busy with other things tears a tone now and then, and
# a torn one is not told as a note.
play_until() {
  for try in 1 2 3 4; do
    play "$1"
    if within 20 grep -qE "$2" "$3"; then
      echo "heard at try $try"
      return 0
    fi
  done
  return 1
}
# The cents between the hz of the last object of $1 and $2 must be less than 2.
check_pitch() {
  grep -oE '"hz":[0-9.]+' "$1" | tail -1 | cut -d: -f2 | awk -v want="$2" '
    { hz = $1 }
    END { if (!hz) { print "nothing heard"; exit 1 }
      c = 1200 * log(hz / want) / log(2); printf "heard %.3f Hz, %+.3f cents from %s\n", hz, c, want
      exit (c < -2 || c > 2) }'
}

echo "=== no microphone"
export JACK_NO_START_SERVER=1
code=0
JACK_DEFAULT_SERVER=nobody$$ "$ULLAGE" listen --live --host "$host" --for-s 3 >"$work/none.log" 2>&1 || code=$?
[ "$code" = 1 ] || fail "without a server the end was $code, not 1"
grep -E '^error: cannot listen through a microphone' "$work/none.log" || fail "nobody said why"

server
echo "=== a pitch through the microphone"
"$ULLAGE" listen --live --host "$host" --json >"$work/notes.json" 2>"$work/ullage.log" &
ear=$!
pids+=("$ear")
play_until "$work/tone.wav" '"hz"' "$work/notes.json" || fail "no note was heard"
check_pitch "$work/notes.json" 196.37 || fail "the pitch"

echo "=== the server dies and comes back"
stop "$jack"
within 100 grep -q '^no sound: ' "$work/ullage.log" || fail "nobody said that the server is gone"
kill -0 "$ear" || fail "the listener died with its server"
server
within 400 port || fail "the input did not come back"
play_until "$work/tone2.wav" '"note":"A4"' "$work/notes.json" || fail "no note was heard again"
check_pitch "$work/notes.json" 441.21 || fail "the pitch after the server came back"
kill -INT "$ear"
code=0
wait "$ear" || code=$?
[ "$code" = 0 ] || fail "the listener ended with $code"

echo "=== a walk, hands free"
"$ULLAGE" listen --live --host "$host" --set presets/quay/set.toml --walk --within-cents 30 >"$work/walk.log" 2>"$work/walk_err.log" &
ear=$!
pids+=("$ear")
play_until "$work/tone2.wav" '^next: ' "$work/walk.log" || fail "the walk heard nothing"
kill -INT "$ear"
code=0
wait "$ear" || code=$?
[ "$code" = 0 ] || fail "the walk ended with $code"
cat "$work/walk.log"
grep -qE '^A4 .*in tune' "$work/walk.log" || fail "A4 was not in tune"
grep -qE '^1 of [0-9]+ in tune' "$work/walk.log" || fail "no sum at the end"
echo "=== all of it heard"
