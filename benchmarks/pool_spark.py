"""Runs the pool's query on a distributed engine in local mode: SCRIPT PARQUET_FOLDER QUERY_FILE ANSWER_CSV.

Started by `benchmarks.pool` with another interpreter, which has pyspark; nothing of the project is imported.
"""

import sys
from pathlib import Path

from pyspark.sql import SparkSession  # type: ignore[import-not-found]


def main(folder: str, query: str, answer: str) -> None:
    """Counts the tickets below the folder and writes the cells."""
    spark = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
    spark.read.parquet(folder).createOrReplaceTempView("pooled_tickets")
    spark.sql(Path(query).read_text(encoding="utf-8")).toPandas().to_csv(answer, index=False)
    spark.stop()


if __name__ == "__main__":
    main(*sys.argv[1:])
