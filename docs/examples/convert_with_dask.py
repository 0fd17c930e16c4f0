"""Converts a folder of exports into one set of parts with Dask: each worker process takes a list of files.

    python3 convert_with_dask.py FOLDER SET WORKERS [CURVARY]

On a cluster, give `Client` the address of its scheduler instead of `LocalCluster`; the folder, the set and curvary have to be
where every worker sees them. A worker that is killed loses nothing: its list is worked on again, and no file counts twice.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from dask.distributed import Client, LocalCluster, as_completed

FILES_A_LIST = 1000


def convert(paths, target, curvary):
    """One list, as one process of curvary. 0 is all read, 1 is that some files are refused or asked about."""
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as file:
        file.write("\n".join(paths))
        file.flush()
        done = subprocess.run(
            [curvary, "convert", "--files-from", file.name, "--to", "parquet", "--out", target, "--quiet"],
            capture_output=True, text=True,
        )
    if done.returncode > 1:
        raise RuntimeError(done.stderr[-2000:])
    return len(paths)


def main(folder, target, workers, curvary="curvary"):
    paths = sorted(str(path) for path in Path(folder).rglob("*") if path.is_file())
    size = min(FILES_A_LIST, max(1, len(paths) // (4 * workers)))
    lists = [paths[at : at + size] for at in range(0, len(paths), size)]
    with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        begun = time.perf_counter()
        futures = [client.submit(convert, some, target, curvary, pure=False, retries=2) for some in lists]
        files = sum(future.result() for future in as_completed(futures))
    print(f"{files} files in {len(lists)} lists by {workers} workers: {time.perf_counter() - begun:.1f} s")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), *sys.argv[4:])
