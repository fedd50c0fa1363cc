#!/bin/sh
# Shows drumkeep at work: service, broker, simulated gateways and a small invented company.
#
#   sh deploy/demo.sh [--fresh] [--port N] [--data-dir FOLDER]
#
# Needs Python 3.11 with venv and pip, and no root. Ctrl-C stops all of it. What it stored is kept
# for the next start; --fresh starts over.
set -eu
from=$PWD
cd "$(dirname "$0")/.."
top=$PWD
. deploy/environment.sh
make_environment demo service,gateway,demo || exit 1
# Back to where it was called, so that a folder is found where its name says.
cd "$from"
# exec: Ctrl-C and a TERM from outside then reach drumkeep itself, with no shell between.
exec "$top/.venv/bin/drumkeep" demo "$@"
