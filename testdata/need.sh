#!/bin/sh
# Sees to it that the tests find PostgreSQL, a mail server (exim4) and a browser
# (Chromium): installs
# what is missing when we are root on a system with apt-get. Starts no service
# of the system's and takes no package away. Never fails: without them the tests
# that need them are skipped and say so.
set -u

postgresql_found() {
	command -v initdb >/dev/null 2>&1 && return 0
	for f in /usr/lib/postgresql/*/bin/initdb /usr/pgsql-*/bin/initdb /usr/local/pgsql/bin/initdb; do
		[ -x "$f" ] && return 0
	done
	return 1
}

exim_found() {
	command -v exim4 >/dev/null 2>&1 || command -v exim >/dev/null 2>&1 || [ -x /usr/sbin/exim4 ] || [ -x /usr/sbin/exim ]
}

may_install() { [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; }

# While packages are installed, this file keeps Debian's systems from starting
# the services in them. Where there is one already it is left as it is, and
# RUNLEVEL=1 asks for the same.
policy=/usr/sbin/policy-rc.d
ours=
log=
tidy() {
	[ -z "$ours" ] || rm -f "$policy"
	[ -z "$log" ] || rm -f "$log"
	ours= log=
}
trap tidy EXIT
trap 'exit 130' HUP INT TERM

# get NAME PACKAGE FOUND: gets a package, says what came of it, and succeeds
# if the command FOUND then finds it.
updated=
get() {
	echo "$1: not installed; trying apt-get install $2 ..."
	log=$(mktemp) || return 1
	if [ ! -e "$policy" ] && printf '#!/bin/sh\nexit 101\n' >"$policy" 2>/dev/null; then
		ours=yes
		chmod 755 "$policy"
	fi
	export DEBIAN_FRONTEND=noninteractive RUNLEVEL=1
	[ -n "$updated" ] || timeout 300 apt-get -q update >"$log" 2>&1 </dev/null
	updated=yes
	# --no-remove: a mail server of the system's own is not ours to replace
	missing=1
	if timeout 300 apt-get -q install -y --no-install-recommends --no-remove "$2" >>"$log" 2>&1 </dev/null && "$3"; then
		echo "$1: installed."
		missing=0
	else
		echo "$1: could not be installed; the tests that need it are skipped. The last lines of apt-get were:"
		tail -n 3 "$log"
	fi
	tidy
	return $missing
}

if [ -n "${LAYCAST_TEST_POSTGRES:-}" ]; then
	echo "PostgreSQL: the tests use the server named by LAYCAST_TEST_POSTGRES."
elif postgresql_found; then
	echo "PostgreSQL: installed; the tests start a private cluster of their own."
elif may_install; then
	# no cluster of the system's own: the tests make theirs
	mkdir -p /etc/postgresql-common
	[ -e /etc/postgresql-common/createcluster.conf ] || echo "create_main_cluster = false" >/etc/postgresql-common/createcluster.conf
	get PostgreSQL postgresql postgresql_found
else
	echo "PostgreSQL: not installed; the tests that need it are skipped. Install the package named postgresql to run them."
fi

if exim_found; then
	echo "Mail server: exim is installed; the tests start a private one of their own."
elif may_install; then
	if get "Mail server" exim4-daemon-light exim_found; then
		# nor shall it start with the machine
		update-rc.d exim4 disable >/dev/null 2>&1
		echo "Mail server: it was not started and does not start with the machine; 'update-rc.d exim4 enable' changes that."
	fi
else
	echo "Mail server: exim is not installed; the test that needs it is skipped. Install the package named exim4-daemon-light to run it."
fi

chromium_found() { command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 || command -v google-chrome >/dev/null 2>&1; }

if chromium_found; then
	echo "Browser: Chromium is installed; the tests start it with profiles of their own."
elif may_install; then
	get Browser chromium chromium_found || true
else
	echo "Browser: Chromium is not installed; the tests of the pages in a browser are skipped. Install the package named chromium to run them."
fi
exit 0
