"""Reads a store with another reader of the open format and holds every current
row against the CSV files that went in, and the documented SQL against the same rows.

    python check.py STORE CSV_DIR DOCUMENT

`CSV_DIR`: the contract's five files, times local in Europe/London, no record in
them twice. Shows the rule for current rows that any engine can follow: rows of
finished files that are not taken back, the newest version of each record.
"""

import csv
import os
import sqlite3
import sys
from collections import Counter
from datetime import date, datetime, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pyarrow as pa
from deltalake import DeltaTable

HOME = ZoneInfo("Europe/London")
KEYS = {
    "readings": ("van", "taken_at", "day_position"),
    "fills": ("van", "started_at", "day_position"),
    "services": ("van", "done_on", "done_at", "item"),
    "vans": ("van", "from"),
    "hardness": ("postcode", "as_of"),
}
# Columns that only the store has.
OWN = {"day_position", "file_id", "line", "ingested_at", "text", "month", "done_on"}
# What an empty cell of the file stands for.
DEFAULTS = {("fills", "source"): "mains", ("hardness", "unit"): "mg_l_caco3"}


def read(folder: Path) -> pa.Table:
    return DeltaTable(folder).to_pyarrow_table()


def taken_back(store: Path) -> set[int]:
    last = {row["file_id"]: row["action"] for row in sorted(read(store / "taken_back").to_pylist(), key=lambda row: row["id"])}
    return {file_id for file_id, action in last.items() if action == "taken back"}


def rows_taken_back(store: Path) -> set[tuple[int, int]]:
    deeds = sorted(read(store / "rows_taken_back").to_pylist(), key=lambda row: row["id"])
    last = {(row["file_id"], row["line"]): row["action"] for row in deeds}
    return {place for place, action in last.items() if action == "taken back"}


def current_rows(store: Path, table: str) -> tuple[pa.Schema, list[dict]]:
    finished = {row["id"] for row in read(store / "files").to_pylist()}
    in_force = finished - taken_back(store)
    out = rows_taken_back(store)
    rows = read(store / table)
    newest: dict[tuple, dict] = {}
    for row in sorted(rows.to_pylist(), key=lambda row: (row["file_id"], row["line"])):
        if row["file_id"] in in_force and (row["file_id"], row["line"]) not in out:
            newest[tuple(row[key] for key in KEYS[table])] = row
    return rows.schema, list(newest.values())


def stored(row: dict, column: str) -> object:
    if column == "done_at" and row["done_at"] is None:
        return row["done_on"]
    value = row[column]
    return float(value) if isinstance(value, int) else value


def sent(text: str, kind: pa.DataType, default: str | None) -> object:
    if text == "":
        return default
    if pa.types.is_timestamp(kind):
        # A plain date where the time of day is not known.
        if "T" not in text:
            return date.fromisoformat(text)
        local = datetime.fromisoformat(text)
        return (local if local.tzinfo else local.replace(tzinfo=HOME)).astimezone(timezone.utc)
    if pa.types.is_date(kind):
        return date.fromisoformat(text)
    return float(text) if pa.types.is_floating(kind) or pa.types.is_integer(kind) else text


def documented_sql(text: Path) -> str:
    return text.read_text(encoding="utf-8").split("```sql\n", 1)[1].split("```", 1)[0]


def by_sql(store: Path, query: str) -> set[tuple]:
    """What the documented query gives, run by SQLite."""
    engine = sqlite3.connect(":memory:")
    for table in ("readings", "files", "taken_back", "rows_taken_back"):
        rows = read(store / table)
        names = ", ".join(f'"{name}"' for name in rows.schema.names)
        engine.execute(f"CREATE TABLE {table} ({names})")
        marks = ", ".join("?" for _ in rows.schema.names)
        values = [[v.isoformat() if hasattr(v, "isoformat") else v for v in row.values()] for row in rows.to_pylist()]
        engine.executemany(f"INSERT INTO {table} VALUES ({marks})", values)
    engine.row_factory = sqlite3.Row
    return {(row["file_id"], row["line"]) for row in engine.execute(query)}


def main() -> int:
    store, folder, text = (Path(argument) for argument in sys.argv[1:4])
    different = 0
    for table in KEYS:
        schema, rows = current_rows(store, table)
        columns = [name for name in schema.names if name not in OWN]
        with open(folder / f"{table}.csv", newline="", encoding="utf-8") as file:
            lines = list(csv.DictReader(file))
        unknown = set(lines[0]) - set(columns) if lines else set()
        seen = Counter(tuple(stored(row, c) for c in columns) for row in rows)
        wanted = Counter(
            tuple(sent(line.get(c, ""), schema.field(c).type, DEFAULTS.get((table, c))) for c in columns) for line in lines
        )
        same = seen == wanted and not unknown and bool(lines)
        different += not same
        print(f"{table}: {len(rows)} rows read, {len(lines)} sent: {'the same' if same else 'DIFFERENT'}")
        for row in [*unknown, *list((seen - wanted).keys())[:3], *list((wanted - seen).keys())[:3]]:
            print("   ", row)
    told = by_sql(store, documented_sql(text))
    own = {(row["file_id"], row["line"]) for row in current_rows(store, "readings")[1]}
    different += told != own
    print(f"the documented SQL: {len(told)} readings: {'the same' if told == own else 'DIFFERENT'}")
    return 1 if different else 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    # The readers' threads may abort the interpreter's own way out.
    os._exit(code)
