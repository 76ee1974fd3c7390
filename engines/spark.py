"""Sums up the vans of a store with PySpark and assesses the fleet from that.

    spark-submit engines/spark.py --store STORE [--workers 2] [--litrewise PATH]
        [--summaries DIR] [-- ASSESS_OPTION ...]

Spark reads the Parquet files of the tables readings, fills and services as they
lie, puts all rows of a van into one share, and hands each share to `litrewise
summarise --rows -` as an Arrow stream. What comes back, one row a van, is kept
in DIR (or a folder that is deleted afterwards); then `litrewise assess
--from-summaries` takes the fleet step and prints what it always prints. The
store's small tables (van list, hardness, files) are read by litrewise itself,
so every worker needs to see the store.
"""

import argparse
import io
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import pyarrow as pa
from pyspark.sql import DataFrame, SparkSession
from pyspark.sql import functions as f
from pyspark.sql import types as t

TABLES = ("readings", "fills", "services")


def live_files(table: pathlib.Path) -> list[str]:
    """The Parquet files that the table's log names now."""
    live: dict[str, None] = {}
    for commit in sorted((table / "_delta_log").glob("*.json")):
        for line in commit.read_text(encoding="utf-8").splitlines():
            action = json.loads(line)
            if "add" in action:
                live[action["add"]["path"]] = None
            elif "remove" in action:
                live.pop(action["remove"]["path"], None)
    return [str(table / path) for path in live]


def rows(spark: SparkSession, store: pathlib.Path) -> DataFrame | None:
    """Readings, fills and services below one another; `kind` tells them apart."""
    tables = []
    for kind in TABLES:
        files = live_files(store / kind)
        if files:
            table = spark.read.parquet(*files).withColumn("kind", f.lit(kind))
            # the text as it stood in the file is of no use to a summary
            tables.append(table.drop("text", "month", "ingested_at"))
    whole = tables[0] if tables else None
    for table in tables[1:]:
        whole = whole.unionByName(table, allowMissingColumns=True)
    return whole


def same_van(name: str) -> f.Column:
    """Coarser than litrewise tells names apart: no van falls into two shares."""
    folded = f.translate(f.lower(f.col(name)), "o", "0")
    return f.regexp_replace(folded, r"[\s_\-\u2010-\u2015\u2212\u00ad]", "")


def summarise(litrewise: str, store: str):
    """The step that runs on the workers: Arrow in, Arrow out."""

    def step(batches):
        # A share is held whole: all rows of some vans.
        told = io.BytesIO()
        stream = None
        for batch in batches:
            if stream is None:
                stream = pa.ipc.new_stream(told, batch.schema)
            stream.write_batch(batch)
        if stream is None:
            return
        stream.close()
        done = subprocess.run(
            [litrewise, "summarise", "--rows", "-", "--store", store, "--quiet"],
            input=told.getbuffer(), capture_output=True, check=False,
        )
        if done.returncode != 0:
            raise RuntimeError(done.stderr.decode(errors="replace"))
        yield pa.RecordBatch.from_pydict({"summaries": [done.stdout]})

    return step


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--store", required=True, type=pathlib.Path)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--litrewise", default="litrewise")
    parser.add_argument("--summaries", type=pathlib.Path)
    parser.add_argument("assess", nargs="*")
    options = parser.parse_args()
    store = options.store.resolve()
    # the workers need this interpreter's packages
    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)

    spark = (
        SparkSession.builder.master(f"local[{options.workers}]")
        .appName("litrewise")
        .config("spark.sql.session.timeZone", "UTC")
        .config("spark.sql.shuffle.partitions", str(4 * options.workers))
        .config("spark.ui.enabled", "false")
        .getOrCreate()
    )
    spark.sparkContext.setLogLevel("ERROR")
    with tempfile.TemporaryDirectory() as scratch:
        folder = options.summaries or pathlib.Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        whole = rows(spark, store)
        files = []
        if whole is not None:
            shares = whole.repartition(4 * options.workers, same_van("van"))
            step = summarise(options.litrewise, str(store))
            kept = t.StructType([t.StructField("summaries", t.BinaryType())])
            for n, row in enumerate(shares.mapInArrow(step, kept).toLocalIterator()):
                files.append(folder / f"share-{n:04}.arrow")
                files[-1].write_bytes(row["summaries"])
        spark.stop()
        told = [options.litrewise, "assess", "--store", str(store), *options.assess]
        for file in files:
            told += ["--from-summaries", str(file)]
        return subprocess.run(told, check=False).returncode


sys.exit(main())
