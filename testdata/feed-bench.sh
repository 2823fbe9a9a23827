#!/bin/bash
# feed-bench.sh: how fast a calendar is served, beside nginx serving the same
# bytes as a file. wrk and nginx are tools of this measurement alone; they are
# got by apt-get where that may be done, and the measurement says so when not.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${SECONDS_EACH:-8}
need=()
command -v wrk >/dev/null || need+=(wrk)
command -v nginx >/dev/null || need+=(nginx-light)
if [ ${#need[@]} -gt 0 ] && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "${need[@]}" >/dev/null 2>&1 || true
fi
for t in wrk nginx curl; do
  command -v $t >/dev/null || { echo "feed-bench: NOT RUN: $t is not installed"; exit 0; }
done
dir=$(mktemp -d)
chmod 711 "$dir" # nginx may read as another user
trap '[ -z "${ours:-}" ] || kill "$ours" 2>/dev/null; [ ! -s "$dir/nginx.pid" ] || kill "$(cat "$dir/nginx.pid")" 2>/dev/null; rm -rf "$dir"' EXIT
CGO_ENABLED=0 go build -trimpath -o "$dir/laycast" ./cmd/laycast
port=$((20000 + RANDOM % 20000))
"$dir/laycast" demo --dir "$dir/demo" --listen 127.0.0.1:$port >"$dir/out" 2>"$dir/err" &
ours=$!
for _ in $(seq 1500); do grep -q "^  calendar" "$dir/out" && break; sleep .2; done
url=$(awk '/^  calendar/{print $2}' "$dir/out")
[ -n "$url" ] || { echo "feed-bench: laycast did not start:"; tail -3 "$dir/err"; exit 1; }
for _ in $(seq 100); do curl -fsS -o "$dir/visits.ics" -D "$dir/head" "$url" && break; sleep .1; done
tag=$(awk 'tolower($1)=="etag:"{print $2}' "$dir/head" | tr -d '\r')
cat >"$dir/nginx.conf" <<N
worker_processes auto; pid $dir/nginx.pid; error_log $dir/nginx.err;
events { worker_connections 512; }
http { access_log off; types { text/calendar ics; } client_body_temp_path $dir/b; proxy_temp_path $dir/p; fastcgi_temp_path $dir/f; uwsgi_temp_path $dir/u; scgi_temp_path $dir/s;
  server { listen 127.0.0.1:$((port + 1)); root $dir; location = /visits.ics { add_header Cache-Control "private, max-age=300"; } } }
N
nginx -c "$dir/nginx.conf" -p "$dir"
theirs=http://127.0.0.1:$((port + 1))/visits.ics
cmp -s <(curl -fsS "$theirs") "$dir/visits.ics" || { echo "feed-bench: nginx does not serve the same bytes"; exit 1; }
their_tag=$(curl -fsSI "$theirs" | awk 'tolower($1)=="etag:"{print $2}' | tr -d '\r')
rate() { wrk -t1 -c16 -d"${seconds}s" "$@" 2>&1 | awk '/Requests\/sec/{print $2} /Non-2xx/{print "bad:" $0 > "/dev/stderr"}'; }
[ "$(curl -s -o /dev/null -w '%{http_code}' -H "If-None-Match: $tag" "$url")" = 304 ] || { echo "feed-bench: no 304 for its own ETag"; exit 1; }
rate "$url" >/dev/null # warm
for kind in 200 304; do
  a=() b=()
  if [ $kind = 304 ]; then a=(-H "If-None-Match: $tag") b=(-H "If-None-Match: $their_tag"); fi
  x=$(rate "${a[@]}" "$url") y=$(rate "${b[@]}" "$theirs")
  awk -v k=$kind -v x="$x" -v y="$y" -v n="$(stat -c %s "$dir/visits.ics")" \
    'BEGIN{printf "feed-bench: %s, %d bytes: laycast %.0f, nginx %.0f requests a second: ratio %.2f\n", k, n, x, y, x/y}'
done
