"""What a data scientist would write in a notebook for the same fleet: salt
passage at 25 degrees, exposure in litres times hardness, one mixed model, one
life model for resin, one page a van. No watch, no plan, no money, no spans
from shared uncertainty: far less than an assessment.

Usage: notebook.py PARQUET CSV OUT.csv [PAGES_FOLDER HOW_MANY]

PARQUET: what ingest_polars.py wrote. CSV: the folder with vans.csv and
hardness.csv.
"""

import pathlib
import sys

import numpy as np
import polars as pl
import statsmodels.api as sm
from lifelines import LogNormalFitter

LIMIT = np.log(0.10)
PRODUCT_LIMIT_PPM = 10.0


def load(parquet: pathlib.Path, source: pathlib.Path):
    def table(name: str, columns: list[str]) -> pl.DataFrame:
        where = parquet / name
        files = f"{where}/**/*.parquet" if where.is_dir() else f"{where}.parquet"
        return pl.scan_parquet(files, hive_partitioning=False).select(columns).collect()

    readings = table(
        "readings", ["van", "taken_at", "feed_ppm", "permeate_ppm", "product_ppm", "water_c"]
    )
    fills = table("fills", ["van", "started_at", "litres", "source"])
    services = table("services", ["van", "done_at", "item"])
    vans = pl.read_csv(source / "vans.csv", infer_schema_length=None)
    hardness = pl.read_csv(source / "hardness.csv")
    district = pl.col("base_postcode").str.split(" ").list.first().alias("postcode")
    vans = vans.with_columns(district).join(hardness, on="postcode", how="left")
    return readings, fills, services, vans.select("van", "hardness")


def looks(readings, fills, services, vans) -> pl.DataFrame:
    """Each reading with its element, its exposure and ln salt passage at 25 C."""
    mains = fills.filter(pl.col("source") == "mains").sort("van", "started_at")
    mains = mains.with_columns(pl.col("litres").cum_sum().over("van").alias("made"))
    changed = services.filter(pl.col("item") == "membrane").sort("van", "done_at")
    changed = changed.with_columns(pl.int_range(1, pl.len() + 1).over("van").alias("element"))
    changed = changed.select("van", pl.col("done_at").alias("fitted_at"), "element")
    seen = readings.filter((pl.col("feed_ppm") > 0) & (pl.col("permeate_ppm") > 0))
    seen = seen.sort("van", "taken_at").join_asof(
        mains.select("van", "started_at", "made"),
        left_on="taken_at", right_on="started_at", by="van", check_sortedness=False,
    )
    seen = seen.join_asof(
        changed, left_on="taken_at", right_on="fitted_at", by="van", check_sortedness=False
    ).join(vans, on="van", how="left")
    warm = 0.02 * (25.0 - pl.col("water_c").fill_null(12.0))
    return seen.with_columns(
        pl.col("element").fill_null(0),
        pl.col("made").fill_null(0.0),
        ((pl.col("permeate_ppm") / pl.col("feed_ppm")).log() + warm).alias("ln_sp"),
    ).with_columns(
        (pl.col("made") - pl.col("made").min().over("van", "element")).alias("litres"),
    ).with_columns(
        (pl.col("litres") / 1000 * (0.4 + pl.col("hardness") / 200)).alias("exposure"),
    )


def membranes(seen: pl.DataFrame, fills: pl.DataFrame) -> pl.DataFrame:
    """Days until the limit by one mixed model over monthly medians."""
    monthly = seen.group_by(
        "van", "element", pl.col("taken_at").dt.truncate("1mo").alias("month")
    ).agg(pl.col("ln_sp", "exposure").median()).sort("van", "element", "month")
    group = (monthly["van"] + "/" + monthly["element"].cast(pl.String)).to_numpy()
    scale = max(monthly["exposure"].std(), 1e-9)
    x = sm.add_constant(monthly["exposure"].to_numpy() / scale)
    fitted = sm.MixedLM(monthly["ln_sp"].to_numpy(), x, groups=group, exog_re=x).fit(
        method="lbfgs", maxiter=60
    )
    level, slope = fitted.fe_params
    own = fitted.random_effects
    noise = float(np.sqrt(fitted.scale))
    last = seen.group_by("van", maintain_order=True).agg(
        pl.col("element", "exposure", "hardness").last()
    )
    days = max((fills["started_at"].max() - fills["started_at"].min()).days, 1)
    pace = fills.group_by("van").agg((pl.col("litres").sum() / days).alias("litres_a_day"))
    last = last.join(pace, on="van", how="left")
    rows = []
    for van, element, exposure, hardness, litres in last.iter_rows():
        effect = np.asarray(own.get(f"{van}/{element}", np.zeros(2)))
        rate = max((slope + effect[1]) / scale, 1e-6)
        now = level + effect[0] + rate * exposure
        a_day = max(litres / 1000 * (0.4 + hardness / 200), 1e-9)
        left = [(LIMIT - now + z * noise) / rate / a_day for z in (-1.28, 0.0, 1.28)]
        rows.append((van, float(np.exp(now)), *left))
    return pl.DataFrame(
        rows, schema=["van", "salt_passage", "days_p10", "days_p50", "days_p90"], orient="row"
    )


