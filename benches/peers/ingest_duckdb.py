"""CSV into validated, sorted Parquet by months with DuckDB: what ingest does,
as far as a careful query does it.

Usage: ingest_duckdb.py FOLDER OUT [--without-origin]
"""

import functools
import pathlib

import duckdb
from kinds import KINDS, ZONE, each


def take_in(db: duckdb.DuckDBPyConnection, path: pathlib.Path, out: pathlib.Path,
            with_origin: bool) -> None:
    time, most, others = KINDS[path.stem]
    instant = f"timezone('{ZONE}', try_cast({{}} as timestamp))"
    wrong = ["when van is null then 'no van'", f"when {time} is null then '{time} is no time'"]
    for column, limit in most.items():
        wrong.append(
            f"when {column} is null and {column}_text is not null then '{column} is no number'"
        )
        wrong.append(f"when {column} < 0 or {column} > {limit} then '{column} cannot be'")
    typed = [f"{instant.format(time + '_text')} as {time}"]
    typed += [f"try_cast({c}_text as double) as {c}" for c in most]
    typed += [
        f"{instant.format('ended_at_text')} as ended_at" if c == "ended_at"
        else f"{c}_text as {c}" for c in others
    ]
    columns = ["van", time, *most, *others]
    texts = ", ".join(f"{c} as {c}_text" for c in columns)
    db.execute(f"""
        create or replace temp table judged as
        select *, case {' '.join(wrong)} end as reason from (
            select van_text as van, *, {', '.join(typed)} from (
                select row_number() over () + 1 as line, {texts}
                from read_csv('{path}', header = true, all_varchar = true)))""")
    db.execute(f"""copy (select line, reason, columns('_text$') from judged
        where reason is not null) to '{out / path.stem}_set_aside.parquet'""")
    key = f"van, {time}" + (", item" if path.stem == "services" else "")
    origin = f", line, '{path.name}' as file, now() as ingested_at" if with_origin else ""
    good = f"""select {', '.join(columns)} {origin} {{}} from judged where reason is null
        qualify row_number() over (partition by {key} order by line desc) = 1 order by {{}}{key}"""
    if path.stem == "services":
        db.execute(f"""copy ({good.format('', '')}) to '{out / 'services.parquet'}'
            (compression zstd)""")
        return
    month = f", strftime({time}, '%Y-%m') as month"
    db.execute(f"""copy ({good.format(month, 'month, ')}) to '{out / path.stem}'
        (format parquet, partition_by (month), compression zstd, overwrite_or_ignore true,
         filename_pattern '{path.parent.name}_{{i}}')""")


db = duckdb.connect()
db.execute("set timezone = 'UTC'")
each(functools.partial(take_in, db))
