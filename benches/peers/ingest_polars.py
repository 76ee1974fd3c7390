"""CSV into validated, sorted Parquet by months with polars: what ingest does,
as far as a careful script does it.

Usage: ingest_polars.py FOLDER OUT [--without-origin]
"""

import datetime
import pathlib

import polars as pl
from kinds import KINDS, ZONE, each


def instant(column: str) -> pl.Expr:
    local = pl.coalesce(
        pl.col(column).str.to_datetime("%Y-%m-%dT%H:%M", strict=False),
        pl.col(column).str.to_datetime("%Y-%m-%d", strict=False),
    )
    zoned = local.dt.replace_time_zone(ZONE, ambiguous="earliest", non_existent="null")
    return zoned.dt.convert_time_zone("UTC").alias(column)


def take_in(path: pathlib.Path, out: pathlib.Path, with_origin: bool) -> None:
    time, most, _ = KINDS[path.stem]
    raw = pl.scan_csv(path, infer_schema=False, row_index_name="line", row_index_offset=2)
    columns = raw.collect_schema().names()
    parsed = [instant(time)]
    if "ended_at" in columns:
        parsed.append(instant("ended_at"))
    parsed += [pl.col(c).cast(pl.Float64, strict=False) for c in most]
    typed = raw.with_columns(pl.all().name.suffix("_text")).with_columns(parsed)
    reason = pl.when(pl.col("van").is_null()).then(pl.lit("no van"))
    reason = reason.when(pl.col(time).is_null()).then(pl.lit(f"{time} is no time"))
    for column, limit in most.items():
        unread = pl.col(column).is_null() & pl.col(f"{column}_text").is_not_null()
        reason = reason.when(unread).then(pl.lit(f"{column} is no number"))
        outside = (pl.col(column) < 0) | (pl.col(column) > limit)
        reason = reason.when(outside).then(pl.lit(f"{column} cannot be"))
    judged = typed.with_columns(reason.otherwise(None).alias("reason")).collect()
    bad = judged.filter(pl.col("reason").is_not_null())
    texts = [pl.col(f"{c}_text") for c in columns if c != "line"]
    bad.select("line", "reason", *texts).write_parquet(out / f"{path.stem}_set_aside.parquet")

    key = ["van", time] + (["item"] if path.stem == "services" else [])
    good = judged.filter(pl.col("reason").is_null()).select(columns)
    del judged
    good = good.unique(subset=key, keep="last", maintain_order=True).sort(key)
    now = datetime.datetime.now(datetime.UTC)
    if with_origin:
        good = good.with_columns(
            pl.lit(path.name).alias("file"), pl.lit(now).alias("ingested_at")
        )
    else:
        good = good.drop("line")
    if path.stem == "services":
        good.write_parquet(out / "services.parquet")
        return
    month = pl.col(time).dt.strftime("%Y-%m").alias("month")
    for (name,), rows in good.with_columns(month).partition_by(
        "month", as_dict=True, maintain_order=True, include_key=False
    ).items():
        folder = out / path.stem / f"month={name}"
        folder.mkdir(parents=True, exist_ok=True)
        rows.write_parquet(folder / f"{path.parent.name}.parquet")


each(take_in)
