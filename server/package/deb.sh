#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Makes a Debian package of a built binary: deb.sh BINARY VERSION OUT_FOLDER. Prints its path. What a package of Debian's own build tools would hold, without their source tree: binary,
# units, user, settings, man page, documents.
set -eu
binary=$(realpath "$1"); version=$2; out=$(realpath "$3")
here=$(cd "$(dirname "$0")" && pwd); top=$(cd "$here/../.." && pwd)
arch=$(dpkg --print-architecture)
work=$(mktemp -d); trap 'rm -rf "$work"' EXIT
umask 022
root=$work/root; doc=$root/usr/share/doc/biasbook
# the same input gives the same package: all times are those of the last change
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git -C "$top" log -1 --format=%ct 2>/dev/null || date +%s)}; export SOURCE_DATE_EPOCH

put() { install -D -m "$1" "$2" "$root$3"; }
put 755 "$binary" /usr/bin/biasbook
strip --strip-unneeded "$root/usr/bin/biasbook"
put 644 "$here/biasbook.service" /lib/systemd/system/biasbook.service
put 644 "$here/biasbook.socket" /lib/systemd/system/biasbook.socket
put 644 "$here/biasbook.sysusers" /usr/lib/sysusers.d/biasbook.conf
put 644 "$here/biasbook.conf" /etc/biasbook/biasbook.conf
install -d "$root/usr/share/man/man1" "$doc"
gzip -9n < "$top/docs/biasbook.1" > "$root/usr/share/man/man1/biasbook.1.gz"
for f in README.md $(cd "$top" && ls docs/*.md); do put 644 "$top/$f" "/usr/share/doc/biasbook/$(basename "$f")"; done
put 644 "$here/copyright" /usr/share/doc/biasbook/copyright
printf 'biasbook (%s) unstable; urgency=medium\n\n  * Release %s.\n\n -- %s  %s\n' "$version" "$version" 'The biasbook club <biasbook@club.example>' \
    "$(LC_ALL=C date -Ru -d "@$SOURCE_DATE_EPOCH")" | gzip -9n > "$doc/changelog.gz"

mkdir -p "$work/debian" "$root/DEBIAN"
printf 'Source: biasbook\n\nPackage: biasbook\nArchitecture: any\n' > "$work/debian/control"
libraries=$(cd "$work" && dpkg-shlibdeps -O root/usr/bin/biasbook 2>/dev/null | sed -n 's/^shlibs:Depends=//p')
[ -n "$libraries" ] || { echo "deb.sh: the libraries that it needs could not be found out" >&2; exit 1; }
sed -e "s/@VERSION@/$version/" -e "s/@ARCH@/$arch/" -e "s/@LIBRARIES@/$libraries/" -e "s/@SIZE@/$(du -sk --apparent-size "$root" | cut -f1)/" "$here/control.in" > "$root/DEBIAN/control"
echo /etc/biasbook/biasbook.conf > "$root/DEBIAN/conffiles"
for f in postinst prerm postrm; do install -m 755 "$here/$f" "$root/DEBIAN/$f"; done
(cd "$root" && find . -type f ! -path './DEBIAN/*' -printf '%P\0' | LC_ALL=C sort -z | xargs -0 md5sum > DEBIAN/md5sums)
chmod 644 "$root/DEBIAN/control" "$root/DEBIAN/conffiles" "$root/DEBIAN/md5sums"
find "$root" -newermt "@$SOURCE_DATE_EPOCH" -print0 | xargs -0r touch -hd "@$SOURCE_DATE_EPOCH"
dpkg-deb --root-owner-group -Zxz --build "$root" "$out/biasbook_${version}_$arch.deb" >/dev/null
echo "$out/biasbook_${version}_$arch.deb"
