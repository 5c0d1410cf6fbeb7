# Shared by the scripts beside it; sourced, not run.
# Sets: root (the repository), cache (throw-away files), modules (of go.work).
set -euo pipefail

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cache=$root/.cache
mkdir -p "$cache/bin"
cd "$root"

# Every module of the workspace, by its folder.
mapfile -t modules < <(sed -n 's|^[[:space:]]*\./||p' go.work)

# say LINE...: to standard error; results alone go to standard output.
say() { printf '%s\n' "$@" >&2; }

die() {
	say "$(basename "$0"): $*"
	exit 1
}

# as_root COMMAND...: runs it as root, or fails when that cannot be had
# without a password.
as_root() {
	if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}

can_be_root() {
	[ "$(id -u)" = 0 ] || sudo -n true 2>/dev/null
}

# need COMMAND PACKAGE...: makes sure that COMMAND is there; installs the
# Debian packages when it is not.
need() {
	local command=$1
	shift
	PATH=$PATH:/usr/sbin:/sbin command -v "$command" >/dev/null && return
	if ! command -v apt-get >/dev/null || ! can_be_root; then
		die "$command is missing and cannot be installed from here. Install it (on Debian, as root: apt-get install $*) and start again."
	fi
	say "installing $* (for $command)"
	if [ ! -e "$cache/apt-updated" ]; then
		as_root apt-get update -q >&2
		touch "$cache/apt-updated"
	fi
	as_root env DEBIAN_FRONTEND=noninteractive \
		apt-get install -y -q --no-install-recommends "$@" >&2 ||
		die "apt-get could not install $*; see above."
}

need_go() {
	command -v go >/dev/null ||
		die "Go is missing. Install the version that go.work names, or a newer one, and put it on the PATH."
}

# tool NAME: prints the path of a program from scripts/tools, built when its
# go.mod has changed.
tool() {
	local name=$1 module=scripts/tools
	[ "$name" != golangci-lint ] || module=scripts/tools/lint
	local built=$cache/bin/$name
	if [ ! -x "$built" ] || [ "$module/go.mod" -nt "$built" ]; then
		say "building $name (once; a minute or two)"
		GOWORK=off go build -C "$module" -o "$cache/bin/" tool
		touch "$built"
	fi
	printf '%s\n' "$built"
}
