"""CSV into validated, sorted Parquet by months with pandas: what ingest does,
as far as a careful script does it. Holds a whole file in memory several times.

Usage: ingest_pandas.py FOLDER OUT [--without-origin]
"""

import pathlib

import pandas as pd
from kinds import KINDS, ZONE, each


def instant(texts: pd.Series) -> pd.Series:
    local = pd.to_datetime(texts, format="ISO8601", errors="coerce")
    return local.dt.tz_localize(ZONE, ambiguous="NaT", nonexistent="NaT").dt.tz_convert("UTC")


def take_in(path: pathlib.Path, out: pathlib.Path, with_origin: bool) -> None:
    time, most, _ = KINDS[path.stem]
    raw = pd.read_csv(path, dtype="string", engine="pyarrow")
    rows = raw.copy()
    rows[time] = instant(raw[time])
    if "ended_at" in rows:
        rows["ended_at"] = instant(raw["ended_at"])
    reason = pd.Series(pd.NA, index=rows.index, dtype="string")
    reason[rows["van"].isna()] = "no van"
    reason[rows[time].isna() & reason.isna()] = f"{time} is no time"
    for column, limit in most.items():
        rows[column] = pd.to_numeric(raw[column], errors="coerce").astype("float64")
        unread = rows[column].isna() & raw[column].notna() & reason.isna()
        reason[unread] = f"{column} is no number"
        outside = ((rows[column] < 0) | (rows[column] > limit)) & reason.isna()
        reason[outside] = f"{column} cannot be"
    rows["line"] = rows.index + 2
    bad = raw[reason.notna()].assign(line=rows["line"], reason=reason)
    bad.to_parquet(out / f"{path.stem}_set_aside.parquet")
    key = ["van", time] + (["item"] if path.stem == "services" else [])
    good = rows[reason.isna()].drop_duplicates(key, keep="last").sort_values(key)
    if with_origin:
        good = good.assign(file=path.name, ingested_at=pd.Timestamp.now("UTC"))
    else:
        good = good.drop(columns="line")
    if path.stem == "services":
        good.to_parquet(out / "services.parquet", compression="zstd", index=False)
        return
    for month, part in good.groupby(good[time].dt.strftime("%Y-%m")):
        folder = out / path.stem / f"month={month}"
        folder.mkdir(parents=True, exist_ok=True)
        part.to_parquet(folder / f"{path.parent.name}.parquet", compression="zstd", index=False)


each(take_in)
