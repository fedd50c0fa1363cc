# Makes the Python environment .venv that deploy/demo.sh and tests/run.sh share. Sourced by both,
# from the top of the checkout; POSIX sh. Needs no root.
#
#   make_environment NAME EXTRAS   e.g. make_environment demo service,gateway,demo
#
# Each NAME has a stamp in .venv that holds the checksum of what it was made from, so a second call
# costs nothing until pyproject.toml or the pinned releases change. The two names may come in either
# order: each adds what it needs and takes nothing away.

say() { printf '%s\n' "$*" >&2; }

# Several names are tried, since a shim of the right name may lead nowhere.
find_python() {
    without=
    for python in python3.11 /usr/bin/python3.11 /usr/local/bin/python3.11 python3 python; do
        "$python" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' 2>/dev/null || continue
        "$python" -c 'import ensurepip, venv; ensurepip.version()' 2>/dev/null && return 0
        without=$python
    done
    if [ -n "$without" ]; then
        say "$without lacks venv and pip. On Debian: apt-get install python3.11-venv"
    else
        say 'Python 3.11 is missing. On Debian 12: apt-get install python3.11 python3.11-venv'
    fi
    return 1
}

fingerprint() { cat pyproject.toml deploy/constraints.txt deploy/environment.sh | cksum; }

# An environment that was moved or copied with its checkout runs, but runs the other checkout.
environment_works() {
    [ "$(cat .venv/.path 2>/dev/null)" = "$(pwd -P)" ] &&
        .venv/bin/python -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' 2>/dev/null
}

is_made() { environment_works && [ "$(cat ".venv/.made-for-$1" 2>/dev/null)" = "$(fingerprint)" ]; }

install_into_environment() {
    if ! environment_works; then
        find_python || return 1
        say "Making .venv with $python."
        "$python" -m venv --clear .venv || return 1
        pwd -P >.venv/.path
    fi
    say 'Installing what drumkeep needs: once, and a few minutes on a slow line.'
    # -qq: a machine set up with several indexes would warn of each that lacks a package.
    .venv/bin/python -m pip install -qq -c deploy/constraints.txt -e ".[$2]" || return 1
    # Only the weather files in pvlib's folder are read, so its own dependencies stay out.
    .venv/bin/python -m pip install -qq --no-deps -c deploy/constraints.txt pvlib || return 1
    # Compiled code is kept beside its source: made now, it costs no start half a minute later.
    .venv/bin/python -c 'from drumkeep.thermal.kernel import compile_all; compile_all()' || return 1
    fingerprint >".venv/.made-for-$1"
}

make_environment() {
    is_made "$1" && return 0
    # Two starts at once must not install into one another: the second waits, and finds it done.
    (
        command -v flock >/dev/null && flock 9
        is_made "$1" || install_into_environment "$1" "$2"
    ) 9<pyproject.toml
}
