"""Runs ours and theirs in turn on the same files and prints what each took.

Usage: python3 benches/peers/run.py [--sizes S,M,L] [--rounds 3] [--work DIR]
           [--litrewise PATH] [--only ingest,bytes,month,assess,again,report,start]

Makes its own files (litrewise simulate) and its own Python environment
(requirements.txt) below --work, which may be kept for the next run. Wall and
processor seconds and the peak memory are those that the system accounts for
each finished process; ratios are taken round by round, the median is shown.
litrewise waits until the disk has what it wrote (fsync); the peers do not.
"""

import argparse
import os
import pathlib
import shutil
import statistics
import subprocess
import sys
import time

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
# some 18 rows a van and month: 0.02, 0.66 and 12 million
SIZES = {"S": (50, 24), "M": (1_000, 36), "L": (18_000, 36)}
LAST_MONTH = "2026-10"
MATPLOTLIB_PAGES = 40


class Took:
    def __init__(self, wall, cpu, peak_mib):
        self.wall, self.cpu, self.peak_mib = wall, cpu, peak_mib


def run(command, env=None):
    """One process from start to end, its children's processor time included."""
    log = subprocess.DEVNULL
    start = time.perf_counter()
    child = subprocess.Popen(command, stdout=log, stderr=subprocess.PIPE, env=env)
    said = child.stderr.read()
    _, status, used = os.wait4(child.pid, 0)
    wall = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(f"{command} failed: {said.decode(errors='replace')[-2000:]}")
    return Took(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def middle(runs, what):
    return statistics.median(getattr(r, what) for r in runs)


def line(job, who, runs, ours=None):
    cells = [job, who, *(f"{middle(runs, w):.3g}" for w in ("wall", "cpu")),
             f"{middle(runs, 'peak_mib'):.0f}"]
    for what in ("wall", "cpu"):
        if ours is None:
            cells.append("")
        else:
            pairs = [getattr(t, what) / max(getattr(o, what), 1e-9) for o, t in zip(ours, runs)]
            cells.append(f"{statistics.median(pairs):.2f}")
    print("| " + " | ".join(cells) + " |", flush=True)


def in_turn(job, rounds, contestants):
    """contestants: name -> function that prepares and gives the command."""
    runs = {name: [] for name in contestants}
    for _ in range(rounds):
        for name, (prepare, command, env) in contestants.items():
            prepare()
            os.sync()
            runs[name].append(run(command, env))
    ours = runs.get("litrewise")
    for name, took in runs.items():
        line(job, name, took, None if took is ours else ours)
    return runs


def size_of(folder, ends=""):
    return sum(p.stat().st_size for p in pathlib.Path(folder).rglob(f"*{ends}") if p.is_file())


def gone(folder):
    return lambda: shutil.rmtree(folder, ignore_errors=True)


def nothing():
    pass


class Bench:
    def __init__(self, options):
        self.work = pathlib.Path(options.work).resolve()
        self.rounds = options.rounds
        self.litrewise = options.litrewise
        self.only = options.only
        self.work.mkdir(parents=True, exist_ok=True)
        venv = self.work / "venv"
        self.python = str(venv / "bin/python")
        if not pathlib.Path(self.python).exists():
            subprocess.run([sys.executable, "-m", "venv", venv], check=True)
            subprocess.run([venv / "bin/pip", "install", "--quiet", "--requirement",
                            HERE / "requirements.txt"], check=True)
        # numerical libraries choose their kernels themselves
        self.env = {k: v for k, v in os.environ.items() if not k.startswith("OPENBLAS_")}

    def wanted(self, what):
        return not self.only or what in self.only

    def files(self, size, order):
        vans, months = SIZES[size]
        folder = self.work / f"{size}-{order}"
        if not folder.exists():
            made = self.work / f"{size}-made"
            subprocess.run(
                [self.litrewise, "simulate", "--proving", "--vans", str(vans), "--months",
                 str(months + 1), "--out", made, "--quiet"],
                check=True, stdout=subprocess.DEVNULL)
            subprocess.run([self.python, HERE / "split.py", made, folder, order, LAST_MONTH],
                           check=True, env=self.env)
        return folder

    def store(self, size):
        return self.work / f"store-{size}"

    def ingest(self, size, order):
        source = self.files(size, order) / "history"
        store = self.store(size)
        contestants = {
            "litrewise": (gone(store), [self.litrewise, "ingest", source, "--store", store,
                                        "--quiet"], None),
        }
        for peer in ("polars", "duckdb", "pandas"):
            if peer == "pandas" and size == "L":
                continue  # it would need many times the file in memory
            out = self.work / f"{peer}-{size}"
            contestants[peer] = (gone(out), [self.python, HERE / f"ingest_{peer}.py", source, out],
                                 self.env)
        in_turn(f"ingest {size}, in order of {order}", self.rounds, contestants)

    def bytes_kept(self, size):
        tables = ("readings", "fills", "services", "set_aside")
        kept = {"litrewise": sum(size_of(self.store(size) / t, ".parquet") for t in tables)}
        for peer in ("polars", "duckdb", "pandas"):
            out = self.work / f"{peer}-{size}"
            if out.exists():
                kept[peer] = size_of(out, ".parquet")
        ours = kept["litrewise"]
        for name, count in kept.items():
            print(f"| bytes kept {size} | {name} | {count:,} | ours over theirs "
                  f"{ours / count:.2f} |", flush=True)

    def month(self, size):
        source = self.files(size, "time") / "month"
        whole, store = self.store(size), self.work / f"store-{size}-month"

        def fresh():
            shutil.rmtree(store, ignore_errors=True)
            shutil.copytree(whole, store)

        contestants = {
            "litrewise": (fresh, [self.litrewise, "ingest", source, "--store", store, "--quiet"],
                          None),
        }
        for peer in ("polars", "duckdb"):
            out = self.work / f"{peer}-{size}-month"
            contestants[peer] = (gone(out), [self.python, HERE / f"ingest_{peer}.py", source, out],
                                 self.env)
        in_turn(f"one more month into {size}", self.rounds, contestants)

    def assess(self, size):
        store = self.store(size)
        source, out = self.files(size, "time") / "history", self.work / "notebook.csv"
        parquet = self.work / f"polars-{size}"
        contestants = {
            "litrewise": (nothing, [self.litrewise, "assess", "--store", store, "--format",
                                    "json", "--quiet"], None),
            "notebook": (nothing, [self.python, HERE / "notebook.py", parquet, source, out],
                         self.env),
        }
        in_turn(f"assess {size}", 1 if size == "L" else self.rounds, contestants)

    def again(self, size):
        """With the readings, fills and services settled beforehand, and without."""
        store, kept = self.store(size), self.work / f"summaries-{size}.arrow"
        with open(kept, "wb") as out:
            subprocess.run([self.litrewise, "summarise", "--store", store, "--quiet"],
                           check=True, stdout=out)
        told = [self.litrewise, "assess", "--store", store, "--format", "json", "--quiet"]
        from_kept = [*told, "--from-summaries", kept]
        full = subprocess.run(told, check=True, capture_output=True).stdout
        same = subprocess.run(from_kept, check=True, capture_output=True).stdout == full
        in_turn(f"assess {size} again ({'identical' if same else 'DIFFERENT'})", self.rounds,
                {"litrewise": (nothing, from_kept, None),
                 "without summaries": (nothing, told, None)})

    def report(self, size):
        store, out = self.store(size), self.work / f"report-{size}"
        source, parquet = self.files(size, "time") / "history", self.work / f"polars-{size}"
        pages, answers = self.work / "matplotlib-pages", self.work / "notebook.csv"
        notebook = [self.python, HERE / "notebook.py", parquet, source, answers]
        in_turn(f"report {size}, assessing included", self.rounds, {
            "litrewise": (gone(out), [self.litrewise, "report", "--store", store, "--out", out,
                                      "--quiet"], None)})
        drawn = len(list(out.rglob("*.png")))
        print(f"| report {size} | litrewise | {drawn} PNG pages, {size_of(out):,} bytes |")
        some = [*map(str, notebook), str(pages), str(MATPLOTLIB_PAGES)]
        without = run(notebook, self.env)
        with_pages = run(some, self.env)
        a_second = MATPLOTLIB_PAGES / max(with_pages.wall - without.wall, 1e-9)
        print(f"| pages | matplotlib | {a_second:.1f} a second on both cores |", flush=True)

    def start(self):
        in_turn("start to --help", 20, {"litrewise": (nothing, [self.litrewise, "--help"], None)})


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", default="S,M,L")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--work", default=str(ROOT / "target/peers"))
    target = os.environ.get("CARGO_TARGET_DIR", str(ROOT / "target"))
    parser.add_argument("--litrewise", default=f"{target}/debug/litrewise")
    parser.add_argument("--only", default="")
    options = parser.parse_args()
    options.only = [o for o in options.only.split(",") if o]
    bench = Bench(options)
    sizes = [s for s in options.sizes.split(",") if s in SIZES]
    print("| job | who | wall s | CPU s | peak MiB | theirs over ours, wall | CPU |")
    print("| --- | --- | --- | --- | --- | --- | --- |", flush=True)
    if bench.wanted("start"):
        bench.start()
    for size in sizes:
        if bench.wanted("ingest"):
            for order in ("van", "time"):
                bench.ingest(size, order)
        jobs = {"bytes": bench.bytes_kept, "month": bench.month, "assess": bench.assess,
                "again": bench.again}
        for name, job in jobs.items():
            if bench.wanted(name):
                job(size)
        if bench.wanted("report") and size == "M":
            bench.report(size)


main()
