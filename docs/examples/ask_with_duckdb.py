"""Asks a set of parts with DuckDB: how many runs of each technique, with how many points, and the highest absorbance.

    python3 ask_with_duckdb.py SET

The usual columns are in every part; `union_by_name` puts those of a source's own fields together too. An object store is asked the same way:
`s3://bucket/set/points/*.parquet`, after `install httpfs; load httpfs`.
"""

import sys

import duckdb

QUESTION = """
    select runs.technique, count(distinct runs.run) as runs, count(points.run) as points, max(points.absorbance) as highest
    from read_parquet('{set}/runs/*.parquet', union_by_name = true) as runs
    left join read_parquet('{set}/points/*.parquet', union_by_name = true) as points using (run)
    group by runs.technique order by runs.technique
"""

if __name__ == "__main__":
    for row in duckdb.sql(QUESTION.format(set=sys.argv[1])).fetchall():
        print(*row, sep="\t")