def resin(readings, fills, services) -> LogNormalFitter:
    """Litres a charge lasts: log-normal, censored where it was changed early."""
    changed = services.filter(pl.col("item") == "resin").sort("van", "done_at")
    changed = changed.with_columns(pl.int_range(1, pl.len() + 1).over("van").alias("charge"))
    changed = changed.select("van", pl.col("done_at").alias("changed_at"), "charge")
    used = fills.sort("van", "started_at").join_asof(
        changed, left_on="started_at", right_on="changed_at", by="van", check_sortedness=False
    ).group_by("van", pl.col("charge").fill_null(0)).agg(pl.col("litres").sum())
    ended = readings.sort("van", "taken_at").join_asof(
        changed, left_on="taken_at", right_on="changed_at", by="van", check_sortedness=False
    ).group_by("van", pl.col("charge").fill_null(0)).agg(
        (pl.col("product_ppm").max() >= PRODUCT_LIMIT_PPM).alias("seen")
    )
    lives = used.join(ended, on=["van", "charge"]).filter(pl.col("litres") > 0)
    seen = lives["seen"].fill_null(False).to_numpy()
    return LogNormalFitter().fit(lives["litres"].to_numpy(), event_observed=seen)


def pages(seen: pl.DataFrame, fills: pl.DataFrame, answers: pl.DataFrame,
          folder: pathlib.Path, most: int) -> int:
    """One PNG a van: salt passage, product water, litres, the answer in words."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    folder.mkdir(parents=True, exist_ok=True)
    by_van = seen.partition_by("van", as_dict=True)
    litres = fills.sort("van", "started_at").partition_by("van", as_dict=True)
    drawn = 0
    for van, passage, p10, p50, p90 in answers.head(most).iter_rows():
        rows, water = by_van[(van,)], litres[(van,)]
        figure, axes = plt.subplots(2, 2, figsize=(16, 10), dpi=100)
        axes[0, 0].plot(rows["taken_at"], np.exp(rows["ln_sp"]) * 100, ".", label="readings")
        axes[0, 0].axhline(10, color="k", ls="--", label="limit")
        axes[0, 0].set(title=f"{van}: salt passage at 25 C", ylabel="%")
        axes[0, 0].legend()
        axes[0, 1].plot(rows["taken_at"], rows["product_ppm"], ".")
        axes[0, 1].set(title="product water", ylabel="ppm")
        weekly = water.group_by_dynamic("started_at", every="1w").agg(pl.col("litres").sum())
        axes[1, 0].bar(weekly["started_at"], weekly["litres"], width=6)
        axes[1, 0].set(title="litres a week", ylabel="L")
        axes[1, 1].axis("off")
        axes[1, 1].text(0, 0.6, f"salt passage {passage:.1%}\nlimit in {p50:.0f} days "
                                f"({p10:.0f} to {p90:.0f})", fontsize=16)
        figure.tight_layout()
        figure.savefig(folder / f"{van}.png")
        plt.close(figure)
        drawn += 1
    return drawn


def draw_some(arguments: tuple) -> int:
    return pages(*arguments)


def main() -> None:
    parquet, source, out = (pathlib.Path(a) for a in sys.argv[1:4])
    readings, fills, services, vans = load(parquet, source)
    seen = looks(readings, fills, services, vans)
    answers = membranes(seen, fills)
    charges = resin(readings, fills, services)
    answers = answers.with_columns(pl.lit(charges.median_survival_time_).alias("resin_litres"))
    answers.write_csv(out)
    if len(sys.argv) > 5:
        import multiprocessing

        folder, most = pathlib.Path(sys.argv[4]), int(sys.argv[5])
        named = answers.drop("resin_litres").head(most)
        halves = [named.gather_every(2, i) for i in range(2)]
        work = [
            (seen.filter(pl.col("van").is_in(half["van"].to_list())),
             fills.filter(pl.col("van").is_in(half["van"].to_list())), half, folder, most)
            for half in halves
        ]
        with multiprocessing.get_context("spawn").Pool(2) as pool:
            print(sum(pool.map(draw_some, work)), "pages")


if __name__ == "__main__":
    main()
