#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The Debian package: lintian has nothing to say, the unit is shut tight, and in a scratch root it installs, serves, is updated and purged. deb.sh BIASBOOK
# The scratch root holds no system: maintainer scripts run with DPKG_ROOT and find neither systemd nor useradd, as in an image that is being built.
set -eu
binary=$(realpath "$1")
cd "$(dirname "$0")/../.."
work=$(mktemp -d); daemon=
trap '[ -z "$daemon" ] || kill "$daemon" 2>/dev/null; rm -rf "$work"' EXIT
ok() { echo "ok $1"; }
fail() { echo "not ok $1"; exit 1; }

first=$(server/package/deb.sh "$binary" 0.1.0 "$work")
again=$(mkdir "$work/again" && server/package/deb.sh "$binary" 0.1.0 "$work/again")
cmp "$first" "$again" || fail "the same input makes another package"
ok "made alike twice: $(basename "$first")"

if command -v lintian >/dev/null; then
    said=$(lintian --allow-root --fail-on error,warning "$first" 2>&1) || { echo "$said"; fail lintian; }
    [ -z "$said" ] || { echo "$said"; fail "lintian"; }
    ok "lintian has nothing to say"
fi

if command -v systemd-analyze >/dev/null && systemd-analyze security --help 2>/dev/null | grep -q -- --offline; then
    level=$(systemd-analyze security --offline=true server/package/biasbook.service 2>/dev/null | grep -oE 'level for biasbook.service: [0-9.]+' | grep -oE '[0-9.]+$')
    awk "BEGIN { exit !($level <= 1.5) }" || fail "exposure level $level"
    ok "exposure level $level of 1.5"
fi

root=$work/root
mkdir -p "$root/var/lib/dpkg/info" "$root/var/lib/dpkg/updates" "$root/var/log"; : > "$root/var/lib/dpkg/status"; : > "$root/var/lib/dpkg/available"
# what it depends on belongs to the machine, not to the scratch root
pkg() { fakeroot dpkg --root="$root" --force-depends --force-script-chrootless --log="$work/dpkg.log" "$@" > "$work/said" 2>&1 || { cat "$work/said"; fail "dpkg $*"; }; }
state() { dpkg-query --admindir="$root/var/lib/dpkg" -W -f '${db:Status-Abbrev}${Version}' biasbook 2>/dev/null || echo none; }

pkg -i "$first"
[ "$(state)" = "ii 0.1.0" ] || fail "installed: $(state)"
for f in usr/bin/biasbook lib/systemd/system/biasbook.service lib/systemd/system/biasbook.socket usr/lib/sysusers.d/biasbook.conf etc/biasbook/biasbook.conf usr/share/man/man1/biasbook.1.gz var/lib/biasbook; do
    [ -e "$root/$f" ] || fail "no $f"
done
[ "$(stat -c %a "$root/var/lib/biasbook")" = 700 ] || fail "the state directory is open to others"
grep -q 'init --db' "$work/said" || fail "it does not say how to begin"
dpkg --root="$root" --verify biasbook | grep -q . && fail "files differ from the package" || true
if command -v systemd-sysusers >/dev/null; then grep -q '^biasbook:.*/nologin$' "$root/etc/passwd" || fail "no user"; fi
ok "installs"

# the installed program with the installed settings, its state in the scratch root
db=$root/var/lib/biasbook/club.db
key=$("$root/usr/bin/biasbook" init --db "$db" | tail -1)
sed "s|/var/lib/biasbook|$root/var/lib/biasbook|" "$root/etc/biasbook/biasbook.conf" > "$work/settings"
serve() {
    # the way of biasbook.socket: somebody else listens, the daemon gets the socket
    python3 - "$root/usr/bin/biasbook" "$work/settings" > "$work/address" 2> "$work/log" <<'P' &
import os, socket, sys
s = socket.create_server(('127.0.0.1', 0))
os.dup2(s.fileno(), 3); os.set_inheritable(3, True)
os.environ.update(LISTEN_PID=str(os.getpid()), LISTEN_FDS='1')
os.execv(sys.argv[1], [sys.argv[1], 'serve', '--config', sys.argv[2]])
P
    daemon=$!
    for _ in $(seq 200); do [ -s "$work/address" ] && break; sleep 0.05; done
    address=$(cat "$work/address"); [ -n "$address" ] || { cat "$work/log"; fail "it does not serve"; }
}
stop() { kill "$daemon"; wait "$daemon" || fail "it ended with $?"; daemon=; }
put() { curl -sf -o /dev/null -w '%{http_code}\n' -X PUT -H "Authorization: Bearer $key" -H 'Content-Type: application/json' "${address}api/$1" -d "$2"; }
serve
[ "$(put decks/d '{"name":"D","medium":"cassette","bias_dial":{"low":-5,"high":5,"scale":"db","db_per_unit":0.5}}')" = 201 ] || fail "a deck"
[ "$(put stocks/s '{"name":"S","class":"type-1"}')" = 201 ] || fail "a stock"
[ "$(put calibrations/3a0e7f0a-1111-4c11-8a11-000000000010 '{"deck":"d","stock":"s","made_at":"2026-01-05T19:00:00Z","bias":1}')" = 201 ] || fail "a calibration"
stop
ok "logs, through a socket handed over"

echo '# a remark of ours' >> "$root/etc/biasbook/biasbook.conf"
second=$(server/package/deb.sh "$binary" 0.1.1 "$work")
pkg --force-confold -i "$second"
[ "$(state)" = "ii 0.1.1" ] || fail "updated: $(state)"
grep -q 'a remark of ours' "$root/etc/biasbook/biasbook.conf" || fail "an update took our settings"
serve
curl -sf -H "Authorization: Bearer $key" "${address}api/calibrations/3a0e7f0a-1111-4c11-8a11-000000000010" | grep -q '"bias":1' || fail "the row is gone"
stop
ok "updates, settings and rows stay"

pkg -r biasbook
[ ! -e "$root/usr/bin/biasbook" ] && [ -e "$root/etc/biasbook/biasbook.conf" ] && [ -e "$db" ] || fail "removal took too much or too little"
pkg -P biasbook
[ "$(state)" = none ] || [ "$(state)" = "un " ] || fail "purged: $(state)"
[ ! -e "$root/etc/biasbook/biasbook.conf" ] || fail "settings stay after a purge"
[ -e "$db" ] || fail "a purge throws the club away"
rm -f "$db" "$db"-* ; pkg -i "$second"; pkg -P biasbook
left=$(cd "$root" && find . -type f ! -path './var/lib/dpkg/*' ! -path './var/log/*' ! -path './etc/*shadow' ! -path './etc/.pwd.lock' ! -path './etc/passwd' ! -path './etc/group')
[ -z "$left" ] || fail "left behind: $left"
[ ! -e "$root/var/lib/biasbook" ] || fail "an empty state directory stays"
ok "removed and purged, the club stays until somebody removes it"
