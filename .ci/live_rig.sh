#!/usr/bin/env bash
# Playing live through a real sound server: jackd with its dummy driver, a note through its MIDI, the sound recorded
# and measured; then the server is killed under the player and started again.
# Run it from anywhere: .ci/live_rig.sh. TARGET=DIR builds elsewhere.
set -euo pipefail
cd "$(dirname "$0")/.."

. .ci/rig.sh "jackd2 jack-tools libjack-jackd2-dev" jackd jack_lsp jack_rec jack_midiseq jack_connect
needs_jack
target=${TARGET:-target}
rate=48000
key=69 # A4, which the demo set has

# The test needs the program, so that this builds both, and with what the window's rig needs: it comes next.
cargo test --locked --features jack --target-dir "$target" --test rigs --no-run

export JACK_DEFAULT_SERVER="ullage$$"
server() {
  # Without the right to real-time scheduling the server still runs, on a machine that is not busy.
  jackd -R -P 60 -n "$JACK_DEFAULT_SERVER" -d dummy -r "$rate" -p 256 >>"$work/jackd.log" 2>&1 &
  jack=$!
  pids+=("$jack")
  within 50 jack_lsp || fail "jackd does not answer"
}
port() { jack_lsp 2>/dev/null | grep -m1 -E "$1"; }

server
"$target/debug/ullage" play presets/quay/set.toml --headless --host jack --dry --json --midi plugged \
  >"$work/session.json" 2>"$work/ullage.log" &
player=$!
pids+=("$player")
within 100 port '^cpal_client_.*out_0$' || fail "no output of ullage in the graph"
within 100 port '^ullage:ullage$' || fail "no MIDI input of ullage in the graph"
out=$(port '^cpal_client_.*out_0$')

echo "=== pitch of a note"
jack_rec -f "$work/note.wav" -d 5 -b 16 "$out" "${out%0}1" >"$work/rec.log" 2>&1 &
recorder=$!
jack_midiseq rigseq 96000 0 "$key" 84000 >"$work/seq.log" 2>&1 &
sequencer=$!
pids+=("$sequencer")
within 50 port '^rigseq:out$' || fail "no sequencer in the graph"
jack_connect rigseq:out ullage:ullage
wait "$recorder" || fail "nothing was recorded"
stop "$sequencer"
hz=$("$target/debug/ullage" predict presets/quay/set.toml --json |
  tr -d '\n ' | grep -oE '"hz":4[34][0-9]\.[0-9]+' | head -1 | cut -d: -f2)
[ -n "$hz" ] || fail "the demo set predicts nothing near 440 Hz"
echo "planned $hz Hz"
# The one test of that name; a name that fits nothing would pass too.
rig() {
  cargo test --locked --no-default-features --features jack --target-dir "$target" --test rigs -- --ignored --nocapture "live::$1" |
    tee "$work/rig.log" && grep -q '^test result: ok\. 1 passed' "$work/rig.log"
}
RIG_WAV="$work/note.wav" RIG_HZ="$hz" rig pitch_of_a_recording || fail "the pitch"

echo "=== from key to sample"
RIG_OUT="$out" RIG_MIDI=ullage:ullage RIG_KEY=$key rig time_from_key_to_sample || fail "the delay"

echo "=== the server dies and comes back"
stop "$jack"
within 50 grep -q '^no sound: ' "$work/ullage.log" || fail "nobody said that the server is gone"
kill -0 "$player" || fail "the player died with its server"
server
within 400 port '^cpal_client_.*out_0$' || fail "the output did not come back"
within 400 port '^ullage:ullage$' || fail "the MIDI input did not come back"
out=$(port '^cpal_client_.*out_0$')
jack_rec -f "$work/again.wav" -d 6 -b 16 "$out" "${out%0}1" >>"$work/rec.log" 2>&1 &
recorder=$!
# Nobody connects this one: it is found within a second.
jack_midiseq plugged 96000 0 "$key" 84000 >>"$work/seq.log" 2>&1 &
sequencer=$!
pids+=("$sequencer")
wait "$recorder" || fail "nothing was recorded"
stop "$sequencer"
RIG_WAV="$work/again.wav" RIG_HZ="$hz" rig pitch_of_a_recording || fail "the pitch after the server came back"

echo "=== the end"
kill -INT "$player"
code=0
wait "$player" || code=$?
[ "$code" = 0 ] || fail "the player ended with $code"
cat "$work/ullage.log" "$work/session.json"
