#!/usr/bin/env bash
# The Debian package: built, installed, looked at, removed. Run it from anywhere: .ci/deb.sh
# It is installed in a small Debian of its own where there is something to make one (as root, with the network: mmdebstrap,
# debootstrap or docker), else in an empty folder, which leaves out whether its dependencies are there. OFFLINE=1 takes the folder.
set -euo pipefail
cd "$(dirname "$0")/.."

target=${CARGO_TARGET_DIR:-target}
# What cargo deb is told to take is below target/, wherever that is.
assets=target/deb-assets
work=$(mktemp -d)
trap 'rm -rf --one-file-system "$work"' EXIT
left_out=()
fail() {
  echo "error: $*" >&2
  exit 1
}
has() { command -v "$1" >/dev/null; }

has dpkg-deb || fail "dpkg-deb is needed: this makes a package for Debian and its relatives"
cargo deb --version >/dev/null 2>&1 || cargo install cargo-deb --locked

echo "=== the program, and what it writes of itself"
# Built once: what is installed is what was built.
cargo build --release --locked
cargo install --locked --path . --root "$work/cargo" --quiet
[ "$("$work/cargo/bin/ullage" --version)" = "$("$target/release/ullage" --version)" ] || fail "cargo install brought another program"
bin=$target/release/ullage
rm -rf "$assets"
mkdir -p "$assets/man"
"$bin" man --out "$assets/man"
"$bin" completions bash >"$assets/ullage.bash"
"$bin" completions zsh >"$assets/_ullage"
"$bin" completions fish >"$assets/ullage.fish"
# A text that every Debian has is named there, not repeated.
"$bin" --licences=texts |
  sed '/^ *Version 2\.0, January 2004$/,/^ *END OF TERMS AND CONDITIONS$/c\                           Version 2.0: see /usr/share/common-licenses/Apache-2.0' \
    >"$assets/copyright"
grep -q common-licenses/Apache-2.0 "$assets/copyright" || fail "no Apache licence in the notices"

echo "=== the package"
deb=$(cargo deb --no-build --locked | tail -n 1)
[ -s "$deb" ] || fail "cargo deb has made no package: $deb"
dpkg-deb --field "$deb" Package Version Architecture Depends Recommends Installed-Size
dpkg-deb --contents "$deb" | awk '$1 !~ /^d/ { print substr($6, 2) }' | sort >"$work/files"

