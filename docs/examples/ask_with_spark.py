"""Asks a set of parts with Spark in local mode: the same question as `ask_with_duckdb.py`. Spark needs Java.

    python3 ask_with_spark.py SET
"""

import sys

from pyspark.sql import SparkSession
from pyspark.sql import functions as f

if __name__ == "__main__":
    spark = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
    spark.sparkContext.setLogLevel("ERROR")
    # Spark takes the columns of one part for those of all. The usual ones are in every part; said here, they are not looked for.
    runs = spark.read.schema("run string, technique string").parquet(f"{sys.argv[1]}/runs")
    points = spark.read.schema("run string, absorbance double").parquet(f"{sys.argv[1]}/points")
    points = points.withColumn("one", f.lit(1))
    table = (
        runs.join(points, "run", "left")
        .groupBy("technique")
        .agg(f.countDistinct("run").alias("runs"), f.count("one").alias("points"), f.max("absorbance").alias("highest"))
        .orderBy("technique")
    )
    for row in table.collect():
        print(*row, sep="\t")
    spark.stop()
