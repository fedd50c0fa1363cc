#!/bin/sh
# Sets up what the tests need, then runs the checks and the tests.
#
#   sh tests/run.sh [--setup-only] [pytest arguments]
#
# Needs Python 3.11 with venv and pip. As root it installs Mosquitto, PostgreSQL and Chromium from
# Debian's packages; otherwise it says which suites it leaves out and why. Every check runs even when one
# before it failed; pytest comes last and so has the closing line.
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh

apt_is_fresh=

# debian_package COMMAND SUITES PACKAGE...
debian_package() {
    command=$1 suites=$2
    shift 2
    # A Debian service lives in sbin, which is not on everybody's PATH, or in a folder per release.
    PATH="$PATH:/usr/sbin:$(echo /usr/lib/postgresql/*/bin | tr ' ' :)" command -v "$command" >/dev/null && return 0
    if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null; then
        say "Left out: $suites, since $command is missing. As root on Debian: apt-get install $*"
        return 0
    fi
    say "Installing $* for $suites."
    if [ -z "$apt_is_fresh" ]; then
        apt-get update -qq >&2 || true
        apt_is_fresh=yes
    fi
    DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends "$@" >&2 ||
        say "Left out: $suites, since apt-get could not install $*"
}

make_environment tests service,gateway,demo,dev || exit 1
debian_package mosquitto 'tests marked broker' mosquitto
debian_package mosquitto_pub 'one cold night from mosquitto_pub' mosquitto-clients
debian_package pg_ctl 'tests marked postgres' postgresql
debian_package chromium 'tests marked browser' chromium

# What finds faults of access in pages: used here only, so it is fetched and never kept in the project.
axe=4.10.3
axe_sum=880970c081707360e64f34cea25ff91892f5bc95675b0776925b9709dd8a68bb
bring_axe() {
    folder=.venv/axe-core
    [ "$(cat "$folder/.version" 2>/dev/null)" = "$axe" ] && return 0
    if ! command -v npm >/dev/null; then
        say "Left out: faults of access in pages, since npm is missing. On Debian: apt-get install npm"
        return 0
    fi
    say "Bringing axe-core $axe for faults of access in pages."
    rm -rf "$folder"
    mkdir -p "$folder"
    if (
        cd "$folder"
        npm pack --silent "axe-core@$axe" >/dev/null
        tar -xzf "axe-core-$axe.tgz" package/axe.min.js package/LICENSE
        rm "axe-core-$axe.tgz"
        echo "$axe_sum  package/axe.min.js" | sha256sum --check --quiet
    ); then
        echo "$axe" >"$folder/.version"
    else
        rm -rf "$folder"
        say "Left out: faults of access in pages, since npm could not bring axe-core."
    fi
}
bring_axe

if [ "${1-}" = --setup-only ]; then
    exit 0
fi

failed=
check() {
    say "$ $*"
    ".venv/bin/$@" || failed="$failed; $*"
}

check ruff check .
check ruff format --check .
check mypy
check lint-imports --no-logo

status=0
run_tests() {
    say "$ pytest $*"
    .venv/bin/python -m pytest "$@" || status=$?
}

# What runs as processes can be late on a machine that does much else. A few that failed are run once
# more, alone; both outcomes are printed, and a second failure fails the run. Many are no chance.
kept=.pytest_cache/end_to_end
many=4
run_end_to_end() {
    say "$ pytest $*"
    rm -rf "$kept"
    code=0
    .venv/bin/python -m pytest -o cache_dir="$kept" "$@" || code=$?
    [ "$code" -ne 0 ] || return 0
    late=$(.venv/bin/python -c 'import json, sys; print(*json.load(open(sys.argv[1])), sep="\n")' \
        "$kept/v/cache/lastfailed" 2>/dev/null) || late=
    if [ "$code" -ne 1 ] || [ -z "$late" ] || [ "$(printf '%s\n' "$late" | wc -l)" -ge "$many" ]; then
        status=$code
        return 0
    fi
    say "Failed beside others, so run once more, alone:
$late"
    if .venv/bin/python -m pytest -o cache_dir="$kept" -v --last-failed tests/end_to_end; then
        say "Failed beside others, passed alone:
$late"
    else
        status=$?
        say "Failed beside others, and alone:
$late"
    fi
}

if [ $# -gt 0 ]; then
    run_tests "$@"
else
    # A file at a time on every core. What starts services waits half of the time, so it comes after
    # what does not, on one worker more than there are cores; how fast readings are taken is
    # measured alone.
    speed=tests/end_to_end/test_ingest_speed.py
    run_tests -n auto --dist loadfile --ignore tests/end_to_end
    workers=$(.venv/bin/python -c 'import os; print(len(os.sched_getaffinity(0)) + 1)')
    run_end_to_end -n "$workers" --dist loadfile --no-loadscope-reorder \
        tests/end_to_end --ignore "$speed"
    run_end_to_end "$speed"
fi
if [ -n "$failed" ]; then
    say "Failed before the tests: ${failed#; }"
    [ "$status" -ne 0 ] || status=1
fi
exit "$status"
