#!/usr/bin/env bash
# Fuzzes everything that reads what others wrote, and everything that writes what others typed.
#   .ci/fuzz.sh                      each target for ten minutes
#   .ci/fuzz.sh SECONDS [TARGET]...  so long, these only; SECONDS=0 builds them and reads their seeds
# It needs a nightly compiler and cargo-fuzz. What is found goes to tests/data/broken/ with a test that reads it; a seed that
# reaches something new may go to fuzz/seeds/.
set -euo pipefail
cd "$(dirname "$0")/../fuzz"

if ! cargo +nightly fuzz --version >/dev/null 2>&1; then
  echo "skipped: it takes a nightly compiler (rustup toolchain install nightly) and cargo-fuzz (cargo install cargo-fuzz --locked)"
  exit 0
fi
seconds=${1:-600}
shift || true
targets=("$@")
if [ "${#targets[@]}" = 0 ]; then mapfile -t targets < <(cargo +nightly fuzz list); fi

# Built once for all of them.
cargo +nightly fuzz build
broken=()
for target in "${targets[@]}"; do
  mkdir -p "corpus/$target"
  folders=("corpus/$target")
  if [ -d "seeds/$target" ]; then folders+=("seeds/$target"); fi
  options=(-malloc_limit_mb=256 -rss_limit_mb=1500)
  # A page is rendered, which takes its time.
  if [ "$target" = page ]; then options+=(-timeout=20); else options+=(-timeout=1); fi
  if [ -e "$target.dict" ]; then options+=("-dict=$target.dict"); fi
  if [ "$seconds" = 0 ]; then options+=(-runs=0); else options+=("-max_total_time=$seconds"); fi
  echo "=== $target"
  if cargo +nightly fuzz run "$target" "${folders[@]}" -- "${options[@]}" >"corpus/$target.log" 2>&1; then
    tail -n 1 "corpus/$target.log"
  else
    tail -n 30 "corpus/$target.log"
    broken+=("$target")
  fi
done
if [ "${#broken[@]}" -gt 0 ]; then
  echo "error: found in ${broken[*]}; what was read is in fuzz/artifacts/" >&2
  exit 1
fi
echo "${#targets[@]} targets, nothing found"
