# SPDX-License-Identifier: GPL-2.0-or-later
# Sourced by run and manual, which have a folder $work.
passed=0 failed=0
it() { # it "sentence" command... : passes when the command does
  sentence=$1
  shift
  if "$@" >"$work/log" 2>&1; then passed=$((passed + 1)); else
    failed=$((failed + 1))
    echo "FAILED: $sentence"
    sed 's/^/    /' "$work/log"
  fi
}
