"""Reads a store with another reader of the open format and holds every current
row against what `litrewise export` writes.

    python check.py STORE EXPORT_DIR

Shows the rule for current rows that any engine can follow: rows of finished
files only, the newest version of each record.
"""

import csv
import os
import sys
from collections import Counter
from datetime import date, datetime
from pathlib import Path

import pyarrow as pa
from deltalake import DeltaTable

KEYS = {
    "readings": ("van", "taken_at", "day_position"),
    "fills": ("van", "started_at", "day_position"),
    "services": ("van", "done_on", "done_at", "item"),
    "vans": ("van", "from"),
    "hardness": ("postcode", "as_of"),
}
# Columns that only the store has.
OWN = {"day_position", "file_id", "line", "ingested_at", "text", "month", "done_on"}


def current_rows(store: Path, table: str) -> tuple[pa.Schema, list[dict]]:
    finished = {row["id"] for row in read(store / "files").to_pylist()}
    rows = read(store / table)
    newest: dict[tuple, dict] = {}
    for row in sorted(rows.to_pylist(), key=lambda row: (row["file_id"], row["line"])):
        if row["file_id"] in finished:
            newest[tuple(row[key] for key in KEYS[table])] = row
    return rows.schema, list(newest.values())


def read(folder: Path) -> pa.Table:
    return DeltaTable(folder).to_pyarrow_table()


def stored(row: dict, column: str) -> object:
    if column == "done_at" and row["done_at"] is None:
        return row["done_on"]
    value = row[column]
    return float(value) if isinstance(value, int) else value


def exported(text: str, kind: pa.DataType) -> object:
    if text == "":
        return None
    if pa.types.is_timestamp(kind):
        # A plain date where the time of day is not known.
        return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
    if pa.types.is_date(kind):
        return date.fromisoformat(text)
    return float(text) if pa.types.is_floating(kind) or pa.types.is_integer(kind) else text


def main() -> int:
    store, folder = Path(sys.argv[1]), Path(sys.argv[2])
    different = 0
    for table in KEYS:
        schema, rows = current_rows(store, table)
        columns = [name for name in schema.names if name not in OWN]
        with open(folder / f"{table}.csv", newline="", encoding="utf-8") as file:
            lines = list(csv.DictReader(file))
        seen = Counter(tuple(stored(row, c) for c in columns) for row in rows)
        wanted = Counter(tuple(exported(line[c], schema.field(c).type) for c in columns) for line in lines)
        different += seen != wanted
        print(f"{table}: {len(rows)} rows read, {len(lines)} exported: {'the same' if seen == wanted else 'DIFFERENT'}")
        for row in list((seen - wanted).keys())[:3] + list((wanted - seen).keys())[:3]:
            print("   ", row)
    return 1 if different else 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    # The readers' threads may abort the interpreter's own way out.
    os._exit(code)
