"""Asks a set of parts with Spark in local mode: the same question as `ask_with_duckdb.py`. Spark needs Java.

    python3 ask_with_spark.py SET
"""

import sys

from pyspark.sql import SparkSession
from pyspark.sql import functions as f

if __name__ == "__main__":
    spark = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
    spark.sparkContext.setLogLevel("ERROR")
    # A part has the columns that its files had: `mergeSchema` puts them together.
    read = spark.read.option("mergeSchema", "true")
    runs = read.parquet(f"{sys.argv[1]}/runs").select("run", "technique")
    points = read.parquet(f"{sys.argv[1]}/points").select(f.col("run"), "absorbance", f.lit(1).alias("one"))
    table = (
        runs.join(points, "run", "left")
        .groupBy("technique")
        .agg(f.countDistinct("run").alias("runs"), f.count("one").alias("points"), f.max("absorbance").alias("highest"))
        .orderBy("technique")
    )
    for row in table.collect():
        print(*row, sep="\t")
    spark.stop()
