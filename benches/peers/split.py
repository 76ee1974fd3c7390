"""Sorts a simulated fleet's files and parts the last month from what came before.

Usage: split.py SOURCE OUT van|time LAST_MONTH (as 2026-10)
"""

import pathlib
import shutil
import sys

import polars as pl

from kinds import KINDS

source, out, order, last = (*map(pathlib.Path, sys.argv[1:3]), *sys.argv[3:5])
for part in ("history", "month"):
    (out / part).mkdir(parents=True, exist_ok=True)
for kind, (when, _, _) in KINDS.items():
    rows = pl.read_csv(source / f"{kind}.csv", infer_schema=False)
    if order == "time":
        rows = rows.sort(when, maintain_order=True)
    is_last = pl.col(when).str.starts_with(last)
    rows.filter(~is_last).write_csv(out / "history" / f"{kind}.csv")
    rows.filter(is_last).write_csv(out / "month" / f"{kind}.csv")
for name in ("vans.csv", "hardness.csv"):
    shutil.copy(source / name, out / "history" / name)
