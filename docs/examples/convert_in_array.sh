#!/usr/bin/env bash
# One task of a batch array: the lines of LIST that belong to task TASK of TASKS, as parts of the set SET.
#
#     TASK=0 TASKS=100 LIST=files.txt SET=/shared/set ./convert_in_array.sh
#
# A batch system gives each task its number under a name of its own; put that into TASK. A task that was killed is begun again
# with the same numbers; what it had finished is left alone.
set -euo pipefail
: "${TASK:?the number of this task, from 0}" "${TASKS:?how many tasks there are}" "${LIST:?}" "${SET:?}"
status=0
awk -v task="$TASK" -v tasks="$TASKS" 'NR % tasks == task % tasks' "$LIST" |
    "${CURVARY:-curvary}" convert --files-from - --to parquet --out "$SET" --quiet || status=$?
# 1 is that some files were refused or are asked about: the manifests say which.
[ "$status" -le 1 ]
