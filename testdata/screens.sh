#!/bin/sh
# screens.sh FROM TO: a picture of every page FROM/*.html as a telephone of 390
# pixels shows it, whole, into TO/*.png. For `make mail-screens`.
set -eu
browser=$(command -v chromium || command -v chromium-browser || command -v google-chrome) || {
	echo "mail-screens: NOT DONE: there is no chromium (Debian: apt-get install chromium)"; exit 1; }
tmp=$(mktemp -d); trap 'rm -rf "$tmp"' EXIT
show() { "$browser" --headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking \
	--disable-component-update --disable-sync --hide-scrollbars --user-data-dir="$tmp/user" "$@" 2>/dev/null; }
for page in "$1"/*.html; do
	name=$(basename "$page" .html)
	# how high the page is at this width, asked of the page itself
	{ cat "$page"; echo '<script>document.documentElement.style.width="390px"; document.title = "H" + document.documentElement.getBoundingClientRect().height.toFixed()</script>'; } >"$tmp/$name.html"
	height=$(show --window-size=390,400 --dump-dom "file://$tmp/$name.html" | sed -n 's/.*<title>H\([0-9]*\).*/\1/p')
	[ -n "$height" ] || { echo "mail-screens: $page has no height"; exit 1; }
	show --window-size="390,$height" --screenshot="$tmp/$name.png" "file://$(realpath "$page")" >/dev/null
	mv "$tmp/$name.png" "$2/$name.png"
done
