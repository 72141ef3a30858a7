#!/bin/sh
# The full campaign: 400 bodies (about 40 minutes on one core). Usage: full_campaign.sh BUILD_FOLDER [bodies]
set -e
exec "$1/tests/truth/campaign" --bodies "${2:-400}" --check
