"""Holds a plain `polars.read_csv` of every polluted file against what its rows mean.

A row is right where every column holds its value under the column's own header:
a number that is a number, a date as it is written or as it is meant. A row of
the frame that is no row of the file's, or holds another value, is wrong.
"""

import json
import math
import sys
from collections import Counter, defaultdict
from pathlib import Path

import polars as pl


def folded(value):
    """A cell as it is compared: numbers by nine figures, texts trimmed."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return f"{float(value):.9g}"
    return " ".join(str(value).split())


def candidates(cell):
    """What may stand in the frame for a cell of the row."""
    value, written = cell["value"], cell["written"]
    if isinstance(value, (int, float)):
        return {folded(value)}
    return {folded(value), folded(written)} if value is not None else {""}


def judged(file, rows):
    """Rows right, wrong and lost; and whether the file was refused."""
    try:
        frame = pl.read_csv(file)
    except Exception:
        return 0, 0, len(rows), True
    headers = list(rows[0]) if rows else []
    missing = [header for header in headers if header not in frame.columns]
    if missing:
        return 0, frame.height, len(rows), False
    seen = Counter()
    for row in frame.select(headers).iter_rows():
        seen[tuple(folded(cell) for cell in row)] += 1
    right = 0
    for row in rows:
        options = [candidates(row[header]) for header in headers]
        for found in seen:
            if seen[found] and all(cell in may for cell, may in zip(found, options)):
                seen[found] -= 1
                right += 1
                break
    wrong = frame.height - right
    return right, wrong, max(0, len(rows) - right - wrong), False


def main():
    folder = Path(sys.argv[1])
    table = defaultdict(Counter)
    order = []
    for entry in json.loads((folder / "meant.json").read_text()):
        key = (entry["level"], entry["kind"])
        if key not in table:
            order.append(key)
        right, wrong, lost, refused = judged(folder / entry["file"], entry["rows"])
        table[key].update(
            files=1,
            rows=len(entry["rows"]),
            loaded=entry["ours"]["loaded"],
            aside=entry["ours"]["set_aside"],
            ours_wrong=entry["ours"]["wrong"],
            right=right,
            wrong=wrong,
            lost=lost,
            refused=int(refused),
        )
    line = "{:10} {:42} {:>5} {:>6} | {:>6} {:>6} {:>5} | {:>6} {:>6} {:>6} {:>7}"
    print(line.format("", "", "", "", "here", "set", "", "polars", "", "", "files"))
    print(line.format("level", "pollution", "files", "rows", "right", "aside", "wrong",
                      "right", "wrong", "lost", "refused"))
    total = Counter()
    for key in order:
        c = table[key]
        total.update(c)
        print(line.format(*key, c["files"], c["rows"], c["loaded"], c["aside"], c["ours_wrong"],
                          c["right"], c["wrong"], c["lost"], c["refused"]))
    print(line.format("", "all", total["files"], total["rows"], total["loaded"], total["aside"],
                      total["ours_wrong"], total["right"], total["wrong"], total["lost"],
                      total["refused"]))
    print(f"polars {pl.__version__}, read_csv as it comes")


if __name__ == "__main__":
    main()