# Where each file must stand once it is installed.
{
  echo /usr/bin/ullage
  echo /usr/share/applications/ullage.desktop
  echo /usr/share/icons/hicolor/scalable/apps/ullage.svg
  echo /usr/share/bash-completion/completions/ullage
  echo /usr/share/zsh/vendor-completions/_ullage
  echo /usr/share/fish/vendor_completions.d/ullage.fish
  echo /usr/share/doc/ullage/copyright
  for page in "$assets"/man/*.1; do echo "/usr/share/man/man1/$(basename "$page").gz"; done
  git ls-files 'presets/*.toml' 'presets/*.mid' | sed 's|^presets|/usr/share/doc/ullage/examples|'
} | sort >"$work/wanted"
diff "$work/wanted" "$work/files" || fail "< is missing from the package, > is in it unasked"
echo "$(wc -l <"$work/files") files, $(du -k "$deb" | cut -f1) kB"

# Prints, below the folder $1, whatever of the package's files is there.
there() {
  while IFS= read -r file; do
    if [ -e "$1$file" ]; then echo "$file"; fi
  done <"$work/files"
}

# Runs what was installed below the folder $1 through the rest of the line.
look_at() {
  local root=$1 version
  shift
  [ "$(there "$root")" = "$(cat "$work/files")" ] || fail "not every file was installed below $root"
  version=$("$@" /usr/bin/ullage --version)
  [ "$version" = "$("$bin" --version)" ] || fail "what was installed says $version"
  "$@" /usr/bin/ullage predict /usr/share/doc/ullage/examples/quay/set.toml | grep -q 'harbour jug' || fail "it predicts nothing"
}

suite=$(. /etc/os-release && echo "${VERSION_CODENAME:-stable}")
small=$work/small
if [ "${OFFLINE:-0}" != 1 ] && [ "$(id -u)" = 0 ] && { has mmdebstrap || has debootstrap; }; then
  echo "=== installed and removed in a $suite of its own"
  if has mmdebstrap; then
    mmdebstrap --quiet --variant=apt "$suite" "$small"
  else
    debootstrap --variant=minbase "$suite" "$small" >"$work/debootstrap.log"
  fi
  # A small system leaves manual pages and examples out unless it is told otherwise.
  rm -f "$small"/etc/dpkg/dpkg.cfg.d/*
  cp "$deb" "$small/ullage.deb"
  chroot "$small" apt-get install -y -q --no-install-recommends /ullage.deb
  look_at "$small" chroot "$small"
  chroot "$small" apt-get purge -y -q ullage
elif [ "${OFFLINE:-0}" != 1 ] && has docker && docker info >/dev/null 2>&1; then
  echo "=== installed and removed in a container"
  small=""
  cp "$deb" "$work/ullage.deb"
  docker run --rm -v "$work:/work:ro" "debian:$suite" bash -euo pipefail -c '
    rm -f /etc/dpkg/dpkg.cfg.d/*
    apt-get update -q && apt-get install -y -q --no-install-recommends /work/ullage.deb
    while IFS= read -r file; do [ -e "$file" ] || { echo "missing: $file"; exit 1; }; done </work/files
    ullage --version
    ullage predict /usr/share/doc/ullage/examples/quay/set.toml | grep -q "harbour jug"
    apt-get purge -y -q ullage
    while IFS= read -r file; do [ ! -e "$file" ] || { echo "left behind: $file"; exit 1; }; done </work/files'
else
  echo "=== installed and removed in an empty folder"
  left_out+=("whether its dependencies are there (as root and with the network: mmdebstrap, debootstrap or docker)")
  mkdir -p "$small/var/lib/dpkg/info" "$small/var/lib/dpkg/updates"
  touch "$small/var/lib/dpkg/status"
  as_root=()
  if [ "$(id -u)" != 0 ]; then
    has fakeroot || fail "fakeroot is needed where this is not run as root"
    as_root=(fakeroot)
  fi
  pack() { "${as_root[@]}" dpkg --root="$small" --force-depends --force-not-root --force-bad-path --log="$work/dpkg.log" "$@"; }
  pack --install "$deb"
  # Without the folder's own libraries it runs on those of this system.
  below() { local program=$1 && shift && "$small$program" "${@/#\/usr\//"$small/usr/"}"; }
  look_at "$small" below
  pack --purge ullage
fi
if [ -n "$small" ]; then
  [ -z "$(there "$small")" ] || fail "left behind: $(there "$small")"
fi

echo "=== each file for itself"
dpkg-deb --extract "$deb" "$work/root"
share=$work/root/usr/share
if has man; then
  for page in "$share"/man/man1/*.gz; do
    said=$(LC_ALL=C.UTF-8 MANWIDTH=100 man --warnings -l "$page" 2>&1 >"$work/page.txt") || true
    [ -z "$said" ] || fail "$(basename "$page"): $said"
    grep -q '^SYNOPSIS' "$work/page.txt" || fail "$(basename "$page") has no synopsis"
  done
  echo "$(find "$share/man/man1" -name '*.gz' | wc -l) manual pages"
else
  left_out+=("the manual pages, since there is no man")
fi
if has desktop-file-validate; then
  desktop-file-validate "$share/applications/ullage.desktop"
else
  left_out+=("the desktop entry (desktop-file-utils)")
fi
bash -n "$share/bash-completion/completions/ullage"
if has zsh; then zsh -n "$share/zsh/vendor-completions/_ullage"; else left_out+=("zsh's completions, since there is no zsh"); fi
if has fish; then fish -n "$share/fish/vendor_completions.d/ullage.fish"; else left_out+=("fish's completions, since there is no fish"); fi
for words in 'Permission is hereby granted' 'Mozilla Public License' 'UBUNTU FONT LICENCE'; do
  grep -q "$words" "$share/doc/ullage/copyright" || fail "no $words in the notices"
done
if has lintian; then
  # No bug of Debian's is closed by it, it is nobody's to maintain under an address there, and there is no changelog of its packaging.
  lintian --fail-on error --suppress-tags no-changelog,maintainer-address-missing,malformed-contact "$deb"
else
  left_out+=("lintian")
fi

for what in "${left_out[@]}"; do echo "left out: $what"; done
echo "$deb"
