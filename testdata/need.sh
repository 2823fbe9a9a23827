#!/bin/sh
# Sees to it that the tests find PostgreSQL: installs it when we are root on a
# system with apt-get and it is missing. Never fails: without PostgreSQL the
# tests that need it are skipped and say so.
set -u

found() {
	command -v initdb >/dev/null 2>&1 && return 0
	for f in /usr/lib/postgresql/*/bin/initdb /usr/pgsql-*/bin/initdb /usr/local/pgsql/bin/initdb; do
		[ -x "$f" ] && return 0
	done
	return 1
}

if [ -n "${LAYCAST_TEST_POSTGRES:-}" ]; then
	echo "PostgreSQL: the tests use the server named by LAYCAST_TEST_POSTGRES."
elif found; then
	echo "PostgreSQL: installed; the tests start a private cluster of their own."
elif [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
	echo "PostgreSQL: not installed; trying apt-get install postgresql ..."
	# no cluster of the system's own: the tests make theirs
	mkdir -p /etc/postgresql-common
	[ -e /etc/postgresql-common/createcluster.conf ] || echo "create_main_cluster = false" >/etc/postgresql-common/createcluster.conf
	export DEBIAN_FRONTEND=noninteractive
	log=$(mktemp)
	if timeout 300 sh -c 'apt-get -q update; apt-get -q install -y --no-install-recommends postgresql' >"$log" 2>&1 </dev/null && found; then
		echo "PostgreSQL: installed."
	else
		echo "PostgreSQL: could not be installed; the tests that need it are skipped. The last lines of apt-get were:"
		tail -n 3 "$log"
	fi
	rm -f "$log"
else
	echo "PostgreSQL: not installed; the tests that need it are skipped. Install the package named postgresql to run them."
fi
exit 0
