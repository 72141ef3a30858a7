#!/bin/sh
# The full campaign: 1600 bodies (about a quarter of an hour on one core). Usage: full_campaign.sh BUILD_FOLDER [bodies]
set -e
exec "$1/tests/truth/campaign" --bodies "${2:-1600}" --check
