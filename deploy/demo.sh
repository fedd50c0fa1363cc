#!/bin/sh
# Shows drumkeep at work: service, broker, simulated gateways and a small invented company.
#
#   sh deploy/demo.sh [--fresh] [--port N]
#
# Needs Python 3.11 with venv and pip, and no root. Ctrl-C stops all of it. What it stored is kept
# for the next start; --fresh starts over.
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh
make_environment demo service,gateway,demo || exit 1
# exec: Ctrl-C and a TERM from outside then reach drumkeep itself, with no shell between.
exec .venv/bin/drumkeep demo "$@"
